"""Files that the commands write: never over an original, whole or not at all."""

from __future__ import annotations

import functools
import itertools
import os
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import IO, Self

from vision.records import Answer, OutputError

# JPEG quality: lines and letters stay clean, and a file a third the size of a PNG.
# Chosen by eye.
OVERLAY_QUALITY = 92
# Bytes of a page that are in memory at a time.
PIECE = 1 << 20


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
        The folder cannot be made, or the page would overwrite a photo.
    """

    def __init__(
        self, overlay_dir: Path | None, page: Path | None, *, kept: Sequence[Path]
    ) -> None:
        self._overlay_dir, self._page, self._kept = overlay_dir, page, tuple(kept)
        self._warn = False
        self._written: set[Path] = set()
        if page is not None:
            refuse_to_overwrite(page, self._kept)
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
            target = self._free_name(folder, Path(photo.name).stem)
            stream = io.BytesIO()
            picture = Image.fromarray(draw_overlay(photo, answer, index))
            picture.save(stream, "JPEG", quality=OVERLAY_QUALITY, subsampling=0)
            write_whole(target, stream.getvalue())

    def _free_name(self, folder: Path, stem: str) -> Path:
        """Name of an overlay; photos of one name from two folders get a number."""
        number = 1
        while True:
            counted = "" if number == 1 else f"-{number}"
            target = folder / f"{stem}.telltale{counted}.jpg"
            if target not in self._written:
                break
            number += 1
        refuse_to_overwrite(target, self._kept)
        self._written.add(target)
        return target


def refuse_to_overwrite(target: Path, kept: Sequence[Path]) -> None:
    """Raise OutputError where `target` is one of the files in `kept`.

    The same file under another name, through a link or a longer path, counts too.
    """
    if any(target.exists() and path.exists() and target.samefile(path) for path in kept):
        raise OutputError(f"{target}: was read in this run; originals are never written")


def _bytes(text: str) -> bytes:
    # A file's name may hold bytes that are no text.
    return text.encode("utf-8", "backslashreplace")


def write_whole(target: Path, data: bytes | Iterable[bytes]) -> None:
    """Write a file, whole or in pieces, under a temporary name and move it into place.

    Raises
    ------
    OutputError
        It cannot be written; what stood there before is untouched.
    """
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.writelines([data] if isinstance(data, bytes) else data)
            # mkstemp makes files private; results get the usual permissions.
            mask = os.umask(0)
            os.umask(mask)
            Path(temporary).chmod(0o666 & ~mask)
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
