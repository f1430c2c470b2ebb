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
    return _table(WANTS, ({name: getattr(want, name) for name in WANTS} for want in wants))


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
    columns, rows = _read(text)
    if "variation" not in columns:
        raise ArchiveError(f"{name}:1: a column named variation expected")
    return tuple(Want(*(row.get(column) or "" for column in WANTS)) for row in rows)


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
        Rows keep their order, new ones follow. Notes, columns and rows of a person's own
        stay; of what is no longer seen, only rows with notes stay, marked so.

    Raises
    ------
    ArchiveError
        `before` is no work list.
    """
    columns, rows = _read(before) if before.strip() else (list(WORK), [])
    if not {"engine", "part"} <= set(columns):
        raise ArchiveError("work list:1: the columns engine and part expected")
    columns += [name for name in WORK if name not in columns]
    own = [name for name in columns if name not in WORK or name == "notes"]
    found = {(item.engine, item.part): item for item in work}
    kept = []
    for row in rows:
        item = found.pop((row["engine"], row["part"]), None)
        if item is not None:
            kept.append({**row, **_row(item)})
        elif row.get("state") not in (OPEN, NOT_SEEN):
            kept.append(row)
        elif any(row.get(name) for name in own):
            kept.append({**row, "state": NOT_SEEN})
    return _table(columns, [*kept, *(_row(item) for item in found.values())])


def _row(item: Work) -> dict[str, str]:
    return {
        "engine": item.engine,
        "variation": item.variation,
        "part": item.part,
        "finding": item.finding,
        "state": OPEN,
    }


def _read(text: str) -> tuple[list[str], list[dict[str, str]]]:
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), restval="")
    rows = [{k: v for k, v in row.items() if isinstance(k, str)} for row in reader]
    return list(reader.fieldnames or ()), rows


def _table(columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> str:
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()
