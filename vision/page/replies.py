"""Replies that carry no answer: which refusal, and the reason in a code."""

from __future__ import annotations

import json
from typing import Any

from starlette.responses import Response

from vision.records import (
    ArchiveError,
    EvidenceError,
    OutputError,
    PhotoEmpty,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
    SidecarError,
    TelltaleError,
)

# The words for each code are in static/words.json. A code is the same whatever the
# language; `detail` is the one line that the command would print.
ERRORS: tuple[tuple[type[TelltaleError], int, str], ...] = (
    (PhotoEmpty, 422, "photo_empty"),
    (PhotoTooLarge, 413, "photo_too_large"),
    (PhotoTooSmall, 422, "photo_too_small"),
    (PhotoUnreadable, 422, "photo_unreadable"),
    (ArchiveError, 500, "archive"),
    (OutputError, 500, "archive"),
    (SidecarError, 500, "archive"),
    (EvidenceError, 422, "statement"),
)


class Refused(Exception):
    """A request that is not answered, with its status and code."""

    def __init__(self, status: int, error: str, detail: str = "") -> None:
        super().__init__(error)
        self.status, self.error, self.detail = status, error, detail


def reply(content: Any, *, status: int = 200, retry_s: int | None = None) -> Response:
    """Wrap a value as a JSON response."""
    headers = {} if retry_s is None else {"retry-after": str(retry_s)}
    body = json.dumps(content, allow_nan=False).encode()
    return Response(body, status, headers, media_type="application/json")


def refusal(status: int, error: str, detail: str = "", *, retry_s: int | None = None) -> Response:
    """Refuse, with a code and, where there is one, a line of detail."""
    content = {"error": error} | ({"detail": detail} if detail else {})
    return reply(content, status=status, retry_s=retry_s)


def told(error: TelltaleError) -> Refused:
    """Translate what a stage raised."""
    for kind, status, code in ERRORS:
        if isinstance(error, kind):
            return Refused(status, code, str(error))
    return Refused(500, "fault")
