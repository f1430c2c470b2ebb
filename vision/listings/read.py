"""A file or folder of listings to values; what cannot be read is recorded, row by row."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from vision.listings.schema_org import json_lines, json_listings, page_listings
from vision.listings.table import table_listings
from vision.listings.values import BadRow, Listing
from vision.records import ListingsError

TABLES, LINES, JSONS, PAGES = (
    (".csv",),
    (".jsonl", ".ndjson"),
    (".json", ".jsonld"),
    (".html", ".htm"),
)
KINDS = (*TABLES, *LINES, *JSONS, *PAGES)
# Bytes. Ten thousand long descriptions stay below; more is no table of listings. Chosen.
MOST_BYTES = 64_000_000


@dataclass(frozen=True, slots=True)
class Source:
    """A listing and the folder that its photos' paths are relative to."""

    listing: Listing
    folder: Path


def read_listings(path: Path) -> Iterator[Source | BadRow]:
    """Read every listing of a file, or of the files of a folder in order of names.

    Parameters
    ----------
    path : Path
        CSV (.csv), JSON Lines (.jsonl, .ndjson), JSON (.json, .jsonld) or a saved web
        page (.html, .htm); or a folder that holds such files.

    Yields
    ------
    Source or BadRow
        An id that occurred before is a bad row: nothing is judged twice; and so is a file
        without any. Half a surrogate
        pair, which JSON can carry and no file can, is U+FFFD in every text.

    Raises
    ------
    ListingsError
        Nothing there, or nothing of these kinds.
    """
    seen: set[str] = set()
    for file in _files(path):
        items = 0
        for items, item in enumerate(map(_writable, _read_file(file)), 1):  # noqa: B007
            if isinstance(item, BadRow):
                yield item
            elif item.id in seen:
                yield BadRow(
                    item.source, f'a listing "{item.id}" came before; this one is left out'
                )
            else:
                seen.add(item.id)
                yield Source(item, file.parent)
        if not items:
            yield BadRow(_whole(file.name), "no listing in it")


def _files(path: Path) -> list[Path]:
    if path.is_dir():
        files = sorted(f for f in path.iterdir() if f.suffix.lower() in KINDS and f.is_file())
        if not files:
            raise ListingsError(f"{path}: no file of listings in it ({', '.join(KINDS)})")
        return files
    if not path.exists():
        raise ListingsError(f"{path}: no such file or folder")
    if path.suffix.lower() not in KINDS:
        raise ListingsError(f"{path}: not a file of listings; {', '.join(KINDS)} are read")
    return [path]


def _read_file(file: Path) -> Iterator[Listing | BadRow]:
    name = file.name
    try:
        if file.stat().st_size > MOST_BYTES:
            yield BadRow(name, f"more than {MOST_BYTES // 1_000_000} MB; not read")
            return
        data = file.read_bytes()
    except OSError as error:
        yield BadRow(name, f"cannot be read ({error.strerror})")
        return
    kind = file.suffix.lower()
    if kind in PAGES:
        yield from page_listings(data, name)
        return
    text, note = _text(data)
    if "\0" in text:
        yield BadRow(name, "not text")
        return
    read = {TABLES: table_listings, LINES: json_lines, JSONS: json_listings}
    reader = next(reader for kinds, reader in read.items() if kind in kinds)
    for item in reader(text, name):
        if note and isinstance(item, Listing):
            item = replace(item, notes=(*item.notes, note))
        yield item


def _writable(item: Listing | BadRow) -> Listing | BadRow:
    """Replace what UTF-8 has no bytes for (RFC 3629, section 3), so that reports can be written."""
    if isinstance(item, BadRow):
        return BadRow(_whole(item.source), _whole(item.reason))
    return replace(
        item,
        id=_whole(item.id),
        title=_whole(item.title),
        description=_whole(item.description),
        currency=_whole(item.currency),
        link=_whole(item.link),
        photos=tuple(map(_whole, item.photos)),
        source=_whole(item.source),
        notes=tuple(map(_whole, item.notes)),
    )


def _whole(text: str) -> str:
    return re.sub("[\ud800-\udfff]", "\ufffd", text)


def _text(data: bytes) -> tuple[str, str]:
    """UTF-8 as RFC 8259 wants it; UTF-16 by its mark; else what spreadsheets write."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace"), ""
    try:
        return data.decode("utf-8-sig"), ""
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "the file is not UTF-8; read as Windows-1252"
