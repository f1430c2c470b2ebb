"""What travels between the processes that work on an archive."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a file system says of a file without reading it; times in nanoseconds.

    Two equal stamps are taken for the same content. `changed` is the time of the last
    change of the file's own entry, which no ordinary program can set back.
    """

    size: int
    modified: int
    changed: int
    inode: int


@dataclass(frozen=True, slots=True)
class Task:
    """One photo to look at.

    Attributes
    ----------
    root : str
        The archive's folder, as the worker knows it.
    path : str
        Below `root`; bytes that are no text are kept as surrogates.
    known : tuple of str
        Hashes of content that need not be looked at again.
    """

    root: str
    path: str
    known: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """What became of one task.

    Attributes
    ----------
    path : str
    stamp : Stamp or None
        Of the very bytes that were read; None where none were.
    sha256 : str
        Empty where nothing was read.
    look : str
        A look as `look_to_text` writes it, since looks do not travel between processes;
        empty for content that is known, and after a failure.
    code : int
        Exit code of the failure; 0 for none.
    error : str
        One line; empty for none.
    """

    path: str
    stamp: Stamp | None = None
    sha256: str = ""
    look: str = ""
    code: int = 0
    error: str = ""
