"""Figures on the engine itself: found, false finds, heading, corners, tender."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tools import metrics
from tools.calibrate.counts import COUNTS, countable
from tools.calibrate.limits import tender_must_be_found
from tools.evaluate.rows import Row, mean, share
from tools.looks import FOUND_IOU, Judged, axles_judged, axles_shown, tender_stated
from tools.render.truth import BORDER_DEG
from vision.cues.driving import DRIVING_AXLES, RODS, named
from vision.records import DRIVING, LETTERING, State

_SIDEWAYS = ("left", "right")
# Pixels of a tender's letters from which on they can be made out; chosen.
_LETTERS_PX = 60


def engine_rows(judged: Sequence[Judged], limits: dict[str, Any]) -> list[Row]:
    """Everything that can be said before any cue is judged.

    Heading counts only where the engine was found, and has to be the labelled one of
    left, right, toward and away; the label calls an engine end-on within 30 degrees of
    its axis, and names both words close to that border, which nothing in a picture marks.
    """
    wanted = [j for j in judged if j.look.must_find]
    empty = [j for j in judged if not j.look.has_engine]
    found = [j for j in judged if j.found]
    sideways = [j for j in found if j.look.label["faces"] in _SIDEWAYS]
    boxes = metrics.overlaps([j.look.overlap for j in wanted if j.stated])
    return [
        Row("pictures", len(judged), len(judged), "pictures", style="count"),
        Row("scenes", len({j.look.name.scene for j in judged}), len(judged), style="count"),
        share("engine found, IoU ≥ 0.5, of engines ≥ 60 % in sight", _found(wanted), "found"),
        Row("mean IoU of the engines stated", boxes.mean, boxes.n, style="number"),
        share("false finds, of pictures without an engine", [j.stated for j in empty]),
        *_false_finds(empty),
        *_heading_rows(found),
        share("left and right mistaken for each other", [_turned_round(j) for j in sideways]),
        mean("mean corner error, in engine lengths", _corner_errors(found)),
        *_tender_rows(judged, limits),
    ]


def _heading_rows(found: Sequence[Judged]) -> list[Row]:
    """Strictly by the label's border, and with either word for the views close to it."""
    either = [_heads_right(j) or j.look.seen["faces"] == _also(j) for j in found]
    close = f"{BORDER_DEG:g}° from the border between side and end either counts"
    clear = [j for j in found if _also(j) is None]
    return [
        share(f"heading right, of engines found; up to {close}", either, "heading"),
        share("heading right, by the border itself", [_heads_right(j) for j in found]),
        share("heading right, of those not close to the border", [_heads_right(j) for j in clear]),
    ]


def _also(judged: Judged) -> str | None:
    also: str | None = judged.look.label.get("faces_also")
    return also


def _false_finds(empty: Sequence[Judged]) -> list[Row]:
    """The same by what stands there instead: a wagon, a diesel, nothing."""
    kinds = sorted({str(j.look.label.get("kind")) for j in empty})
    return [
        share(
            f"false finds, of pictures with {'no vehicle' if kind == 'empty' else f'a {kind}'}",
            [j.stated for j in empty if j.look.label.get("kind") == kind],
        )
        for kind in kinds
    ]


def _found(judged: Sequence[Judged]) -> list[bool]:
    return [j.found for j in judged]


def _heads_right(judged: Judged) -> bool:
    return bool(judged.look.seen["faces"] == judged.look.label["faces"])


def _turned_round(judged: Judged) -> bool:
    seen = judged.look.seen["faces"]
    return seen in _SIDEWAYS and seen != judged.look.label["faces"]


def _corner_errors(found: Sequence[Judged]) -> list[float]:
    """Mean distance of a visible region's corners from the label's, in lengths of the engine.

    The length is the longer side of the labelled box, so only whole engines count.
    """
    errors = []
    for judged in found:
        label = judged.look.label
        if not label.get("whole"):
            continue
        left, top, right, bottom = label["locomotive"]
        gaps = [
            np.linalg.norm(np.subtract(judged.look.seen["regions"][name], quad), axis=1).mean()
            for name, quad in label["regions"].items()
            if label["visible"][name] >= 0.6
        ]
        if gaps:
            errors.append(float(np.mean(gaps)) / max(right - left, bottom - top))
    return errors


def _tender_rows(judged: Sequence[Judged], limits: Mapping[str, Any]) -> list[Row]:
    stated = [j for j in judged if j.stated and j.look.has_engine]
    wanted = [j for j in stated if tender_must_be_found(j.look)]
    without = [j for j in stated if j.look.label.get("tender") is None]

    hits = [
        tender_stated(j.look.seen, limits) and j.look.tender_overlap >= FOUND_IOU for j in wanted
    ]
    false = [tender_stated(j.look.seen, limits) for j in without]
    rows = [
        share("tender found, IoU ≥ 0.5, of tenders ≥ 60 % in sight", hits),
        share("false tenders, of engines stated that show none", false),
    ]
    for head, (truth, flag, labels, _) in COUNTS.items():
        seen = [j for j in stated if countable(j.look, truth, flag, labels)]
        likeliest = [_likeliest(j, head, labels) == j.look.label[truth] for j in seen]
        rows.append(share(f"tender {head} exact, likeliest count, countable", likeliest, truth))
        cues = [(j, j.cues[truth]) for j in stated if truth in j.cues]
        shown = [(j, c) for j, c in cues if countable(j.look, truth, flag, labels)]
        counted = [(j, c) for j, c in shown if c.state is State.PRESENT]
        right = [c.value == str(j.look.label[truth]) for j, c in counted]
        rows.append(share(f"tender {head} right, where stated and countable", right))
        stated_at_all = [c.state is State.PRESENT for _, c in shown]
        rows.append(share(f"tender {head} stated, where countable", stated_at_all))
    return [*rows, *_lettering_rows(stated, limits), *_driving_rows(judged)]


def _driving_rows(judged: Sequence[Judged]) -> list[Row]:
    """How the driving axles are counted; nothing of looks by networks that count none."""
    cues = [(axles_shown(j.look), j) for j in judged if j.stated and axles_judged(j.look)]
    if not cues:
        return []
    shown = [(str(axles), j) for axles, j in cues if axles is not None]
    hidden = [j for axles, j in cues if axles is None and j.look.has_engine]
    stated = [(axles, j) for axles, j in shown if j.cues[DRIVING].state is State.PRESENT]
    likeliest = [axles == _likeliest_axles(j) for axles, j in shown]
    told = [j.cues[DRIVING].state is State.PRESENT for _, j in shown]
    right = [axles == j.cues[DRIVING].value for axles, j in stated]
    unseen = [j.cues[DRIVING].state is State.PRESENT for j in hidden]
    return [
        share("driving axles exact, likeliest count, where all show", likeliest),
        share("driving axles stated, where all show", told),
        share("driving axles right, where stated and all show", right),
        share("driving axles stated, where some are hidden", unseen),
    ]


def _likeliest_axles(judged: Judged) -> str:
    said = judged.look.seen["cues"][RODS]
    return str(max(DRIVING_AXLES, key=lambda count: said[named(count)]))


def _lettering_rows(stated: Sequence[Judged], limits: Mapping[str, Any]) -> list[Row]:
    """How often lettering is told; nothing of looks that were not asked for it."""
    asked = [
        (j.look.label, j.look.seen[LETTERING] == State.PRESENT.value)
        for j in stated
        if LETTERING in j.look.seen and tender_stated(j.look.seen, limits)
    ]
    if not asked:
        return []
    there = [told for label, told in asked if label.get("tender_letters_px", 0) >= _LETTERS_PX]
    bare = [told for label, told in asked if label.get(LETTERING) is False]
    return [
        share(f"tender lettering told, where {_LETTERS_PX} pixels and more show it", there),
        share("tender lettering told of tenders without it", bare),
    ]


def _likeliest(judged: Judged, head: str, labels: Sequence[int]) -> int | None:
    """The likeliest count, stated or not, as a cue's p is judged, stated or not."""
    counts = judged.look.seen.get("counts")
    return None if counts is None else labels[int(np.argmax(counts[head]))]
