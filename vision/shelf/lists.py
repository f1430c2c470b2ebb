"""The wants list and the work list: CSV tables (RFC 4180) that a person goes on with."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from vision.guide import Guide
from vision.records import ArchiveError
from vision.shelf.values import Status, Stock, Work

WANTS = ("guide", "variation", "years", "why")
WORK = ("engine", "variation", "part", "finding", "state", "notes")
_WORK_OURS = tuple(column for column in WORK if column != "notes")
# Columns without which a table is no such list, whatever a person has done to it.
_WANTS_NEEDS = frozenset(("guide", "variation", "why"))
_WORK_NEEDS = frozenset(("engine", "part", "finding", "state"))
# What a row of ours says of itself; rows that a person added may say what they like.
_WHY: Mapping[Status, str] = MappingProxyType({Status.LACK: "lacking", Status.DOUBTFUL: "in doubt"})
NOT_WANTED = "no longer wanted"
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
    return tuple(
        Want(stock.guide, holding.variation, holding.years, words)
        for status, words in _WHY.items()
        for holding in stock.holdings
        if holding.status is status
    )


def wants_text(wants: Iterable[Want], before: str = "", guide: Guide | None = None) -> str:
    """Write a wants list as CSV, keeping what a person has put into the last one.

    Parameters
    ----------
    wants : iterable of Want
    before : str
        The list as it is; empty for none.
    guide : Guide or None
        By which it is renewed; None where there is none yet.

    Returns
    -------
    str
        Rows keep their order, new ones follow. Columns, cells and rows of a person's own
        stay, and any reason that is not ours; so do the rows of other guides. Of what is no
        longer wanted, rows that hold nothing of a person's go, the others are marked so.

    Raises
    ------
    ArchiveError
        `before` is no wants list.
    """
    sheet = _Sheet(before, "wants list", WANTS, needed=("variation",))
    found = {want.variation: want for want in wants}
    seen = set()
    kept = []
    for row in sheet.rows:
        id, why = row[sheet.at["variation"]], row[sheet.at["why"]]
        is_ours = why in (*_WHY.values(), NOT_WANTED)
        if guide is not None and not is_of_guide(row[sheet.at["guide"]], guide):
            kept.append(row)
        elif id in found:
            seen.add(id)
            reason = found[id].why if is_ours or not why else why
            kept.append(sheet.filled(row, replace(found[id], why=reason)))
        elif not is_ours:
            kept.append(row)
        elif sheet.holds_more(row, ours=WANTS):
            row[sheet.at["why"]] = NOT_WANTED
            kept.append(row)
    kept += [sheet.filled([], want) for id, want in found.items() if id not in seen]
    return _table(sheet.columns, kept)


def is_of_guide(cell: str, guide: Guide) -> bool:
    """Whether a row with this in the column "guide" is about a guide, in whatever version.

    A later version wants the same engines; a row that names no guide is about any.
    """
    stated = ("", guide.name, f"{guide.name} {guide.version}")
    return cell in stated or cell.rpartition(" ")[0] == guide.name


def is_wants_list(text: str) -> bool:
    """Whether a table is a wants list, also one that a person has gone on with, or empty."""
    return _has_columns(text, _WANTS_NEEDS)


def read_wants(text: str, name: str) -> tuple[Want, ...]:
    """Read a wants list; what is marked as no longer wanted is left out.

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
    wants = (Want(*(_cell(row, place) for place in at)) for row in rows)
    return tuple(want for want in wants if want.why != NOT_WANTED)


def is_work_list(text: str) -> bool:
    """Whether a table is a work list, also one that a person has gone on with, or empty."""
    return _has_columns(text, _WORK_NEEDS)


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
    sheet = _Sheet(before, "work list", WORK, needed=("engine", "part"))
    at = sheet.at
    found = {(item.engine, item.part): item for item in work}
    seen = set()
    kept = []
    for row in sheet.rows:
        key = row[at["engine"]], row[at["part"]]
        state = row[at["state"]]
        if key in found:
            seen.add(key)
            kept.append(_renewed(sheet, row, found[key]))
        elif state not in (OPEN, NOT_SEEN):
            kept.append(row)
        elif sheet.holds_more(row, ours=_WORK_OURS):
            row[at["state"]] = NOT_SEEN
            kept.append(row)
    kept += [_renewed(sheet, [], item) for key, item in found.items() if key not in seen]
    return _table(sheet.columns, kept)


def _renewed(sheet: _Sheet, row: Sequence[str], item: Work) -> list[str]:
    """Put into a row what is seen now; a state of a person's own is theirs."""
    cells = sheet.filled(row, item)
    if cells[sheet.at["state"]] in ("", NOT_SEEN):
        cells[sheet.at["state"]] = OPEN
    return cells


class _Sheet:
    """A table of ours that a person may have gone on with.

    Parameters
    ----------
    before : str
        As it is; empty for none.
    name : str
        For messages.
    own : sequence of str
        Columns of ours; what it lacks of them is added.
    needed : sequence of str
        Columns without which it is no such table.

    Attributes
    ----------
    columns : list of str
    rows : list of list of str
        Each at least as long as `columns`; cells beyond the last column stay beyond it.
    at : dict of str to int
        Place of each column of ours. By position: a person may leave columns without a
        name, or give two the same.

    Raises
    ------
    ArchiveError
        A needed column is missing, or it is no CSV.
    """

    def __init__(self, before: str, name: str, own: Sequence[str], needed: Sequence[str]) -> None:
        columns, rows = _read(before, name) if before.strip() else (list(own), [])
        if not set(needed) <= set(columns):
            which = f"columns {' and '.join(needed)}" if needed[1:] else f"column {needed[0]}"
            raise ArchiveError(f"{name}:1: the {which} expected")
        width = len(columns)
        self.columns = columns + [column for column in own if column not in columns]
        added = len(self.columns)
        self.rows = [row[:width] + [""] * (added - len(row[:width])) + row[width:] for row in rows]
        self.at = {column: self.columns.index(column) for column in own}

    def filled(self, row: Sequence[str], item: Want | Work) -> list[str]:
        """Put what is known into a row, or into a new one where it is empty."""
        cells = list(row) or [""] * len(self.columns)
        for column, place in self.at.items():
            if hasattr(item, column):
                cells[place] = getattr(item, column)
        return cells

    def holds_more(self, row: Sequence[str], ours: Sequence[str]) -> bool:
        """Whether a row holds anything but what stands in columns of ours."""
        places = {self.at[column] for column in ours}
        return any(cell for place, cell in enumerate(row) if place not in places)


def _has_columns(text: str, needed: frozenset[str]) -> bool:
    if not text.strip():
        return True
    try:
        return set(_read(text, "list")[0]) >= needed
    except ArchiveError:
        return False


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
