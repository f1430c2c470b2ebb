"""`tag --undo`: take out exactly what was put in."""

from __future__ import annotations

import glob
import hashlib
import os
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path

from vision.archive.files import sole_run, write_sidecar
from vision.archive.index import Index, SidecarRow
from vision.archive.order import Watcher, index_path
from vision.archive.sidecar import is_ours, strip
from vision.archive.walk import walk
from vision.records import OWN_FOLDER, ArchiveError, SidecarError


@dataclass(slots=True)
class Undone:
    """Sidecars that were removed, restored byte for byte, or cleaned of our tags."""

    removed: list[str] = field(default_factory=list)
    restored: list[str] = field(default_factory=list)
    cleaned: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)


def undo_archive(
    root: Path, watcher: Watcher, *, index: Path | None = None, dry: bool = False
) -> Undone:
    """Remove our tags from every sidecar below a folder, and our own folder.

    A sidecar that still has the bytes we wrote gets back the bytes and the time it had
    before us, or goes if there was none. One that somebody changed since loses our tags
    and keeps the rest. It works without an index too, by the marks in the sidecars.

    Parameters
    ----------
    root : Path
    watcher : Watcher
    index : Path or None
        None for inside the archive.
    dry : bool
        Only say what would be done.
    """
    if not root.is_dir():
        raise ArchiveError(f"{root}: no such folder")
    path = index_path(root, index)
    undone = Undone()
    with ExitStack() as held:
        base = _index(root, path, held, dry=dry)
        _undo_all(root, base, undone, watcher, dry=dry)
    if not dry and not undone.failed:
        # A network disk or a read-only one has nothing of ours on it, and none is missed.
        _forget(root, path)
    return undone


def _forget(root: Path, index: Path) -> None:
    """Remove the index and what lies beside it, and nothing that another command keeps there."""
    for suffix in ("", "-wal", "-shm", ".lock", ".failures.log"):
        index.with_name(index.name + suffix).unlink(missing_ok=True)
    for aside in index.parent.glob(f"{glob.escape(index.name)}.damaged-*"):
        aside.unlink()
    folder = root / OWN_FOLDER
    with suppress(OSError):
        for name in ("lock", "failures.log"):
            (folder / name).unlink(missing_ok=True)
        # Not empty where listings were judged in the same folder: that is kept.
        folder.rmdir()


def _index(root: Path, path: Path, held: ExitStack, *, dry: bool) -> Index | None:
    if not path.exists():
        return None
    if not dry:
        held.enter_context(sole_run(root, path))
    index = Index(None if dry else path)
    held.callback(index.close)
    if dry:
        index.copy_from(path)
    return index


def _undo_all(
    root: Path, index: Index | None, undone: Undone, watcher: Watcher, *, dry: bool
) -> None:
    rows = {} if index is None else index.sidecars()
    tree = walk(str(root))
    paths = sorted({*rows, *tree.sidecars})
    watcher.begin("sidecars", len(paths))
    for path in paths:
        before = index.before(path) if index is not None and path in rows else None
        try:
            _undo_one(root, path, rows.get(path), before, undone=undone, dry=dry)
        except (SidecarError, OSError) as error:
            undone.failed.append(path)
            watcher.failure(f"{path}: {error}")
        watcher.step()


def _undo_one(
    root: Path,
    path: str,
    row: SidecarRow | None,
    before: bytes | None,
    *,
    undone: Undone,
    dry: bool,
) -> None:
    file = root / path
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        return
    if not is_ours(data):
        return
    untouched = row is not None and hashlib.sha256(data).hexdigest() in row.hashes
    left = before if untouched else strip(data)
    if left is None:
        undone.removed.append(path)
        if not dry:
            file.unlink()
        return
    (undone.restored if untouched else undone.cleaned).append(path)
    if not dry:
        modified = row.before_modified if untouched and row is not None else None
        write_sidecar(os.fspath(file), left, modified)
