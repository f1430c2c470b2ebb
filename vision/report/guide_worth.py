"""What no eye can tell with a guide, in plain words: altered engines and their share."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from vision.estimate import Tally
from vision.report.guide_terminal import columns_text
from vision.report.narrowing import NOT_IN_GUIDE
from vision.report.terminal import WIDTH
from vision.report.words import counted

TITLE = "What holds every eye back"
ALL = "all: the ceiling"
RIGHT_NOTE = (
    "right, measured: of the parts and values that the shipped networks stated when they were "
    "fitted, on renders, those that were so"
)


def ceiling_text(tallies: Sequence[Tally], *, width: int = WIDTH) -> list[str]:
    """Say why an eye without fault still names some engines wrong, and how many.

    Parameters
    ----------
    tallies : sequence of Tally
        Of the perfect eye, from `simulate`; one for each stage, at least one.
    width : int
        Columns.
    """
    first = tallies[0]
    outside = _named(first, NOT_IN_GUIDE)[1]
    altered = first.items - first.made - outside
    lines = [TITLE, *textwrap.wrap(_shares(first, altered, outside), width), ""]
    head = ("perfect eye: right, %", "engines", *(_short(t.stage) for t in tallies))
    rows = [
        ("as made", [(t.made_right, t.made) for t in tallies]),
        ("altered since", [_altered(t) for t in tallies]),
        ("in no variation here", [_named(t, NOT_IN_GUIDE) for t in tallies]),
        (ALL, [(t.right, t.items) for t in tallies]),
    ]
    body = [
        (name, str(counts[0][1]), *(_percent(right, n) for right, n in counts))
        for name, counts in rows
    ]
    lines += columns_text([head, *body], width)
    return [*lines, *textwrap.wrap(_reason(tallies[-1]), width)]


def _shares(tally: Tally, altered: int, outside: int) -> str:
    n = tally.items
    return (
        f"Of {counted(n, 'engine')} drawn, {tally.made} "
        f"({100 * tally.made / n:.1f} %) {'is' if tally.made == 1 else 'are'} as made. "
        f"{altered} ({100 * altered / n:.1f} %) "
        f"{'was altered after it' if altered == 1 else 'were altered after they'} left the works, "
        "with a part lost, added, repainted, renumbered or swapped, as often as the guide itself "
        "says. "
        f"{outside} ({100 * outside / n:.1f} %) {'belongs' if outside == 1 else 'belong'} to no "
        "variation here."
    )


def _reason(last: Tally) -> str:
    """Why the ceiling is where it is, or that there is none below 100 %."""
    if last.right == last.items:
        return "With everything looked at a perfect eye names every engine drawn right."
    text = (
        "A perfect eye reads every cue as it is, and names what is then likeliest. Where it is "
        "wrong, the engine as it stands looks more like another variation, or like none: no "
        "camera and no network could tell, only a further number, tender or check in the guide."
    )
    if last.made_right < last.made:
        wrong = last.made - last.made_right
        text += (
            f" {wrong} of its mistakes {'is an engine' if wrong == 1 else 'are engines'} as made: "
            "the guide itself tells its variations too little apart."
        )
    return text


def _named(tally: Tally, id: str) -> tuple[int, int]:
    """Of a true variation: named right, and all."""
    named = tally.named.get(id)
    return (named[id], named.total()) if named is not None else (0, 0)


def _altered(tally: Tally) -> tuple[int, int]:
    right, outside = _named(tally, NOT_IN_GUIDE)
    return tally.right - tally.made_right - right, tally.items - tally.made - outside


def _short(stage: str) -> str:
    if stage.endswith("answered"):
        return "+ first check"
    return stage.replace("with ", "+ ").replace(" and ", ", ")


def _percent(right: int, n: int) -> str:
    return f"{100 * right / n:.1f}" if n else "-"
