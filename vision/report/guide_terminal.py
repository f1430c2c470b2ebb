"""A guide for a terminal: a table by cue, and a chart by year."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from vision.guide import Guide, Variation
from vision.report.guide_rows import (
    KEY,
    RATES,
    hard_pairs,
    heading,
    lever_words,
    rates_rows,
    table,
    tender_words,
)
from vision.report.terminal import WIDTH
from vision.report.words import cue_words

GAP = "  "
# Signs of the chart; a solid block for a year in which a variation was made.
MADE, IDLE = "█", "·"


def guide_text(guide: Guide, *, width: int = WIDTH) -> str:
    """Lay a guide out as text.

    Parameters
    ----------
    guide : Guide
    width : int
        Columns; a table that is wider is set in several parts, each with the ids. At
        least 40.

    Returns
    -------
    str
        Lines without a final newline.
    """
    width = max(40, width)
    title, about = heading(guide)
    lines = [*textwrap.wrap(title, width), *textwrap.wrap(about, width)]
    lines += [*textwrap.wrap(lever_words(guide), width), ""]
    heads, rows = table(guide)
    lines += columns_text([heads, *rows], width)
    lines += textwrap.wrap(KEY, width)
    lines += ["", *_chart(guide, width)]
    for name, items in (
        ("Tenders", [f"{t.id}: {tender_words(t)}" for t in guide.tenders]),
        ("Checks by hand", [f"{cue_words(c.id)}: {c.question}" for c in guide.checks]),
        ("Notes", [f"{v.id}: {v.text}" for v in guide.variations if v.text]),
        ("Hard to tell apart", hard_pairs(guide)),
        (RATES, [f"{what}: {share}" for what, share in rates_rows(guide)]),
    ):
        if items:
            lines += ["", name]
            for item in items:
                lines += textwrap.wrap(
                    item, width, initial_indent=GAP, subsequent_indent=f"{GAP}  "
                )
    return "\n".join(lines)


def columns_text(rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Set rows in columns; what does not fit beside the first column follows below it.

    A cell wider than the terminal is not cut.
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    parts: list[list[int]] = [[]]
    used = widths[0]
    for index in range(1, len(widths)):
        step = len(GAP) + widths[index]
        if used + step > width and parts[-1]:
            parts.append([])
            used = widths[0]
        parts[-1].append(index)
        used += step
    lines: list[str] = []
    for part in parts:
        if lines:
            lines.append("")
        for row in rows:
            cells = [f"{row[i]:<{widths[i]}}" for i in (0, *part)]
            lines.append(GAP.join(cells).rstrip())
    return lines


def _chart(guide: Guide, width: int) -> list[str]:
    """One row for each variation, one column for each year from first to last."""
    every = range(guide.years[0], guide.years[-1] + 1)
    column = max(len("year"), *(len(v.id) for v in guide.variations))
    room = width - column - len(GAP)
    cell = next((size for size in (5, 3) if size * len(every) <= room), 0)
    if not cell:
        return _narrow_chart(guide, every, column, room)
    digits = cell - 1
    head = "".join(f"{str(year)[-digits:]:<{cell}}" for year in every)
    lines = [f"{'year':<{column}}{GAP}{head}".rstrip()]
    for variation in guide.variations:
        marks = "".join(f"{_mark(variation, year) * digits:<{cell}}" for year in every)
        lines.append(f"{variation.id:<{column}}{GAP}{marks}".rstrip())
    return lines


def _narrow_chart(guide: Guide, every: range, column: int, room: int) -> list[str]:
    """One character a year, with a scale of decades; in parts where still too long."""
    lines: list[str] = []
    for start in range(every[0], every[-1] + 1, room):
        part = range(start, min(start + room, every[-1] + 1))
        scale = [" "] * len(part)
        for at, year in enumerate(part):
            if (year % 10 == 0 or at == 0) and not any(s != " " for s in scale[max(0, at - 1) :]):
                scale[at : at + 4] = str(year)
        lines += [""] if lines else []
        lines.append(f"{'year':<{column}}{GAP}{''.join(scale)[:room]}".rstrip())
        for variation in guide.variations:
            marks = "".join(_mark(variation, year) for year in part)
            lines.append(f"{variation.id:<{column}}{GAP}{marks}")
    return lines


def _mark(variation: Variation, year: int) -> str:
    return MADE if year in variation.years else IDLE
