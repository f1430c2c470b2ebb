"""What is kept between runs: a record for every listing examined, in an SQLite file."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from vision.listings.base import open_base
from vision.listings.values import View
from vision.records import ListingsError, OutputError

NAME = "listings.sqlite"
# Raised whenever what is kept changes its form: older records are made anew.
FORMAT = 4
_TABLES = """
CREATE TABLE IF NOT EXISTS records (key TEXT PRIMARY KEY, record TEXT);
CREATE TABLE IF NOT EXISTS views (sha256 TEXT, eye TEXT, bytes INTEGER, look TEXT,
  drawn INTEGER, PRIMARY KEY (sha256, eye));
"""


class Store:
    """The records of one folder, and what was seen in each photo, by its content.

    Every record is written whole or not at all, and with it what was seen for it.

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
            self._base = open_base(folder / NAME, _is_of_this_form)
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

    def view(self, sha256: str, eye: str) -> View | None:
        """Return what an eye saw in a photo of this content, or None."""
        query = "SELECT bytes, look, drawn FROM views WHERE sha256 = ? AND eye = ?"
        row = self._base.execute(query, (sha256, eye)).fetchone()
        return None if row is None else View(sha256, row[0], row[1], bool(row[2]))

    def sizes(self, eye: str) -> set[int]:
        """Bytes of all photos that an eye has looked at."""
        query = "SELECT DISTINCT bytes FROM views WHERE eye = ?"
        return {size for (size,) in self._base.execute(query, (eye,))}

    def put(
        self,
        key: str,
        record: dict[str, Any] | None,
        views: Iterable[View] = (),
        eye: str = "",
    ) -> None:
        """Keep a record; one under the same key is replaced.

        Parameters
        ----------
        key : str
        record : dict or None
            None for one that is to be made again next time.
        views : iterable of View
            What was seen for it.
        eye : str
            By which eye.

        Raises
        ------
        OutputError
            The disk is full, or the like.
        """
        rows = [(v.sha256, eye, v.bytes, v.look, v.is_drawn) for v in views]
        try:
            with self._base:
                self._base.executemany("INSERT OR REPLACE INTO views VALUES (?, ?, ?, ?, ?)", rows)
                if record is not None:
                    text = json.dumps(record, allow_nan=False)
                    self._base.execute("INSERT OR REPLACE INTO records VALUES (?, ?)", (key, text))
        except sqlite3.Error as error:
            raise OutputError(f"{NAME}: cannot be written ({error})") from error


def _is_of_this_form(base: sqlite3.Connection) -> bool:
    (form,) = base.execute("PRAGMA user_version").fetchone()
    if form not in (0, FORMAT):
        return False
    base.executescript(_TABLES)
    base.execute(f"PRAGMA user_version = {FORMAT}")
    base.execute("PRAGMA journal_mode = WAL")
    return True


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
