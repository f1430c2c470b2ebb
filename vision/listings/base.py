"""An SQLite file of which nothing cannot be made again: opened, or made anew where damaged."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from vision.records import OutputError

# What SQLite keeps beside a file. A journal of the old file would undo the new one.
_BESIDE = ("-journal", "-wal", "-shm")


def open_base(path: Path, is_usable: Callable[[sqlite3.Connection], bool]) -> sqlite3.Connection:
    """Open a file, and once more as a new one where what is there cannot be used.

    Every page is looked at: damage in the middle would show only at some listing.

    Parameters
    ----------
    path : Path
    is_usable : callable
        Makes the tables, and says whether what is there can be used.

    Raises
    ------
    OutputError
        It cannot be opened or written.
    """
    for _ in range(2):
        try:
            base = sqlite3.connect(path)
        except sqlite3.Error as error:
            raise OutputError(f"{path}: cannot be opened ({error}); see --state") from None
        try:
            if _is_whole(base) and is_usable(base):
                return base
        except sqlite3.DatabaseError as error:
            if _is_about_the_disk(error):
                base.close()
                raise OutputError(f"{path}: cannot be written ({error}); see --state") from None
        except UnicodeDecodeError:
            # Raised in place of the database's error, which quotes a damaged name.
            pass
        base.close()
        try:
            path.unlink()
            for ending in _BESIDE:
                path.with_name(f"{path.name}{ending}").unlink(missing_ok=True)
        except OSError as error:
            raise OutputError(
                f"{path}: is damaged, and cannot be made anew ({error.strerror}); see --state"
            ) from None
    raise OutputError(f"{path}: cannot be used; see --state")


def _is_whole(base: sqlite3.Connection) -> bool:
    (first, *_) = base.execute("PRAGMA quick_check").fetchone()
    return bool(first == "ok")


def _is_about_the_disk(error: sqlite3.DatabaseError) -> bool:
    """Whether the file may well be whole, but cannot be got at.

    A damaged head is an operational error too, but one without a cause outside the file.
    """
    is_operational = isinstance(error, sqlite3.OperationalError)
    return is_operational and error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_ERROR
