"""Fetched pictures, kept between runs."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

from vision.listings.base import open_base
from vision.listings.fetch import Fetcher
from vision.records import OutputError

NAME = "addresses.sqlite"
_TABLE = "CREATE TABLE IF NOT EXISTS addresses (url TEXT PRIMARY KEY, sha256 TEXT)"


class Cache:
    """Fetched pictures, each kept once under the SHA-256 of its bytes.

    Parameters
    ----------
    folder : Path
        Is made where it is missing.

    Raises
    ------
    OutputError
        It cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._base = open_base(folder / NAME, _has_table)
        except OSError as error:
            raise OutputError(
                f"{folder}: cannot be written ({error.strerror}); see --state"
            ) from None

    def close(self) -> None:
        """Close the file."""
        self._base.close()

    def get(self, url: str, fetcher: Fetcher) -> Path:
        """Return the file of a picture, fetched unless it is here already and whole.

        Raises
        ------
        FetchError
        OutputError
            The list of addresses cannot be read or written.
        """
        known = self._known(url)
        if known is not None:
            kept = self._folder / known
            if kept.is_file() and hashlib.sha256(kept.read_bytes()).hexdigest() == known:
                return kept
        data = fetcher.fetch(url)
        name = hashlib.sha256(data).hexdigest()
        target = self._folder / name
        partial = target.with_suffix(".part")
        partial.write_bytes(data)
        partial.replace(target)
        try:
            with self._base:
                self._base.execute("INSERT OR REPLACE INTO addresses VALUES (?, ?)", (url, name))
        except sqlite3.Error as error:
            raise OutputError(
                f"{self._folder / NAME}: cannot be written ({error}); see --state"
            ) from None
        return target

    def _known(self, url: str) -> str | None:
        query = "SELECT sha256 FROM addresses WHERE url = ?"
        try:
            row = self._base.execute(query, (url,)).fetchone()
        except sqlite3.Error as error:
            raise OutputError(
                f"{self._folder / NAME}: cannot be read ({error}); delete it, and pictures are "
                "fetched anew"
            ) from None
        return None if row is None else str(row[0])


def _has_table(base: sqlite3.Connection) -> bool:
    base.execute(_TABLE)
    return True
