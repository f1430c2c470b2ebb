"""Every failure a person can act on, each with an exit code of its own."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

# Likeness, 0 to 1, from which a word may be another one mistyped; difflib's own.
_LIKE = 0.6


class TelltaleError(Exception):
    """A failure a person can act on. One line, and an exit code of its own."""

    exit_code = 1


class PhotoMissing(TelltaleError):
    """No file there."""

    exit_code = 10


class PhotoIsFolder(TelltaleError):
    """A folder where a photo was expected."""

    exit_code = 11


class PhotoEmpty(TelltaleError):
    """A file without a byte."""

    exit_code = 12


class PhotoUnreadable(TelltaleError):
    """Not a picture, or a damaged one."""

    exit_code = 13


class PhotoTooLarge(TelltaleError):
    """More pixels or bytes than the limit; refused before decoding."""

    exit_code = 14


class PhotoTooSmall(TelltaleError):
    """Too few pixels to show anything."""

    exit_code = 15


class GuideError(TelltaleError):
    """A guide that cannot be used; the message names the line."""

    exit_code = 20


class EvidenceError(TelltaleError):
    """A --saw statement that the guide does not know."""

    exit_code = 21


class ArchiveError(TelltaleError):
    """An archive that cannot be worked on as asked: no folder, not tagged yet, a bad query."""

    exit_code = 50


class ArchiveBusy(TelltaleError):
    """Another run is at work in the same archive."""

    exit_code = 51


class SidecarError(TelltaleError):
    """A sidecar that is there but cannot be read, or cannot be written; left as it is."""

    exit_code = 52


class ModelError(TelltaleError):
    """A model file that is missing, altered, or made for another version."""

    exit_code = 30


class OutputError(TelltaleError):
    """A result that cannot be written, or would overwrite something."""

    exit_code = 40


class PageError(TelltaleError):
    """The page cannot be opened: a part not installed, a port taken, no network."""

    exit_code = 60


class ListingsError(TelltaleError):
    """Listings that cannot be read as asked: no file, no such kind, a part not installed."""

    exit_code = 70


def nearest(word: str, known: Iterable[str], *, least: float = _LIKE) -> str | None:
    """Return the known word that a mistyped one is most like, or None.

    Parameters
    ----------
    word : str
        In large or small letters.
    known : iterable of str
    least : float
        Likeness from which a word counts, 0 to 1: twice the letters that both have in the
        same order, over the letters of both (`difflib.SequenceMatcher.ratio`).

    Examples
    --------
    >>> nearest("Presnt", ("present", "absent")), nearest("6", ("present", "absent"))
    ('present', None)
    """
    folded: dict[str, str] = {}
    for name in known:
        folded.setdefault(name.casefold(), name)
    found = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=least)
    return folded[found[0]] if found else None


def did_you_mean(
    word: str, known: Iterable[str] | Mapping[str, str], *, or_all: bool = False
) -> str:
    """End a message on a word that is not known: name what was probably meant.

    Parameters
    ----------
    word : str
    known : iterable of str or mapping of str to str
        What could stand there; a mapping from what people write to what could stand there.
    or_all : bool
        Name everything that could stand there where nothing is near.

    Returns
    -------
    str
        Begins with "; ", to be put after the complaint; empty where there is nothing to say.

    Examples
    --------
    >>> did_you_mean("presnt", ("present", "absent"))
    '; did you mean "present"?'
    >>> did_you_mean("six", {"six": "6"})
    '; did you mean "6"?'
    >>> did_you_mean("red", ("present", "absent"), or_all=True)
    '; known: present, absent'
    """
    meant = known if isinstance(known, Mapping) else {name: name for name in known}
    near = nearest(word, meant)
    if near is not None:
        return f'; did you mean "{meant[near]}"?'
    return f"; known: {', '.join(dict.fromkeys(meant.values()))}" if or_all and meant else ""
