"""One request, whole: bytes of photos and a person's statements to an answer in JSON."""

from __future__ import annotations

import asyncio
import re
import threading
from collections import OrderedDict
from collections.abc import AsyncGenerator
from dataclasses import dataclass, replace
from typing import Any

from python_multipart.multipart import parse_options_header
from starlette.datastructures import Headers, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from vision.estimate import saw
from vision.guide import Guide
from vision.page.limits import PageLimits
from vision.page.replies import Refused
from vision.page.shown import shown
from vision.photo import Limits, photo_from_bytes
from vision.pipeline import Eye, date_item, told
from vision.records import Answer, Cue, NotFound, Photo, Sighting
from vision.report import answer_json

# Characters of a file name that are kept for messages.
NAME_LENGTH = 80
# Bytes of one statement or note.
FIELD_BYTES = 4000


class RememberingEye:
    """An eye that does not read the same photo twice.

    Remembered are boxes and cues under the photo's hash: a few kilobytes, no pixels.
    """

    def __init__(self, eye: Eye, most: int) -> None:
        self._eye, self._most = eye, most
        self._looks: OrderedDict[str, tuple[Sighting | NotFound, tuple[Cue, ...]]] = OrderedDict()
        self._lock = threading.Lock()

    @property
    def version(self) -> str:
        """Version of the eye behind this one."""
        return self._eye.version

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        """Look, or remember."""
        with self._lock:
            if photo.sha256 in self._looks:
                self._looks.move_to_end(photo.sha256)
                return self._looks[photo.sha256]
        found = self._eye.look(photo)
        with self._lock:
            self._looks[photo.sha256] = found
            while len(self._looks) > self._most:
                self._looks.popitem(last=False)
        return found


@dataclass(frozen=True, slots=True)
class Request:
    """What a phone sends: photos as (name, bytes), statements, and looks to leave out."""

    photos: tuple[tuple[str, bytes], ...]
    said: tuple[str, ...] = ()
    skip: tuple[str, ...] = ()
    note: str = ""


class Desk:
    """Answers requests, one after the other.

    Parameters
    ----------
    guide : Guide
    eye : Eye
    limits : PageLimits
    by_default : bool
        Whether the guide was taken because nobody named one, which each answer says.
    """

    def __init__(
        self, guide: Guide, eye: Eye, limits: PageLimits, *, by_default: bool = False
    ) -> None:
        self.guide = guide
        self._by_default = by_default
        self._eye = RememberingEye(told(eye, guide.lever_at), limits.looks)
        self._limits = limits

    def read(self, content_type: str, body: bytes) -> Request:
        """Take a request's body apart; see `read_request`."""
        return read_request(content_type, body, self._limits)

    def date(self, request: Request) -> Answer:
        """Answer a request; the same as the command on the same bytes.

        Raises
        ------
        TelltaleError
            A photo that cannot be read, or a statement that the guide does not know.
        """
        limits = Limits(pixels=self._limits.photo_pixels, bytes=self._limits.photo_bytes)
        said = [saw(self.guide, statement) for statement in request.said]
        photos = [photo_from_bytes(data, name, limits=limits) for name, data in request.photos]
        answer = date_item(photos, self.guide, self._eye, said)
        return replace(answer, by_default=self._by_default)

    def answer(self, content_type: str, body: bytes) -> dict[str, Any]:
        """Read a request's body and answer it, for the page.

        Returns
        -------
        dict
            "answer" is what `telltale date --json` prints, "shown" the words for it.
        """
        request = self.read(content_type, body)
        answer = self.date(request)
        return {
            "answer": answer_json(answer),
            "shown": shown(answer, self.guide, skip=request.skip),
        }


def read_request(content_type: str, body: bytes, limits: PageLimits) -> Request:
    """Take a multipart body apart, in memory.

    Raises
    ------
    Refused
        Not multipart, malformed, or more photos or fields than the limits allow.
    """
    if not content_type.lower().startswith("multipart/form-data"):
        raise Refused(415, "content_type")
    # The parser takes what it has for the whole; half a photo must not pass for one.
    boundary = parse_options_header(content_type)[1].get(b"boundary", b"")
    if not body.rstrip(b"\r\n").endswith(b"--" + boundary + b"--"):
        raise Refused(400, "malformed", "cut short")
    try:
        items = asyncio.run(_parse(content_type, body, limits))
    except (MultiPartException, UnicodeDecodeError, ValueError) as error:
        raise Refused(400, "malformed", _one_line(error)) from None
    photos: list[tuple[str, bytes]] = []
    fields: list[tuple[str, str]] = []
    for field, value in items:
        if isinstance(value, str):
            fields.append((field, value))
        elif field == "photo":
            photos.append(value)
        else:
            raise Refused(400, "malformed", "an unknown field")
    if not photos:
        raise Refused(400, "no_photo")
    return Request(
        tuple(photos),
        said=tuple(value for name, value in fields if name == "saw"),
        skip=tuple(value for name, value in fields if name == "skip"),
        note="\n".join(value for name, value in fields if name == "note"),
    )


class _InMemory(MultiPartParser):
    """Never spools to a file: a body has been bounded before it comes here."""

    spool_max_size = 1 << 40

    @property
    def opened(self) -> list[Any]:
        """Every file that was begun; those of malformed parts are in no form."""
        return list(self._files_to_close_on_error)


async def _parse(
    content_type: str, body: bytes, limits: PageLimits
) -> list[tuple[str, str | tuple[str, bytes]]]:
    """Fields in their order; those of files as (name, content)."""

    async def stream() -> AsyncGenerator[bytes, None]:
        yield body

    parser = _InMemory(
        Headers({"content-type": content_type}),
        stream(),
        max_files=limits.photos,
        max_fields=limits.fields,
        max_part_size=FIELD_BYTES,
    )
    try:
        form = await parser.parse()
        return [
            (field, (plain_name(value.filename or ""), value.file.read()))
            if isinstance(value, UploadFile)
            else (field, str(value))
            for field, value in form.multi_items()
        ]
    finally:
        for file in parser.opened:
            file.close()


def plain_name(name: str) -> str:
    r"""The last part of a file name, without what could upset a line of text.

    Examples
    --------
    >>> plain_name("C:\\pictures\\engine.jpg"), plain_name("../../etc/passwd"), plain_name("..")
    ('engine.jpg', 'passwd', 'photo')
    """
    last = re.split(r"[\\/]", name)[-1]
    kept = "".join(c for c in last if c.isprintable()).strip()
    return kept[-NAME_LENGTH:] if kept.strip(".") else "photo"


def _one_line(error: Exception) -> str:
    return re.sub(r"\s+", " ", str(error))[:200]
