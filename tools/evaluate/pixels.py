"""Where the eye stops: accuracy by how many pixels an engine, or one part of it, fills."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

from tools import metrics
from tools.evaluate.readings import Readings, readings_of
from tools.evaluate.rows import markdown, shown
from tools.looks import ENOUGH_IN_SIGHT, Judged
from vision.records import BINARY_CUES, REGION_OF_CUE

# Ends of the bins in pixels of the picture, the lower one included.
LENGTHS = (0, 60, 90, 130, 180, 250, 350, 100_000)
WIDTHS = (0, 120, 180, 260, 380, 550, 100_000)
NOTE = (
    "Counted where at least 60 % of the region is in sight, however few pixels it fills: "
    "unlike in the tables above nothing is left out for being small. Balanced accuracy at "
    "p ≥ 0.5, with n and a 95 % interval; stated: a state was told at all."
)
Judgement = Sequence[Judged]


def by_length(judged: Judgement) -> str:
    """Each cue by the length of its region, front to rear, on engines found."""
    rows = []
    for cue in BINARY_CUES:
        kept = [j for j in judged if j.found and _in_sight(j, cue)]
        for words, mine in _binned(kept, LENGTHS, lambda j, cue=cue: _length(j, cue)):
            found = readings_of(mine, cue)
            rows.append((cue, words, f"{len(mine):,}", *_accuracy(found), *_stated(found)))
    head = ("cue", "region length", "n", "balanced accuracy", "95 % interval")
    return markdown((*head, "stated", "right, of stated"), rows)


def by_width(judged: Judgement) -> str:
    """Engines of which enough is in sight, by the width of the engine's box."""
    wanted = [j for j in judged if j.look.must_find]
    rows = []
    for words, mine in _binned(wanted, WIDTHS, _width):
        found = metrics.overlaps([j.look.overlap for j in mine if j.stated])
        hits = sum(j.found for j in mine) / len(mine)
        cells = []
        for cue in BINARY_CUES:
            kept = [j for j in mine if j.found and _in_sight(j, cue)]
            value, _ = _accuracy(readings_of(kept, cue))
            cells.append(f"{value} ({len(kept):,})")
        mean = shown(found.mean, "number")
        rows.append((words, f"{len(mine):,}", shown(hits, "share"), mean, *cells))
    head = ("engine width", "engines", "found", "mean IoU, of stated")
    return markdown((*head, *BINARY_CUES), rows)


def _binned(
    judged: Judgement, ends: Sequence[int], size: Callable[[Judged], float]
) -> list[tuple[str, list[Judged]]]:
    """Bins that hold a picture, with their words."""
    bins = []
    for low, high in itertools.pairwise(ends):
        mine = [j for j in judged if low <= size(j) < high]
        words = f"≥ {low} px" if high == ends[-1] else f"{low} to {high} px"
        if mine:
            bins.append((words, mine))
    return bins


def _in_sight(judged: Judged, cue: str) -> bool:
    label = judged.look.label
    # Of what nobody was asked for there is nothing to say.
    return cue in label["cues"] and bool(label["visible"][REGION_OF_CUE[cue]] >= ENOUGH_IN_SIGHT)


def _length(judged: Judged, cue: str) -> float:
    return float(judged.look.label["cues"][cue]["length_px"])


def _width(judged: Judged) -> float:
    left, _, right, _ = judged.look.label["locomotive"]
    return float(right - left)


def _accuracy(found: Readings) -> tuple[str, str]:
    value = metrics.balanced_accuracy(found.present, found.predicted)
    ends = metrics.balanced_accuracy_interval(found.present, found.predicted)
    text = shown(value, "share")
    return text, "" if text == "-" else " to ".join(shown(end, "share") for end in ends)


def _stated(found: Readings) -> tuple[str, str]:
    told = found.state != "unseen"
    if not told.any():
        return "0.00 %", "-"
    right = (found.state[told] == "present") == found.present[told]
    return shown(float(told.mean()), "share"), shown(float(right.mean()), "share")
