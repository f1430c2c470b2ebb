"""A row of a table, and tables as Markdown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tools.evaluate.targets import Target
from tools.metrics import wilson_interval


@dataclass(frozen=True, slots=True)
class Row:
    """One figure.

    Attributes
    ----------
    figure : str
        What was measured.
    value : float
        nan where nothing could be measured.
    n : int
        Rows it was measured on.
    key : str
        Name of the target; "" where none is set.
    interval : (float, float) | None
        Rows taken as independent. Views of one scene are not, so that the true interval
        is wider.
    style : str
        "share" is printed in per cent, "number" with four digits, "count" whole.
    note : str
        Stands in place of an interval.
    level : float
        Coverage that the interval claims.
    which : str
        What it comes from: those that were wrong, or the guides with which.
    """

    figure: str
    value: float
    n: int
    key: str = ""
    interval: tuple[float, float] | None = None
    style: str = "share"
    note: str = ""
    level: float = 0.95
    which: str = ""

    def verdict(self, target: Target | None) -> str:
        """Say "met", "MISSED", "not measured", or "" without a target."""
        if target is None:
            return ""
        if math.isnan(self.value):
            return "not measured"
        if not target.holds(self.value):
            return "MISSED"
        return f"met, but n < {target.least_n}" if self.n < target.least_n else "met"


def share(
    figure: str, hits: ArrayLike, key: str = "", *, level: float = 0.95, which: str = ""
) -> Row:
    """A proportion with its Wilson interval."""
    flags = np.asarray(hits, dtype=bool)
    n, count = len(flags), int(flags.sum())
    if not n:
        return Row(figure, math.nan, 0, key, level=level, which=which)
    ends = wilson_interval(count, n, level=level)
    return Row(figure, count / n, n, key, ends, level=level, which=which)


def mean(figure: str, values: ArrayLike) -> Row:
    """A mean with the interval of its standard error."""
    numbers = np.asarray(values, dtype=np.float64)
    if len(numbers) < 2:
        return Row(figure, math.nan, len(numbers), style="number")
    centre, half = numbers.mean(), 1.96 * numbers.std(ddof=1) / math.sqrt(len(numbers))
    ends = (float(centre - half), float(centre + half))
    return Row(figure, float(centre), len(numbers), interval=ends, style="number")


def table(rows: Iterable[Row], targets: Mapping[str, Target]) -> str:
    """Rows as a Markdown table, each beside its target; a last column where a row says which.

    Raises
    ------
    ValueError
        Intervals of different coverage would stand under one heading.
    """
    rows = list(rows)
    levels = {row.level for row in rows if row.interval is not None} or {0.95}
    if len(levels) > 1:
        raise ValueError(f"intervals of one level expected, got {sorted(levels)}")
    lines = []
    for row in rows:
        target = targets.get(row.key)
        ends = row.note
        if row.interval is not None:
            ends = " to ".join(shown(end, row.style) for end in row.interval)
        lines.append(
            (
                row.figure,
                shown(row.value, row.style),
                wanted(target, row.style),
                row.verdict(target),
                f"{row.n:,}",
                ends,
                row.which,
            )
        )
    head = ("figure", "value", "target", "", "n", f"{100 * levels.pop():g} % interval", "which")
    shown_columns = len(head) if any(row.which for row in rows) else len(head) - 1
    return markdown(head[:shown_columns], [line[:shown_columns] for line in lines])


def missed(rows: Iterable[Row], targets: Mapping[str, Target]) -> list[Row]:
    """Rows whose target is missed or could not be measured."""
    bad = ("MISSED", "not measured")
    return [row for row in rows if row.verdict(targets.get(row.key)) in bad]


def shown(value: float, style: str) -> str:
    """A value as printed."""
    if math.isnan(value):
        return "-"
    if style == "share":
        return f"{100 * value:.2f} %"
    return f"{value:,.0f}" if style == "count" else f"{value:.4f}"


def wanted(target: Target | None, style: str) -> str:
    """A target as printed."""
    if target is None:
        return ""
    n = f" at n ≥ {target.least_n:,}" if target.least_n else ""
    digits = f"{100 * target.limit:g} %" if style == "share" else f"{target.limit:,g}"
    if style == "count":
        digits = f"{target.limit:,.0f}"
    return f"{'≥' if target.at_least else '≤'} {digits}{n}"


def markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table whose columns also line up as plain text."""
    cells = [tuple(head), *(tuple(row) for row in rows)]
    widths = [max(3, *(len(row[i]) for row in cells)) for i in range(len(head))]
    lines = [
        "| " + " | ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)) + " |"
        for row in cells
    ]
    lines.insert(1, "|" + "|".join("-" * (w + 2) for w in widths) + "|")
    return "\n".join(lines)
