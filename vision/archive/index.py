"""What the archive remembers: an SQLite file, written by one process alone."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.archive.index_file import disk_errors, open_base, open_to_read, set_aside
from vision.archive.values import Seen, Stamp
from vision.pipeline.look import Look, eye_name, is_readable, look_from_text, looks_at, model_of
from vision.records import ArchiveError

# Increased whenever the tables change; an older index is brought up to it where `_UPGRADES`
# says how, else rebuilt, and a newer one refused.
FORMAT = 2
# Paths are kept as bytes, since a name need not be text.
_TABLES = """
CREATE TABLE photos (path BLOB PRIMARY KEY, size INTEGER, modified INTEGER,
  changed INTEGER, inode INTEGER, sha256 TEXT, code INTEGER, error TEXT) WITHOUT ROWID;
CREATE TABLE looks (sha256 TEXT, eye TEXT, look TEXT, PRIMARY KEY (sha256, eye));
CREATE TABLE engines (name BLOB PRIMARY KEY, basis TEXT, answer TEXT) WITHOUT ROWID;
CREATE TABLE members (photo BLOB PRIMARY KEY, engine BLOB) WITHOUT ROWID;
CREATE TABLE sidecars (path BLOB PRIMARY KEY, photo BLOB, basis TEXT, sha256 TEXT,
  size INTEGER, modified INTEGER, before BLOB, before_modified INTEGER) WITHOUT ROWID;
"""
_GUIDE_TABLE = """
CREATE TABLE guide (one INTEGER PRIMARY KEY CHECK (one = 1), name TEXT, version TEXT,
  sha256 TEXT, place BLOB);
"""
# From each earlier format to the next, losing nothing that is there.
_UPGRADES = {1: _GUIDE_TABLE}


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """One photo as it was at the last run; `stamp` is None where it was not read."""

    stamp: Stamp | None
    sha256: str
    code: int
    error: str


@dataclass(frozen=True, slots=True)
class SidecarRow:
    """One sidecar that we wrote.

    Attributes
    ----------
    photo : str
    basis : str
        Hash of all that went into our tags.
    hashes : tuple of str
        SHA-256 of the bytes that we wrote last. While they are being written, of those that
        stand there before them: a write that fails, or is killed, leaves these.
    size, modified : int
        Of the file after writing; -1 while it is being written.
    before : bytes or None
        What stood there before us; None for no file.
    before_modified : int or None
        Its time of last change, nanoseconds.
    """

    photo: str
    basis: str
    hashes: tuple[str, ...]
    size: int
    modified: int
    before: bytes | None
    before_modified: int | None


@dataclass(frozen=True, slots=True)
class GuideRow:
    """The guide of the last run; `place` is a built-in name or a whole path, empty if unknown."""

    name: str
    version: str
    sha256: str
    place: str


@dataclass(frozen=True, slots=True)
class EngineRow:
    """One engine: its photos, and the answer as `answer_json` gives it."""

    name: str
    photos: tuple[str, ...]
    basis: str
    answer: dict[str, Any]


class Index:
    """The index of one archive.

    Parameters
    ----------
    path : Path or None
        The file; None for one in memory that nothing outlives.

    Attributes
    ----------
    rebuilt : str
        Why an index that was there could not be used, and where it lies now; empty
        where all is well.

    Raises
    ------
    ArchiveError
        Made by a newer telltale.
    OutputError
        It cannot be written.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.rebuilt = ""
        with disk_errors(path):
            if path is not None:
                path.parent.mkdir(parents=True, exist_ok=True)
            self._base, complaint = open_base(path, FORMAT, _TABLES + _GUIDE_TABLE, _UPGRADES)
            if complaint and path is not None:
                self.rebuilt = f"{path}: {complaint}; built anew, the old one is {set_aside(path)}"
                self._base, _ = open_base(path, FORMAT, _TABLES + _GUIDE_TABLE)

    def close(self) -> None:
        """Close the file; a killed run needs no closing."""
        self._base.close()

    def copy_from(self, path: Path) -> None:
        """Fill an index in memory with what a file holds, without writing to it."""
        try:
            source = open_to_read(path)
            try:
                source.backup(self._base)
            finally:
                source.close()
        except sqlite3.Error as error:
            raise ArchiveError(f"{path}: cannot be read ({error})") from error

    def photos(self) -> dict[str, PhotoRow]:
        """Every photo of the last run."""
        rows = self._base.execute(
            "SELECT path, size, modified, changed, inode, sha256, code, error FROM photos"
        )
        return {
            os.fsdecode(path): PhotoRow(
                None if size < 0 else Stamp(size, modified, changed, inode), sha256, code, error
            )
            for path, size, modified, changed, inode, sha256, code, error in rows
        }

    def looked_at(self, eye: str) -> set[str]:
        """Hashes of all content that this eye has looked at."""
        return {
            sha for (sha,) in self._base.execute("SELECT sha256 FROM looks WHERE eye = ?", (eye,))
        }

    def look(self, sha256: str, eye: str) -> Look:
        """Return what the eye saw; KeyError where it has not looked."""
        query = "SELECT look FROM looks WHERE sha256 = ? AND eye = ?"
        row = self._base.execute(query, (sha256, eye)).fetchone()
        if row is None:
            raise KeyError(sha256)
        return look_from_text(row[0])

    def alike(self, eye: str) -> dict[str, int]:
        """Perceptual hash of all content that this eye has looked at."""
        query = "SELECT sha256, json_extract(look, '$.alike') FROM looks WHERE eye = ?"
        return {sha: int(alike, 16) for sha, alike in self._base.execute(query, (eye,))}

    def keep_seen(self, batch: Iterable[Seen], eye: str) -> None:
        """Remember what became of some tasks, all or none of them."""
        with self._transaction():
            for seen in batch:
                self._keep(seen, eye)

    def _keep(self, seen: Seen, eye: str) -> None:
        stamp = seen.stamp or Stamp(-1, 0, 0, 0)
        self._base.execute(
            "REPLACE INTO photos VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                os.fsencode(seen.path),
                stamp.size,
                stamp.modified,
                stamp.changed,
                stamp.inode,
                seen.sha256,
                seen.code,
                seen.error.encode("utf-8", "backslashreplace").decode(),
            ),
        )
        if seen.look:
            row = (seen.sha256, eye, seen.look)
            self._base.execute("REPLACE INTO looks VALUES (?, ?, ?)", row)

    def forget_photos(self, paths: Iterable[str]) -> None:
        """Drop photos that are gone. What was seen stays: the file may only have moved."""
        with self._transaction():
            keys = [(os.fsencode(path),) for path in paths]
            self._base.executemany("DELETE FROM photos WHERE path = ?", keys)

    def keep_guide(self, row: GuideRow) -> None:
        """Remember by which guide the archive is dated."""
        values = (row.name, row.version, row.sha256, os.fsencode(row.place))
        with self._transaction():
            self._base.execute("REPLACE INTO guide VALUES (1, ?, ?, ?, ?)", values)

    def engine_bases(self) -> dict[str, str]:
        """What each engine's answer rests on."""
        rows = self._base.execute("SELECT name, basis FROM engines")
        return {os.fsdecode(name): basis for name, basis in rows}

    def keep_engine(self, row: EngineRow) -> None:
        """Remember one engine's answer, in place of what was said of it before."""
        name = os.fsencode(row.name)
        with self._transaction():
            answer = json.dumps(row.answer, allow_nan=False)
            self._base.execute("REPLACE INTO engines VALUES (?, ?, ?)", (name, row.basis, answer))
            self._base.execute("DELETE FROM members WHERE engine = ?", (name,))
            pairs = [(os.fsencode(photo), name) for photo in row.photos]
            self._base.executemany("REPLACE INTO members VALUES (?, ?)", pairs)

    def forget_engines(self, names: Iterable[str]) -> None:
        """Drop engines that are no more."""
        with self._transaction():
            for name in names:
                key = (os.fsencode(name),)
                self._base.execute("DELETE FROM engines WHERE name = ?", key)
                self._base.execute("DELETE FROM members WHERE engine = ?", key)

    def engines(self) -> Iterator[EngineRow]:
        """Every engine, by name."""
        members: dict[bytes, list[str]] = {}
        for photo, engine in self._base.execute("SELECT photo, engine FROM members ORDER BY photo"):
            members.setdefault(engine, []).append(os.fsdecode(photo))
        for name, basis, answer in self._base.execute(
            "SELECT name, basis, answer FROM engines ORDER BY name"
        ):
            photos = tuple(members.get(name, ()))
            yield EngineRow(os.fsdecode(name), photos, basis, json.loads(answer))

    def looks(self, paths: Iterable[str], lever_at: float | None) -> Iterator[tuple[str, Look]]:
        """An eye and its look at each of some photos, as far as there is one.

        Of those by the latest model the one that looked closely at the very place where a
        lever is to be looked for, else the latest that looked as good as there, else the latest.
        """
        query = (
            "SELECT eye, look FROM looks JOIN photos USING (sha256) WHERE path = ?"
            " ORDER BY looks.rowid DESC"
        )
        for path in paths:
            rows = self._base.execute(query, (os.fsencode(path),)).fetchall()
            rows = [row for row in rows if is_readable(row[0])]
            rows = [row for row in rows if model_of(row[0]) == model_of(rows[0][0])]
            if rows:
                close = [row for row in rows if looks_at(row[0], lever_at)] or rows
                # Of places a hair apart the very one, or what is said would depend on which
                # guides the archive was tagged with.
                exact = eye_name(model_of(rows[0][0]), lever_at)
                eye, look = next((row for row in close if row[0] == exact), close[0])
                yield eye, look_from_text(look)

    def sidecars(self) -> dict[str, SidecarRow]:
        """Every sidecar that we wrote, without what stood there before (`before` is None)."""
        rows = self._base.execute(
            "SELECT path, photo, basis, sha256, size, modified, before_modified FROM sidecars"
        )
        return {
            os.fsdecode(path): SidecarRow(
                os.fsdecode(photo), basis, tuple(hashes.split()), size, time, None, before
            )
            for path, photo, basis, hashes, size, time, before in rows
        }

    def before(self, path: str) -> bytes | None:
        """Return what stood in a sidecar's place before us."""
        query = "SELECT before FROM sidecars WHERE path = ?"
        row = self._base.execute(query, (os.fsencode(path),)).fetchone()
        return None if row is None else row[0]

    def keep_sidecars(self, rows: Mapping[str, SidecarRow]) -> None:
        """Remember some sidecars, all or none of them."""
        with self._transaction():
            self._base.executemany(
                "REPLACE INTO sidecars VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (
                        os.fsencode(path),
                        os.fsencode(row.photo),
                        row.basis,
                        " ".join(row.hashes),
                        row.size,
                        row.modified,
                        row.before,
                        row.before_modified,
                    )
                    for path, row in rows.items()
                ],
            )

    def set_written(self, stats: Mapping[str, os.stat_result]) -> None:
        """Note that sidecars have reached their names: of their hashes the last one holds."""
        with self._transaction():
            self._base.executemany(
                "UPDATE sidecars SET size = ?, modified = ?, sha256 = substr(sha256, -64)"
                " WHERE path = ?",
                [(s.st_size, s.st_mtime_ns, os.fsencode(path)) for path, s in stats.items()],
            )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with disk_errors(self.path):
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._base.execute("COMMIT")
            except BaseException:
                # A full disk may have rolled it back already.
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
                raise
