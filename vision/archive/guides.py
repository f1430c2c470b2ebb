"""By which guide an archive is dated: the one that is named, or else the one of before."""

from __future__ import annotations

import os
import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from vision.archive.index import GuideRow
from vision.archive.index_file import open_to_read
from vision.archive.order import index_path
from vision.guide import EXAMPLE_GUIDE, Guide, builtin_names, load_guide
from vision.records import ArchiveError, GuideError


@dataclass(frozen=True, slots=True)
class Choice:
    """The guide of a run.

    Attributes
    ----------
    guide : Guide
    place : str
        Where it is found again: the name of a built-in guide, or a file's whole path.
    before : str
        Name and version of the one of before; empty where the archive is not tagged yet.
    """

    guide: Guide
    place: str
    before: str


def choose_guide(named: str | None, root: Path, index: Path | None = None) -> Choice:
    """Load the guide by which an archive is to be dated.

    Parameters
    ----------
    named : str or None
        A built-in guide or a file; None to go on with the guide of before, or with the
        first of the built-in ones where there is none.
    root : Path
        Folder of the archive.
    index : Path or None
        None for inside the archive.

    Raises
    ------
    GuideError
        The named one is not there, or has errors.
    ArchiveError
        None is named, and the one of before is not known, not there, no longer usable, or
        of an earlier version. Another in its place would date the whole archive anew.
    """
    path = index_path(root, index)
    try:
        last = last_guide(path)
    except sqlite3.Error as error:
        if named is None:
            raise ArchiveError(
                f"{path}: cannot be read ({error}), and with it by which guide this archive "
                "was dated; name it with --guide"
            ) from None
        last = None
    before = "" if last is None else _words(last)
    if named is not None:
        return Choice(load_guide(named), place_of(named), before)
    if last is None:
        return Choice(load_guide(EXAMPLE_GUIDE), EXAMPLE_GUIDE, "")
    return Choice(_again(last, root), last.place, before)


def place_of(named: str | Path) -> str:
    """Where a guide is found again from any folder."""
    # Not resolved: a link may lead to a newer guide next time, as it is meant to.
    return str(named) if str(named) in builtin_names() else os.path.abspath(named)  # noqa: PTH100


def known_place(guide: Guide) -> str:
    """Where a guide is found again that nobody has said the place of; empty if unknown."""
    name = guide.name
    is_builtin = name in builtin_names() and load_guide(name).sha256 == guide.sha256
    return name if is_builtin else ""


def last_guide(path: Path) -> GuideRow | None:
    """Read from an index by which guide its archive was last dated; None for none.

    Raises
    ------
    sqlite3.Error
        The index is damaged.
    """
    if not path.exists():
        return None
    base = open_to_read(path)
    try:
        tables = {name for (name,) in base.execute("SELECT name FROM sqlite_master")}
        query = "SELECT name, version, sha256, place FROM guide"
        if "guide" in tables and (row := base.execute(query).fetchone()):
            return GuideRow(row[0], row[1], row[2], os.fsdecode(row[3]))
        if "engines" not in tables:
            return None
        # Kept by a telltale that did not note its guide: the answers name it.
        query = (
            "SELECT json_extract(answer, '$.versions.guide') AS guide FROM engines"
            " GROUP BY guide ORDER BY count(*) DESC"
        )
        stated = base.execute(query).fetchone()
    finally:
        base.close()
    if stated is None:
        return None
    name, _, version = stated[0].rpartition(" ")
    return GuideRow(name, version, "", name if name in builtin_names() else "")


def _again(last: GuideRow, root: Path) -> Guide:
    """Load the guide of before, and make sure that it is not an earlier one."""
    said = f"{root}: dated by the guide {_words(last)} before"
    if not last.place:
        raise ArchiveError(f"{said}; where its file lies was not kept: name it with --guide")
    if last.place not in builtin_names() and not Path(last.place).exists():
        raise ArchiveError(f"{said}, which is no longer at {last.place}; name one with --guide")
    try:
        guide = load_guide(last.place)
    except GuideError as error:
        raise ArchiveError(
            f"{said}, which cannot be used now ({error}); name one with --guide"
        ) from None
    if guide.sha256 != last.sha256 and _figures(guide.version) < _figures(last.version):
        raise ArchiveError(
            f"{said}; {last.place} holds an earlier one, {guide.name} {guide.version}: "
            "name it with --guide if you mean it"
        )
    return guide


def _words(row: GuideRow) -> str:
    return f"{row.name} {row.version}"


def _figures(version: str) -> tuple[int, ...]:
    """The numbers in a version, by which an earlier one is told; authors write what they like."""
    return tuple(int(figures) for figures in re.findall(r"[0-9]+", version))
