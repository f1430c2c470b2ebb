"""All targets in one table: what was set out, and what came out of it on each set.

Renders and photographs have a table each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from tools.evaluate.rows import Row, markdown, shown, wanted
from tools.evaluate.targets import Target

WORDS: Mapping[str, str] = {
    "pictures": "pictures",
    "found": "engine found, IoU ≥ 0.5",
    "heading": "heading right, either word close to the border",
    "balanced_accuracy": "each cue where visible, balanced accuracy",
    "pair_flips": "one cue swapped in a pair: that cue flips",
    "pair_others": "one cue swapped in a pair: no other cue's p moves by > 0.15",
    "stated_unseen": "ABSENT or PRESENT stated of an unseen region",
    "absent_unseen": "ABSENT stated of an unseen region",
    "calibration": "calibration error, 15 equal-mass bins",
    "selective_risk": "selective risk at 80 % coverage",
    "tender_axles": "axle count exact, where countable",
    "tender_lamps": "lamp count exact, where countable",
    "number_exact": "cab number exact, figures ≥ 12 px",
    "number_within": "cab number right within the guide, figures ≥ 12 px",
    "named_photo": "variation named right, photo alone",
    "named_also": "variation named right, with number and tender",
    "named_check": "variation named right, with the first suggested check",
    "named_photo_clear": "variation named right, photo alone, all three cues visible",
    "named_also_clear": "variation named right, with number and tender, all three cues visible",
    "named_check_clear": "variation named right, with the first check, all three cues visible",
    "years": "true years in the 90 % set, every variation",
    "loss": "severity-3 corruption, loss of balanced accuracy",
    "bold_and_wrong": "cues stated wrongly at confidence ≥ 0.9, with any built-in guide",
}
NOTE = (
    "Each line holds the worst figure of its kind (of all cues, variations, corruptions); the "
    "tables below hold every one."
)
# Rows and the targets they were held against.
Judged = Sequence[tuple[Row, Target]]


def summary(columns: Mapping[str, Judged], *, of: str = "renders") -> str:
    """Set targets against figures.

    Parameters
    ----------
    columns : mapping of a set's name to its rows that have a target
    of : str
        What the sets are of.
    """
    rows = []
    for key, words in WORDS.items():
        for name, judged in columns.items():
            mine = [(row, target) for row, target in judged if row.key == key]
            if mine:
                row, target = max(mine, key=_badness)
                which = row.which or (row.figure if len(mine) > 1 else "")
                rows.append((words, name, *_cells(row, target), which))
    head = ("what", of, "value", "target", "", "n", "interval", "which")
    return markdown(head, rows)


def _badness(judged: tuple[Row, Target]) -> float:
    """How far a row falls short of its target; a row that was not measured before all others."""
    row, target = judged
    if math.isnan(row.value):
        return math.inf
    return target.limit - row.value if target.at_least else row.value - target.limit


def _cells(row: Row, target: Target) -> tuple[str, ...]:
    ends = row.note
    if row.interval is not None:
        ends = " to ".join(shown(end, row.style) for end in row.interval)
        ends += f" ({100 * row.level:g} %)"
    value = shown(row.value, row.style)
    return (value, wanted(target, row.style), row.verdict(target), f"{row.n:,}", ends)
