"""What is kept between runs: a record for every listing examined, in an SQLite file."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from vision.records import ListingsError, OutputError

NAME = "listings.sqlite"
# Raised whenever what is kept changes its form: older records are made anew.
FORMAT = 1


class Store:
    """The records of one folder; every record is written whole or not at all.

    Parameters
    ----------
    folder : Path
        Is made where it is missing.

    Raises
    ------
    OutputError
        It cannot be written.
    ListingsError
        Another run is at work in it.
    """

    def __init__(self, folder: Path) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = FileLock(folder / "listings.lock")
            self._lock.acquire(blocking=False)
        except Timeout:
            raise ListingsError(f"{folder}: another run is at work on these listings") from None
        except OSError as error:
            raise _unwritable(folder, error) from None
        try:
            self._base = _open(folder / NAME)
        except BaseException:
            self._lock.release()
            raise

    def close(self) -> None:
        """Close the file; a killed run needs no closing."""
        self._base.close()
        self._lock.release()

    def get(self, key: str) -> dict[str, Any] | None:
        """Return the record under a key, or None."""
        row = self._base.execute("SELECT record FROM records WHERE key = ?", (key,)).fetchone()
        return None if row is None else dict(json.loads(row[0]))

    def put(self, key: str, record: dict[str, Any]) -> None:
        """Keep a record; one under the same key is replaced.

        Raises
        ------
        OutputError
            The disk is full, or the like.
        """
        text = json.dumps(record, allow_nan=False)
        try:
            with self._base:
                self._base.execute("INSERT OR REPLACE INTO records VALUES (?, ?)", (key, text))
        except sqlite3.Error as error:
            raise OutputError(f"{NAME}: cannot be written ({error})") from error


def _open(path: Path) -> sqlite3.Connection:
    for _ in range(2):
        base = sqlite3.connect(path)
        try:
            (form,) = base.execute("PRAGMA user_version").fetchone()
            if form in (0, FORMAT):
                base.execute(
                    "CREATE TABLE IF NOT EXISTS records (key TEXT PRIMARY KEY, record TEXT)"
                )
                base.execute(f"PRAGMA user_version = {FORMAT}")
                base.execute("PRAGMA journal_mode = WAL")
                return base
        except sqlite3.OperationalError as error:
            base.close()
            raise OutputError(f"{path}: cannot be written ({error}); see --state") from None
        except sqlite3.DatabaseError:
            pass
        # Damaged, or of another form: nothing in it cannot be made again.
        base.close()
        path.unlink()
    raise OutputError(f"{path}: cannot be used")


def _unwritable(folder: Path, error: OSError) -> OutputError:
    return OutputError(f"{folder}: cannot be written ({error.strerror}); name another with --state")


@contextmanager
def opened(folder: Path) -> Iterator[Store]:
    """Open the records of a folder, and close them."""
    store = Store(folder)
    try:
        yield store
    finally:
        store.close()
