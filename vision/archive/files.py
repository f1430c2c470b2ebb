"""Writing beside people's photos: whole or not at all, and one run at a time."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from vision.archive.walk import PART_PREFIX, PART_SUFFIX
from vision.records import OWN_FOLDER, ArchiveBusy, OutputError, SidecarError


def write_sidecar(target: str, data: bytes, modified: int | None = None) -> os.stat_result:
    """Write under a temporary name in the same folder, then move it into place.

    Parameters
    ----------
    target : str
    data : bytes
    modified : int or None
        Time of last change to give it, nanoseconds.

    Raises
    ------
    SidecarError
        What stood there before is untouched.
    """
    path = Path(target)
    try:
        handle, name = tempfile.mkstemp(PART_SUFFIX, PART_PREFIX, path.parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                # Without it a power cut can leave the new name on an empty file.
                os.fsync(stream.fileno())
            part.chmod(_mode(path))
            if modified is not None:
                os.utime(part, ns=(modified, modified))
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        return path.stat()
    except OSError as error:
        raise SidecarError(f"{target}: cannot be written ({error.strerror})") from error


def _mode(path: Path) -> int:
    """Permissions of what is replaced, or the usual ones; mkstemp's are private."""
    try:
        return path.stat().st_mode & 0o777
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


@contextmanager
def sole_run(root: Path, index: Path) -> Iterator[None]:
    """Hold an archive and its index for this process.

    The system lets go of both should we be killed.

    Parameters
    ----------
    root : Path
        The archive's folder.
    index : Path
        The index's file, inside the folder or elsewhere.

    Raises
    ------
    ArchiveBusy
        Another run holds one of them.
    OutputError
        The lock cannot be made.
    """
    folder = root / OWN_FOLDER
    with ExitStack() as held:
        try:
            held.enter_context(_lock(folder / "lock", root))
        except OutputError:
            # A read-only archive has its index elsewhere, and that one is locked too.
            if index.parent == folder:
                raise
        if index.parent != folder:
            held.enter_context(_lock(index.with_name(f"{index.name}.lock"), root))
        yield


@contextmanager
def _lock(path: Path, root: Path) -> Iterator[None]:
    lock = FileLock(path, timeout=0)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock.acquire()
    except Timeout:
        raise ArchiveBusy(f"{root}: another run is at work here; wait for it to end") from None
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror})") from error
    try:
        yield
    finally:
        lock.release()
