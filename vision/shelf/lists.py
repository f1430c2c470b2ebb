"""The wants list and the work list: CSV tables (RFC 4180) that a person goes on with."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from vision.records import ArchiveError
from vision.shelf.values import Status, Stock, Work

WANTS = ("guide", "variation", "years", "why")
WORK = ("engine", "variation", "part", "finding", "state", "notes")
# Columns without which a table is no work list, whatever a person has done to it.
_WORK_NEEDS = frozenset(("engine", "part", "finding", "state"))
# States of a row of ours; rows that a person added may say what they like.
OPEN, NOT_SEEN = "open", "no longer seen"


@dataclass(frozen=True, slots=True)
class Want:
    """One variation that the shelf lacks or is not sure of."""

    guide: str
    variation: str
    years: str
    why: str


def wants_of(stock: Stock) -> tuple[Want, ...]:
    """What to look for: what is lacking, then what is in doubt, in the guide's order."""
    why = {
        Status.LACK: "lacking",
        Status.DOUBTFUL: "in doubt",
    }
    return tuple(
        Want(stock.guide, holding.variation, holding.years, words)
        for status, words in why.items()
        for holding in stock.holdings
        if holding.status is status
    )


def wants_text(wants: Iterable[Want]) -> str:
    """Write a wants list as CSV."""
    return _table(WANTS, ([getattr(want, name) for name in WANTS] for want in wants))


def read_wants(text: str, name: str) -> tuple[Want, ...]:
    """Read a wants list.

    Parameters
    ----------
    text : str
    name : str
        Of the file, for messages.

    Raises
    ------
    ArchiveError
        A column is missing.
    """
    columns, rows = _read(text, name)
    if "variation" not in columns:
        raise ArchiveError(f"{name}:1: a column named variation expected")
    at = [columns.index(column) if column in columns else None for column in WANTS]
    return tuple(Want(*(_cell(row, place) for place in at)) for row in rows)


def is_work_list(text: str) -> bool:
    """Whether a table is a work list, also one that a person has gone on with, or empty."""
    if not text.strip():
        return True
    try:
        return set(_read(text, "work list")[0]) >= _WORK_NEEDS
    except ArchiveError:
        return False


def work_text(work: Sequence[Work], before: str = "") -> str:
    """Write a work list, keeping what a person has put into the last one.

    Parameters
    ----------
    work : sequence of Work
    before : str
        The list as it is; empty for none.

    Returns
    -------
    str
        Rows keep their order, new ones follow. Notes, columns, cells and rows of a person's
        own stay, and any state that is not ours; of what is no longer seen, rows that hold
        nothing of a person's go, the others are marked so.

    Raises
    ------
    ArchiveError
        `before` is no work list.
    """
    columns, rows = _read(before, "work list") if before.strip() else (list(WORK), [])
    if not {"engine", "part"} <= set(columns):
        raise ArchiveError("work list:1: the columns engine and part expected")
    width = len(columns)
    columns += [name for name in WORK if name not in columns]
    # By position: a person may leave columns without a name, or give two the same.
    at = {name: columns.index(name) for name in WORK}
    ours = {place for name, place in at.items() if name != "notes"}
    found = {(item.engine, item.part): item for item in work}
    seen = set()
    kept = []
    for cells in rows:
        # Cells beyond the last column stay beyond it.
        row = cells[:width] + [""] * (len(columns) - len(cells[:width])) + cells[width:]
        key = row[at["engine"]], row[at["part"]]
        state = row[at["state"]]
        if key in found:
            seen.add(key)
            kept.append(_renewed(row, found[key], at))
        elif state not in (OPEN, NOT_SEEN):
            kept.append(row)
        elif any(cell for place, cell in enumerate(row) if place not in ours):
            row[at["state"]] = NOT_SEEN
            kept.append(row)
    new = [item for key, item in found.items() if key not in seen]
    kept += [_renewed([""] * len(columns), item, at) for item in new]
    return _table(columns, kept)


def _renewed(row: Sequence[str], item: Work, at: Mapping[str, int]) -> list[str]:
    """Put into a row what is seen now; a state of a person's own is theirs."""
    cells = list(row)
    for name in ("engine", "variation", "part", "finding"):
        cells[at[name]] = getattr(item, name)
    if cells[at["state"]] in ("", NOT_SEEN):
        cells[at["state"]] = OPEN
    return cells


def _cell(row: Sequence[str], place: int | None) -> str:
    return "" if place is None or place >= len(row) else row[place]


def _read(text: str, name: str) -> tuple[list[str], list[list[str]]]:
    """Read a table: its columns and its rows, each cell in its place.

    Raises
    ------
    ArchiveError
        It is no CSV.
    """
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    try:
        rows = [row for row in reader if row]
    except csv.Error as error:
        raise ArchiveError(f"{name}:{reader.line_num}: no CSV ({error})") from None
    return (rows[0], rows[1:]) if rows else ([], [])


def _table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(columns)
    writer.writerows(rows)
    return stream.getvalue()
