"""The index as a file: opened, found damaged or too old, put aside."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType

from vision.records import ArchiveError, OutputError


@contextmanager
def disk_errors(path: Path | None) -> Iterator[None]:
    """Turn what a full disk or a read-only folder raises into our own error."""
    try:
        yield
    except sqlite3.Error as error:
        raise OutputError(f"{path}: the index cannot be written ({error})") from error
    except OSError as error:
        raise OutputError(f"{path}: the index cannot be written ({error.strerror})") from error


_NONE: Mapping[int, str] = MappingProxyType({})


def open_base(
    path: Path | None, format: int, tables: str, upgrades: Mapping[int, str] = _NONE
) -> tuple[sqlite3.Connection, str]:
    """Open the file of an index, and make its tables where it is new.

    Parameters
    ----------
    path : Path or None
        None for one in memory.
    format : int
        Of the tables, more than 0.
    tables : str
        SQL that makes them.
    upgrades : mapping of int to str
        SQL that makes of each earlier format the next.

    Returns
    -------
    connection
    str
        What is wrong with what was there, so that it cannot be used; empty for nothing.

    Raises
    ------
    ArchiveError
        Made by a newer telltale.
    sqlite3.Error
        The disk is full, read-only, or the like.
    """
    base = sqlite3.connect(path or ":memory:", isolation_level=None)
    try:
        found = base.execute("PRAGMA quick_check(1)").fetchone()[0]
        if found != "ok":
            return base, f"damaged ({found})"
        there = base.execute("PRAGMA user_version").fetchone()[0]
        if there > format:
            base.close()
            raise ArchiveError(f"{path}: made by a newer telltale (format {there})")
        missing = range(there, format) if there else range(0)
        if not upgrades.keys() >= set(missing):
            return base, f"of an older format ({there})"
        base.execute("PRAGMA journal_mode = WAL")
        # Survives a killed process at any moment; after a power cut the last photos
        # may have to be looked at again, and nothing else.
        base.execute("PRAGMA synchronous = NORMAL")
        if there < format:
            changes = "".join(upgrades[number] for number in missing) if there else tables
            base.executescript(f"BEGIN;{changes}PRAGMA user_version = {format};COMMIT;")
    except sqlite3.DatabaseError as error:
        if _is_about_the_disk(error):
            base.close()
            raise
        return base, f"damaged ({error})"
    return base, ""


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open the file of an index without writing to it, on a read-only disk too.

    Raises
    ------
    sqlite3.Error
        It is damaged, or cannot be opened.
    """
    uri = f"{path.absolute().as_uri()}?mode=ro"
    base = sqlite3.connect(uri, uri=True)
    try:
        base.execute("SELECT name FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        base.close()
        # SQLite wants to write down that somebody reads. Where it cannot, nobody writes either,
        # and without a log of changes beside it the file is whole.
        if path.with_name(f"{path.name}-wal").exists():
            raise
        return sqlite3.connect(f"{uri}&immutable=1", uri=True)
    except sqlite3.Error:
        base.close()
        raise
    return base


def _is_about_the_disk(error: sqlite3.DatabaseError) -> bool:
    return error.sqlite_errorcode & 0xFF in (
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_PERM,
    )


def set_aside(path: Path) -> Path:
    """Move a damaged index, which may still be of use to somebody, out of the way."""
    number = 1
    while (target := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    path.rename(target)
    for suffix in ("-wal", "-shm"):
        path.with_name(path.name + suffix).unlink(missing_ok=True)
    return target
