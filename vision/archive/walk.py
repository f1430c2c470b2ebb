"""The photos below a folder, and the sidecars beside them."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field

from vision.archive.values import Stamp

# By name, because an archive holds much else, and opening all of it would take hours.
SUFFIXES = (
    *(".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"),
    *(".avif", ".bmp", ".gif", ".ppm"),
)
SIDECAR_SUFFIX = ".xmp"
# Drawn by `date --overlay`: marks on a picture of an engine are no photo of it.
_DRAWN = re.compile(r".\.telltale(-\d+)?\.jpg$")
# Files under way to their name begin and end so; what a killed run left is removed.
PART_PREFIX, PART_SUFFIX = ".telltale-", ".part"


@dataclass(slots=True)
class Tree:
    """What a walk found; every path is relative to the root.

    Attributes
    ----------
    photos : dict of path to Stamp
        In the order of the walk, which is that of the names.
    sidecars : set of str
    parts : list of str
        Half-written files of a run that was stopped.
    unreadable : list of (path, reason)
        Folders that could not be listed.
    """

    photos: dict[str, Stamp] = field(default_factory=dict)
    sidecars: set[str] = field(default_factory=set)
    parts: list[str] = field(default_factory=list)
    unreadable: list[tuple[str, str]] = field(default_factory=list)


def walk(root: str) -> Tree:
    """List the photos below `root`.

    Links are followed, and each real folder is entered once, so that a link to a
    folder above ends the way instead of going round. Names that begin with a dot, and
    pictures that were drawn from an answer, are left alone.

    Parameters
    ----------
    root : str
    """
    tree = Tree()
    for path, entry in _files(root, tree):
        name = entry.name.lower()
        if name.startswith(PART_PREFIX) and name.endswith(PART_SUFFIX):
            tree.parts.append(path)
        elif name.startswith(".") or _DRAWN.search(name):
            continue
        elif name.endswith(SIDECAR_SUFFIX):
            tree.sidecars.add(path)
        elif name.endswith(SUFFIXES):
            try:
                status = entry.stat()
            except OSError:
                # A link to nothing: there is no photo to date or to complain of.
                continue
            if stat.S_ISREG(status.st_mode):
                tree.photos[path] = stamp_of(status)
    return tree


def stamp_of(status: os.stat_result) -> Stamp:
    """Take from a status what tells one state of a file from another."""
    return Stamp(status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino)


def _files(root: str, tree: Tree) -> Iterator[tuple[str, os.DirEntry[str]]]:
    entered: set[tuple[int, int]] = set()
    waiting = [""]
    while waiting:
        folder = waiting.pop()
        here = os.path.join(root, folder) if folder else root  # noqa: PTH118
        try:
            status = os.stat(here)  # noqa: PTH116
            if (status.st_dev, status.st_ino) in entered:
                continue
            entered.add((status.st_dev, status.st_ino))
            with os.scandir(here) as listing:
                entries = sorted(listing, key=lambda entry: entry.name)
        except OSError as error:
            tree.unreadable.append((folder or ".", error.strerror or str(error)))
            continue
        below = []
        for entry in entries:
            path = f"{folder}/{entry.name}" if folder else entry.name
            if _is_folder(entry):
                if not entry.name.startswith("."):
                    below.append(path)
            else:
                yield path, entry
        # Last in, first out: the first name must lie on top.
        waiting.extend(reversed(below))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False
