"""Writing beside people's photos: whole or not at all, and one run at a time."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from vision.archive.walk import OWN_FOLDER, PART_PREFIX, PART_SUFFIX
from vision.records import ArchiveBusy, OutputError, SidecarError


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
def sole_run(folder: Path) -> Iterator[None]:
    """Hold the archive for this process; the system lets go of it should we be killed.

    Raises
    ------
    ArchiveBusy
        Another run holds it.
    OutputError
        The lock cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / "lock", timeout=0)
        lock.acquire()
    except Timeout:
        where = folder.parent if folder.name == OWN_FOLDER else folder
        raise ArchiveBusy(f"{where}: another run is at work here; wait for it to end") from None
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written ({error.strerror})") from error
    try:
        yield
    finally:
        lock.release()
