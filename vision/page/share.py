"""One engine as one HTML file to pass on: its photos, marked, with the answer and a note."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from vision.report import suggests_touching
from vision.report.markup import article, page

if TYPE_CHECKING:
    from vision.page.desk import Desk


def share_page(desk: Desk, content_type: str, body: bytes) -> dict[str, Any]:
    """Read a request's body and write the file that tells of it.

    Returns
    -------
    dict
        "html", the file's text.
    """
    request = desk.read(content_type, body)
    answer = desk.date(request)
    note = f"<p>{escape(request.note)}</p>" if request.note else ""
    return {"html": page([note + article(answer)], warn=suggests_touching(answer))}
