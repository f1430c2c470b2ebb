"""Which photos show one engine."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision.records import ArchiveError

GROUP_FILE = "engines.csv"
_WILD = frozenset("*?[")  # what makes a name in it a pattern
# Bits of 64 in which the perceptual hashes of two whole photos differ, up to which one
# is a copy of the other: resized, saved again, brightened. Stricter than for two photos
# that are known to show one engine, since ten thousand photos make fifty million pairs.
# Chosen; tests/test_archive_groups.py measures both sides of it on the demo photos.
COPY_BITS = 6
# Hashes compared in one go; bounds the memory to some 40 MB for 10,000 photos.
_ROWS = 512


class By(StrEnum):
    """What groups photos that no group file names."""

    FOLDER = "folder"
    PHOTO = "photo"


def read_group_file(path: Path) -> tuple[tuple[str, str], ...]:
    """Read a group file: a CSV table (RFC 4180) with the columns photo and engine.

    Semicolons may stand for its commas, as spreadsheets write them where the comma is the
    decimal mark.

    Returns
    -------
    tuple of (pattern, engine)
        A pattern is a path below the archive's folder, in which * and ? stand for any
        text and any letter. Empty where there is no such file.

    Raises
    ------
    ArchiveError
        The file cannot be read, or a row lacks one of the two.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig", "surrogateescape")
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise ArchiveError(f"{path}: cannot be read ({error.strerror})") from None
    tables = (csv.DictReader(io.StringIO(text, newline=""), delimiter=mark) for mark in ",;")
    named = (table for table in tables if {"photo", "engine"} <= set(table.fieldnames or ()))
    reader = next(named, None)
    if reader is None:
        raise ArchiveError(
            f'{path}:1: the columns photo and engine expected: write "photo,engine" there'
        )
    rows = []
    for row in reader:
        if not row["photo"] or not row["engine"]:
            raise ArchiveError(f"{path}:{reader.line_num}: a photo and an engine expected")
        rows.append((row["photo"], row["engine"]))
    return tuple(rows)


def group(
    alike: Mapping[str, int], named: Sequence[tuple[str, str]], by: By
) -> dict[str, tuple[str, ...]]:
    """Sort photos into engines.

    Parameters
    ----------
    alike : mapping of path to int
        Perceptual hash, 64 bits, of every photo.
    named : sequence of (pattern, engine)
        From a group file; the first that fits a photo counts, before all else.
    by : By
        FOLDER: a folder below the archive's own holds the photos of one engine. PHOTO,
        and for photos in the archive's own folder: each photo is an engine of its own,
        except copies of one picture.

    Returns
    -------
    dict of str to tuple of str
        Name of the engine to its photos, both in order of names.
    """
    first = _first_fitting(alike, named)
    engines: dict[str, list[str]] = {}
    single = []
    for path in sorted(alike):
        engine = first[path][1] if path in first else None
        folder = path.rpartition("/")[0]
        if engine is None and folder and by is By.FOLDER:
            engine = folder
        if engine is None:
            single.append(path)
        else:
            engines.setdefault(engine, []).append(path)
    for copies in copies_among({path: alike[path] for path in single}):
        engines.setdefault(copies[0], []).extend(copies)
    return {name: tuple(sorted(engines[name])) for name in sorted(engines)}


def fitting_none(paths: Collection[str], named: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Patterns of a group file that fit none of the photos, each once, as in the file."""
    written = set(paths)
    return tuple(
        dict.fromkeys(
            pattern
            for pattern, _ in named
            if pattern not in written and not any(fnmatchcase(path, pattern) for path in paths)
        )
    )


def not_followed(
    paths: Collection[str], named: Sequence[tuple[str, str]]
) -> tuple[tuple[str, str], ...]:
    """Rows of a group file that no photo follows, as earlier ones give theirs to other engines.

    A row that some photo follows is none: one photo may be named before all others are.
    """
    first = _first_fitting(paths, named)
    followed = set(first.values())
    return tuple(
        dict.fromkeys(
            row
            for row in named
            if row not in followed
            and any(row[1] != other[1] and _fits(path, row[0]) for path, other in first.items())
        )
    )


def _first_fitting(
    paths: Iterable[str], named: Sequence[tuple[str, str]]
) -> dict[str, tuple[str, str]]:
    """The row of a group file that each photo follows, of those that follow one.

    A file may have a row for every photo: only patterns are tried on each.
    """
    written: dict[str, int] = {}
    for at, (name, _) in enumerate(named):
        written.setdefault(name, at)
    patterns = [at for at, (name, _) in enumerate(named) if _WILD & set(name)]
    first = {}
    for path in paths:
        last = written.get(path, len(named))
        fitting = (at for at in patterns if at < last and fnmatchcase(path, named[at][0]))
        at = next(fitting, last)
        if at < len(named):
            first[path] = named[at]
    return first


def _fits(path: str, pattern: str) -> bool:
    # A name that is written out counts as it stands, brackets and all.
    return path == pattern or fnmatchcase(path, pattern)


def copies_among(alike: Mapping[str, int]) -> Iterator[tuple[str, ...]]:
    """Sets of photos that are copies of one picture; most hold a single photo.

    Each photo joins the first one that it is a copy of, and not the copies of copies,
    so that a long row of small changes does not end in one heap.
    """
    paths = list(alike)
    hashes = np.array([alike[path] for path in paths], dtype=np.uint64)
    heads: dict[int, list[int]] = {}
    taken = np.zeros(len(paths), dtype=bool)
    for start, near in _near_pairs(hashes):
        for offset in range(near.shape[0]):
            index = start + offset
            if taken[index]:
                continue
            found = np.flatnonzero(near[offset])
            members = [int(other) for other in found if other >= index and not taken[other]]
            taken[members] = True
            heads[index] = members
    for members in heads.values():
        yield tuple(paths[member] for member in members)


def _near_pairs(hashes: NDArray[np.uint64]) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    for start in range(0, len(hashes), _ROWS):
        differing = np.bitwise_count(hashes[start : start + _ROWS, None] ^ hashes[None, :])
        yield start, differing <= COPY_BITS
