"""What is kept between runs: a record for every listing examined, in an SQLite file."""

from __future__ import annotations

import hashlib
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
FORMAT = 11
# Texts as bytes, with a sum of each row: what is damaged may be no text, or another one.
_TABLES = """
CREATE TABLE IF NOT EXISTS records (key TEXT PRIMARY KEY, record BLOB, sum BLOB);
CREATE TABLE IF NOT EXISTS views (sha256 TEXT, eye TEXT, bytes INTEGER, look BLOB,
  drawn INTEGER, sum BLOB, PRIMARY KEY (sha256, eye));
"""
_RECORD = "SELECT record, sum FROM records WHERE key = ?"
_VIEW = "SELECT bytes, look, drawn, sum FROM views WHERE sha256 = ? AND eye = ?"


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
        self._path = folder / NAME
        try:
            self._base = open_base(self._path, _is_of_this_form)
            # Damage may turn a cell into text that is none; its row is then as if not there.
            self._base.text_factory = bytes
        except BaseException:
            self._lock.release()
            raise

    def close(self) -> None:
        """Close the file; a killed run needs no closing."""
        self._base.close()
        self._lock.release()

    def get(self, key: str) -> dict[str, Any] | None:
        """Return the record under a key; None where there is none, or it is damaged.

        Raises
        ------
        OutputError
            The file cannot be read.
        """
        for text, kept in self._rows(_RECORD, (key,)):
            if kept == _sum(key, text):
                return dict(json.loads(text))
        return None

    def view(self, sha256: str, eye: str) -> View | None:
        """Return what an eye saw in a photo of this content; None as in `get`.

        Raises
        ------
        OutputError
            The file cannot be read.
        """
        for size, look, drawn, kept in self._rows(_VIEW, (sha256, eye)):
            if kept == _sum(sha256, eye, size, look, drawn):
                return View(sha256, size, look.decode(), bool(drawn))
        return None

    def sizes(self, eye: str) -> set[int]:
        """Bytes of all photos that an eye has looked at.

        Raises
        ------
        OutputError
            The file cannot be read.
        """
        query = "SELECT DISTINCT bytes FROM views WHERE eye = ?"
        return {size for (size,) in self._rows(query, (eye,))}

    def _rows(self, query: str, values: tuple[str, ...]) -> list[tuple[Any, ...]]:
        try:
            return self._base.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise OutputError(
                f"{self._path}: cannot be read ({error}); delete it, and every listing is "
                "examined anew"
            ) from None

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
        rows = [_view_row(view, eye) for view in views]
        try:
            with self._base:
                self._base.executemany(
                    "INSERT OR REPLACE INTO views VALUES (?, ?, ?, ?, ?, ?)", rows
                )
                if record is not None:
                    text = json.dumps(record, allow_nan=False).encode()
                    row = (key, text, _sum(key, text))
                    self._base.execute("INSERT OR REPLACE INTO records VALUES (?, ?, ?)", row)
        except sqlite3.Error as error:
            raise OutputError(f"{self._path}: cannot be written ({error}); see --state") from error


def _view_row(view: View, eye: str) -> tuple[str | int | bytes, ...]:
    row = (view.sha256, eye, view.bytes, view.look.encode(), int(view.is_drawn))
    return (*row, _sum(*row))


def _sum(*cells: Any) -> bytes:
    """SHA-256 of a row's cells; each is told from the next by how it is written."""
    return hashlib.sha256(repr(cells).encode()).digest()


def _is_of_this_form(base: sqlite3.Connection) -> bool:
    (form,) = base.execute("PRAGMA user_version").fetchone()
    if form not in (0, FORMAT):
        return False
    base.executescript(_TABLES)
    for query in (_RECORD, _VIEW):  # a column's name may be damaged
        base.execute(query, ("",) * query.count("?"))
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
