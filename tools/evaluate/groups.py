"""The same figures by renderer, room, family of shapes, and by what makes a picture hard."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from tools import metrics
from tools.evaluate.readings import readings
from tools.evaluate.rows import markdown, shown
from tools.looks import Judged
from vision.records import BINARY_CUES

NOTE = (
    "Found: engines ≥ 60 % in sight, IoU ≥ 0.5. Cues: balanced accuracy at p ≥ 0.5 where the "
    "cue is visible. In brackets n."
)
PLAIN = "none of these"


def by_renderer(judged: Sequence[Judged]) -> str:
    return _grouped("renderer", judged, lambda label: [str(label.get("renderer", "unnamed"))])


def by_room(judged: Sequence[Judged]) -> str:
    return _grouped("room", judged, lambda label: [str(label.get("room", "unnamed"))])


def by_family(judged: Sequence[Judged]) -> str:
    return _grouped("family", judged, lambda label: [str(label.get("family") or "unnamed")])


def by_hardship(judged: Sequence[Judged]) -> str:
    """A picture counts in every row whose condition it meets."""
    return _grouped("condition", judged, conditions)


def conditions(label: Mapping[str, Any]) -> list[str]:
    """What makes a picture hard, by its label.

    "hard" of a label may be one word, several, or flags by name; labels without it still
    say whether something stands before the engine and whether all of it is shown.
    """
    hard = label.get("hard") or ()
    if isinstance(hard, str):
        words = [hard]
    elif isinstance(hard, Mapping):
        words = [name for name, holds in hard.items() if holds]
    else:
        words = [str(name) for name in hard]
    if label.get("occluder"):
        words.append("something before the engine")
    if not label.get("whole", True):
        words.append("engine not whole")
    return sorted(set(words)) or [PLAIN]


def _grouped(
    head: str, judged: Sequence[Judged], groups_of: Callable[[Mapping[str, Any]], Iterable[str]]
) -> str:
    members: dict[str, list[Judged]] = {}
    for j in judged:
        if j.look.has_engine:
            for name in groups_of(j.look.label):
                members.setdefault(name, []).append(j)
    rows = [(name, *_cells(members[name])) for name in sorted(members, key=_plain_first)]
    return markdown((head, "pictures", "found", "heading", *BINARY_CUES), rows)


def _plain_first(name: str) -> tuple[bool, str]:
    return name != PLAIN, name


def _cells(mine: Sequence[Judged]) -> list[str]:
    wanted = [j.found for j in mine if j.look.must_find]
    heads = [j.look.seen["faces"] == j.look.label["faces"] for j in mine if j.found]
    cells = [f"{len(mine):,}", _mean(wanted), _mean(heads)]
    for cue in BINARY_CUES:
        found = readings(mine, cue)
        value = metrics.balanced_accuracy(found.present, found.predicted)
        cells.append(f"{shown(value, 'share')} ({len(found.p):,})")
    return cells


def _mean(hits: Sequence[bool]) -> str:
    value = sum(hits) / len(hits) if hits else float("nan")
    return f"{shown(value, 'share')} ({len(hits):,})"
