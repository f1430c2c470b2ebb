"""CSV tables of listings (RFC 4180): a bad row is recorded, and the next one is read."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence

from vision.listings.money import read_price
from vision.listings.values import BadRow, Listing

COLUMNS = ("id", "title", "description", "price", "currency", "link", "photos")
# A quote that is never closed would swallow the rest of the file: a row that goes on
# for longer than this is taken for one. Chosen.
MOST_LINES_A_ROW = 400
# Characters; more is no description. Chosen.
MOST_CHARACTERS_A_ROW = 200_000

Row = tuple[int, list[str]]


def csv_rows(text: str) -> Iterator[Row | BadRow]:
    """Every record of a CSV text with the line it begins on, from 1.

    Strict by RFC 4180, section 2: comma, double quote, quotes doubled within quotes;
    a line break may be CRLF, LF or CR. A record that breaks the rules is reported with
    the line it begins on, and reading goes on at the line after that.

    Parameters
    ----------
    text : str
        With its line breaks as they stand in the file.
    """
    lines = _lines(text)
    at = 0
    while at < len(lines):
        feed = _Feed(lines, at)
        try:
            row = next(csv.reader(feed, strict=True))
        except StopIteration:
            return
        except csv.Error as error:
            yield BadRow(str(at + 1), f"not CSV as RFC 4180 has it ({error})")
            at += 1
            continue
        if row:
            yield at + 1, row
        at = feed.next_line


class _Feed:
    """Lines for one record; refuses to go on for ever."""

    def __init__(self, lines: Sequence[str], at: int) -> None:
        self._lines, self._from, self.next_line = lines, at, at
        self._length = 0

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if self.next_line >= len(self._lines):
            raise StopIteration
        line = self._lines[self.next_line]
        self._length += len(line)
        too_long = self._length > MOST_CHARACTERS_A_ROW
        if too_long or self.next_line - self._from >= MOST_LINES_A_ROW:
            raise csv.Error("a quote that is not closed, or a row far too long")
        self.next_line += 1
        return line


def _lines(text: str) -> list[str]:
    return re.findall(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+", text)


def table_listings(text: str, name: str) -> Iterator[Listing | BadRow]:
    """Listings of a CSV text.

    Parameters
    ----------
    text : str
    name : str
        File, for `source`.

    Yields
    ------
    Listing or BadRow
        The first row names columns where "title" is among its names, in any order and
        any case; otherwise it is a listing like the others and the order is `COLUMNS`.
        A row with another number of fields than the first is a bad one.
    """
    columns: Sequence[str] = ()
    for row in csv_rows(text):
        if isinstance(row, BadRow):
            yield BadRow(f"{name}:{row.source}", row.reason)
            continue
        line, fields = row
        if not columns:
            named = [field.strip().lower() for field in fields]
            if "title" in named:
                columns = named
                continue
            if len(fields) != len(COLUMNS):
                yield BadRow(f"{name}:{line}", _no_columns(fields))
                return
            columns = COLUMNS
        if len(fields) != len(columns):
            counts = f"{len(fields)} fields where the first row has {len(columns)}"
            yield BadRow(f"{name}:{line}", counts)
            continue
        yield _listing(dict(zip(columns, fields, strict=True)), f"{name}:{line}")


def _no_columns(fields: Sequence[str]) -> str:
    hint = "; commas between fields expected (RFC 4180)" if len(fields) == 1 else ""
    return f'no column "title", and not the {len(COLUMNS)} columns {", ".join(COLUMNS)}{hint}'


def _listing(row: dict[str, str], source: str) -> Listing | BadRow:
    title, description = row.get("title", "").strip(), row.get("description", "").strip()
    photos = split_photos(row.get("photos", ""))
    if not (title or description or photos):
        return BadRow(source, "no title, no description and no photo")
    price, currency, notes = read_price(row.get("price", ""), row.get("currency", ""))
    return Listing(
        id=row.get("id", "").strip() or source,
        title=title,
        description=description,
        price=price,
        currency=currency,
        link=row.get("link", "").strip(),
        photos=photos,
        source=source,
        notes=notes,
    )


def split_photos(cell: str) -> tuple[str, ...]:
    """Photos of one cell, each once: parted by line breaks, "|" or ";".

    Examples
    --------
    >>> split_photos("a b.jpg; c.jpg|a b.jpg")
    ('a b.jpg', 'c.jpg')
    """
    parts = (part.strip() for part in re.split(r"[\r\n|;]+", cell))
    return tuple(dict.fromkeys(part for part in parts if part))
