"""One photo, read once: the function that every worker runs."""

from __future__ import annotations

import functools
import hashlib
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from vision.archive.values import Seen, Stamp, Task
from vision.archive.walk import stamp_of
from vision.photo import DEFAULT_LIMITS, photo_from_bytes
from vision.pipeline.kept import look_kept
from vision.pipeline.look import look_to_text
from vision.records import (
    PhotoMissing,
    PhotoTooLarge,
    PhotoUnreadable,
    TelltaleError,
)

if TYPE_CHECKING:
    from vision.pipeline import Eye

# How often a photo that changes under our hands is begun again.
ATTEMPTS = 3


@functools.cache
def eye_of_this_process(load_eye: Callable[[], Eye]) -> Eye:
    """Load the networks once a process, however many photos it looks at."""
    return load_eye()


def look_at(task: Task, load_eye: Callable[[], Eye]) -> Seen:
    """Read one photo and look at it; never raises for what one photo can do.

    Parameters
    ----------
    task : Task
    load_eye : callable
        Importable by name, since it travels to other processes.

    Returns
    -------
    Seen
        The hash, the stamp and the look all belong to the same bytes, read once.
    """
    path = os.path.join(task.root, task.path)  # noqa: PTH118
    stamp, digest = None, ""
    try:
        data, stamp = read_steadily(path)
        digest = hashlib.sha256(data).hexdigest()
        if digest in task.known:
            return Seen(task.path, stamp, digest)
        photo = photo_from_bytes(data, task.path, sha256=digest)
        del data
    except TelltaleError as error:
        return Seen(task.path, stamp, digest, code=error.exit_code, error=_named(error, task))
    try:
        look = look_to_text(look_kept(photo, eye_of_this_process(load_eye), with_picture=True))
    except Exception as error:  # one photo must not end the run of ten thousand
        text = f"{task.path}: a fault of telltale itself ({type(error).__name__}: {error})"
        return Seen(task.path, code=TelltaleError.exit_code, error=text)
    return Seen(task.path, stamp, digest, look)


def _named(error: TelltaleError, task: Task) -> str:
    """Name the photo as the archive does, wherever the worker found it."""
    text = str(error)
    return text.replace(os.path.join(task.root, task.path), task.path)  # noqa: PTH118


def read_steadily(path: str) -> tuple[bytes, Stamp]:
    """Read a file whole, and make sure that it was one file all the while.

    Returns
    -------
    bytes, Stamp
        The stamp is that of the bytes: taken before and after, and equal.

    Raises
    ------
    PhotoMissing, PhotoTooLarge, PhotoUnreadable
    """
    for _ in range(ATTEMPTS):
        try:
            before = Path(path).stat()
            if not stat.S_ISREG(before.st_mode):
                raise PhotoUnreadable(f"{path}: not an ordinary file")
            if before.st_size > DEFAULT_LIMITS.bytes:
                raise PhotoTooLarge(f"{path}: {before.st_size / 1e6:.0f} MB; too many")
            data = Path(path).read_bytes()
            after = Path(path).stat()
        except FileNotFoundError:
            raise PhotoMissing(f"{path}: no such file") from None
        except OSError as error:
            raise PhotoUnreadable(f"{path}: {error.strerror or error}") from error
        if stamp_of(before) == stamp_of(after) and len(data) == after.st_size:
            return data, stamp_of(after)
    raise PhotoUnreadable(f"{path}: it changed each time it was read; run again later")
