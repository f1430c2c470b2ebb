"""Every failure a person can act on, each with an exit code of its own."""

from __future__ import annotations


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
