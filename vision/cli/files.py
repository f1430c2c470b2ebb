"""Files that the commands write: never over what is not ours, whole or not at all."""

from __future__ import annotations

import functools
import itertools
import os
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import IO, Self

from vision.records import Answer, OutputError

# JPEG quality: lines and letters stay clean, and a file a third the size of a PNG.
# Chosen by eye.
OVERLAY_QUALITY = 92
# Bytes of a page that are in memory at a time.
PIECE = 1 << 20
# First line of every page that is written here. It is what tells a page of ours from a
# person's, which begins like any other page.
PAGE = b"<!doctype html><!-- written by telltale -->"
_ANY_PAGE = b"<!doctype html>"
# How a Parquet file begins and ends; what it holds is said at its end.
PARQUET = b"PAR1"
# Says in an overlay which photo it shows; a JPEG comment, so that no pixel changes.
_SHOWS = "telltale, drawn on the photo with SHA-256 "
# Bytes at the beginning of an overlay that hold its comment.
_HEAD = 4096
_BOM = b"\xef\xbb\xbf"


class Outputs:
    """The overlays and the page of one run; a context, for the page's parts lie on disk.

    Parameters
    ----------
    overlay_dir, page : Path or None
        Where to write them; None for not at all.
    kept : sequence of Path
        Files that must not be written: the photos themselves.

    Raises
    ------
    OutputError
        The folder cannot be made, or the page would overwrite what is not a page of ours.
    """

    def __init__(
        self, overlay_dir: Path | None, page: Path | None, *, kept: Sequence[Path]
    ) -> None:
        self._overlay_dir, self._page, self._kept = overlay_dir, page, tuple(kept)
        self._warn = False
        self._written: set[Path] = set()
        check_outputs([(page, PAGE)], self._kept)
        if overlay_dir is not None:
            try:
                overlay_dir.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise OutputError(f"{overlay_dir}: {error.strerror}") from error
        # On disk: a page carries its photos, and a run may have thousands.
        self._articles: IO[bytes] | None = None
        if page is not None:
            self._articles = tempfile.TemporaryFile()  # noqa: SIM115 (closed by __exit__)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        if self._articles is not None:
            self._articles.close()

    def add(self, answer: Answer) -> None:
        """Write the overlays of one answer and remember it for the page."""
        if self._overlay_dir is not None:
            self._draw(answer, self._overlay_dir)
        if self._articles is not None:
            from vision.report import suggests_touching
            from vision.report.markup import article

            self._articles.write(_bytes(f"{article(answer)}\n"))
            self._warn |= suggests_touching(answer)

    def finish(self) -> None:
        """Write the page."""
        if self._page is not None and self._articles is not None:
            from vision.report.markup import around

            before, after = around(warn=self._warn)
            self._articles.seek(0)
            pieces = iter(functools.partial(self._articles.read, PIECE), b"")
            write_whole(self._page, itertools.chain([_bytes(before)], pieces, [_bytes(after)]))

    def _draw(self, answer: Answer, folder: Path) -> None:
        import io

        from PIL import Image

        from vision.report import draw_overlay

        for index, photo in enumerate(answer.photos):
            mark = f"{_SHOWS}{photo.sha256}".encode()
            target = self._free_name(folder, Path(photo.name).stem, mark)
            stream = io.BytesIO()
            picture = Image.fromarray(draw_overlay(photo, answer, index))
            picture.save(stream, "JPEG", quality=OVERLAY_QUALITY, subsampling=0, comment=mark)
            write_whole(target, stream.getvalue(), own=functools.partial(_holds, mark=mark))

    def _free_name(self, folder: Path, stem: str, mark: bytes) -> Path:
        """Name of an overlay; photos of one name from two folders get a number.

        A picture of an earlier run is replaced where it shows the same photo.
        """
        for number in itertools.count(1):
            counted = "" if number == 1 else f"-{number}"
            target = folder / f"{stem}.telltale{counted}.jpg"
            if target in self._written:
                continue
            refuse_to_overwrite(target, self._kept)
            if not os.path.lexists(target) or _holds(target, mark):
                break
        self._written.add(target)
        return target


def header(columns: Iterable[str]) -> bytes:
    """First line of a table of ours with these columns, none of which needs quotes."""
    return ",".join(columns).encode()


def check_outputs(
    outputs: Iterable[tuple[Path | None, bytes | None]], kept: Sequence[Path] = ()
) -> None:
    """Raise OutputError where a file must not be written, before the work begins.

    Parameters
    ----------
    outputs : iterable of (Path or None, bytes or None)
        Each file that is to be written, and its first line: `PAGE`, a `header`, or
        `PARQUET`. A file that is there may be replaced only by one of its own kind.
        Without a first line the caller sees to that.
    kept : sequence of Path
        Files that were read, which are not written whatever they hold.
    """
    wanted: dict[Path, Path] = {}
    for target, first in outputs:
        if target is None:
            continue
        refuse_to_overwrite(target, kept)
        if first is not None:
            _refuse_foreign(target, functools.partial(_is_ours, first=first))
        if not target.parent.is_dir():
            raise OutputError(f"{target}: cannot be written (there is no such folder)")
        real = target.resolve()
        if real in wanted:
            raise OutputError(f"{target}: two results cannot go into one file")
        wanted[real] = target


def refuse_to_overwrite(target: Path, kept: Sequence[Path]) -> None:
    """Raise OutputError where `target` is one of the files in `kept`.

    The same file under another name, through a link or a longer path, counts too.
    """
    if any(target.exists() and path.exists() and target.samefile(path) for path in kept):
        raise OutputError(
            f"{target}: was read in this run; originals are never written, choose another name"
        )


def _bytes(text: str) -> bytes:
    # A file's name may hold bytes that are no text.
    return text.encode("utf-8", "backslashreplace")


def _refuse_foreign(target: Path, own: Callable[[Path], bool]) -> None:
    if os.path.lexists(target) and not own(target):
        raise OutputError(
            f"{target}: is there already, and does not show that telltale wrote it for this; "
            "it is left as it is, choose another name"
        )


def _is_ours(path: Path, first: bytes) -> bool:
    """Whether a file begins with this line; one that cannot be read is somebody else's."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as stream:
            if first == PARQUET:
                return _is_our_parquet(stream)
            line = stream.readline(len(_BOM) + len(first) + len(b"\r\n"))
    except OSError:
        return False
    return line.removeprefix(_BOM).rstrip(b"\r\n") == first


def _is_our_parquet(stream: IO[bytes]) -> bool:
    """Whether all columns of ours are named at the end of a Parquet file."""
    from vision.archive.export import column_names

    data = stream.read()
    size = int.from_bytes(data[-8:-4], "little")
    end = data[-8 - size :]
    whole = data.startswith(PARQUET) and data.endswith(PARQUET) and len(data) > size
    return whole and all(name.encode() in end for name in column_names())


def _holds(path: Path, mark: bytes) -> bool:
    try:
        with path.open("rb") as stream:
            return path.is_file() and mark in stream.read(_HEAD)
    except OSError:
        return False


def write_whole(
    target: Path, data: bytes | Iterable[bytes], *, own: Callable[[Path], bool] | None = None
) -> None:
    """Write a file, whole or in pieces, under a temporary name and move it into place.

    A page is marked as ours in its first line.

    Parameters
    ----------
    target : Path
    data : bytes or iterable of bytes
    own : callable, optional
        Whether a file that is there may be replaced; without it, one that begins with
        the same line as `data`.

    Raises
    ------
    OutputError
        It cannot be written, or what stands there is not ours; that is untouched.
    """
    pieces = iter([data] if isinstance(data, bytes) else data)
    start = next(pieces, b"")
    if start.startswith(_ANY_PAGE + b"\n"):
        start = PAGE + start.removeprefix(_ANY_PAGE)
    if own is None:
        line = start.partition(b"\n")[0].rstrip(b"\r")
        own = functools.partial(_is_ours, first=PARQUET if start.startswith(PARQUET) else line)
    try:
        _refuse_foreign(target, own)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.writelines(itertools.chain([start], pieces))
            # mkstemp makes files private; results get the usual permissions.
            mask = os.umask(0)
            os.umask(mask)
            Path(temporary).chmod(0o666 & ~mask)
            # Writing may have taken a while.
            _refuse_foreign(target, own)
            Path(temporary).replace(target)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OutputError(f"{target}: cannot be written ({error.strerror})") from error


def write_new(target: Path, data: bytes) -> None:
    """Write a file that must not exist yet.

    Raises
    ------
    OutputError
        It exists, or cannot be written.
    """
    try:
        with target.open("xb") as stream:
            stream.write(data)
    except FileExistsError:
        raise OutputError(f"{target}: exists already and is left as it is") from None
    except OSError as error:
        raise OutputError(f"{target}: cannot be written ({error.strerror})") from error
