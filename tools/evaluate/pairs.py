"""Pairs of pictures that differ in one cue alone, and pairs that differ in being spoilt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from tools import metrics
from tools.corruptions import GROWN
from tools.evaluate.rows import Row, share, shown
from tools.looks import Judged, shows
from vision.records import BINARY_CUES, State

# Largest change of another cue's probability that a swapped part may cause.
_STEADY = 0.15


def pair_rows(judged: Sequence[Judged]) -> list[Row]:
    """Rows on pairs with one cue swapped: that cue has to flip, the others to keep still.

    A pair counts where the engine is found in both pictures and the swapped cue is
    visible in both.
    """
    pairs = list(_twins(judged))
    rows = [
        share("pairs: the swapped cue's p crosses 0.5 the right way", _flips(pairs), "pair_flips"),
        share("pairs: the swapped cue is stated right in both", _states(pairs)),
        share(f"pairs: no other cue's p moves by > {_STEADY}", _still(pairs), "pair_others"),
    ]
    for cue in BINARY_CUES:
        mine = [pair for pair in pairs if _swapped(pair) == cue]
        rows.append(share(f"pairs: {cue} flips where it is swapped", _flips(mine), "pair_flips"))
    return rows


Pair = tuple[Judged, Judged]


def _twins(judged: Sequence[Judged]) -> Iterator[Pair]:
    plain = {j.look.name.view: j for j in judged if not j.look.name.twin}
    for twin in judged:
        first = plain.get(twin.look.name.view)
        if not twin.look.name.twin or first is None or not (first.found and twin.found):
            continue
        pair = first, twin
        if all(shows(j.look, _swapped(pair)) for j in pair):
            yield pair


def _flips(pairs: Sequence[Pair]) -> list[bool]:
    return [all(_right_side(j, _swapped(pair)) for j in pair) for pair in pairs]


def _swapped(pair: Pair) -> str:
    """The cue in which the twin differs."""
    return str(pair[1].look.label["twin_cue"])


def _right_side(judged: Judged, cue: str) -> bool:
    p = judged.cues[cue].p_present
    return p is not None and (p >= 0.5) == (judged.look.label["cues"][cue]["state"] == "present")


def _states(pairs: Sequence[Pair]) -> list[bool]:
    return [all(_stated_right(j, _swapped(pair)) for j in pair) for pair in pairs]


def _stated_right(judged: Judged, cue: str) -> bool:
    return bool(judged.cues[cue].state == judged.look.label["cues"][cue]["state"])


def _still(pairs: Sequence[Pair]) -> list[bool]:
    return [
        all(
            _steady(pair, cue)
            for cue in BINARY_CUES
            if cue != _swapped(pair) and _matters(pair, cue)
        )
        for pair in pairs
        if all(j.look.complete for j in pair)
    ]


def _matters(pair: Pair, cue: str) -> bool:
    """Visible in both pictures, or stated in one: a p that nobody is told may move."""
    visible = all(shows(j.look, cue) for j in pair)
    return visible or any(j.cues[cue].state is not State.UNSEEN for j in pair)


def _steady(pair: Pair, cue: str) -> bool:
    first, second = (j.cues[cue].p_present for j in pair)
    if first is None or second is None:
        return first is second
    return abs(first - second) <= _STEADY


def corruption_rows(clean: Sequence[Judged], spoilt: Sequence[Judged]) -> list[Row]:
    """What spoiling the pictures costs, on the pictures that were also seen unspoilt.

    A cue counts where it is visible and the engine was found in the unspoilt picture;
    an engine no longer found makes its cues wrong. The target is the paper's, so that it
    does not hold for blurs that grow with the picture.
    """
    before = {j.look.file: j for j in clean}
    pairs = [(before[j.look.file], j) for j in spoilt if j.look.file in before]
    name = spoilt[0].look.corruption if spoilt else "corruption"
    key = "" if name.startswith(GROWN) else "loss"
    rows = []
    for cue in BINARY_CUES:
        kept = [p for p in pairs if p[0].found and shows(p[0].look, cue)]
        truth = np.array([p[0].look.label["cues"][cue]["state"] == "present" for p in kept], bool)
        first, second = (
            metrics.balanced_accuracy(
                truth, np.array([_predicted(p[i], cue) for p in kept], dtype=bool)
            )
            for i in (0, 1)
        )
        figure = f"{name}: {cue}, loss of balanced accuracy"
        note = f"{shown(first, 'share')} → {shown(second, 'share')}" if kept else ""
        rows.append(Row(figure, first - second, len(kept), key, note=note))
    lost = [not b.found for a, b in pairs if a.found]
    return [*rows, share(f"{name}: engines no longer found", lost)]


def _predicted(judged: Judged, cue: str) -> bool:
    """The state at p >= 0.5; the wrong one where the eye says nothing."""
    true = bool(judged.look.label["cues"][cue]["state"] == "present")
    p = judged.cues[cue].p_present if judged.found else None
    return (not true) if p is None else p >= 0.5
