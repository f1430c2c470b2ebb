"""One engine as one HTML file to pass on: its photos, marked, with the answer and a note."""

from __future__ import annotations

import base64
import io
from html import escape
from typing import TYPE_CHECKING, Any

from vision.report import draw_overlay, suggests_touching
from vision.report.markup import POLICY, article, page

if TYPE_CHECKING:
    from vision.page.desk import Desk
    from vision.records import Answer

# JPEG quality of a marked photo: to be looked at, not measured. Chosen by eye.
QUALITY = 85


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
    pictures = "\n".join(_picture(answer, index) for index in range(len(answer.photos)))
    text = page([note + article(answer) + pictures], warn=suggests_touching(answer))
    # The report's page shows no picture; this one shows those that it carries itself.
    return {"html": text.replace(POLICY, f"{POLICY}; img-src data:")}


def _picture(answer: Answer, index: int) -> str:
    from PIL import Image

    photo = answer.photos[index]
    stream = io.BytesIO()
    Image.fromarray(draw_overlay(photo, answer, index)).save(stream, "JPEG", quality=QUALITY)
    data = base64.b64encode(stream.getvalue()).decode()
    source = f"data:image/jpeg;base64,{data}"
    return f'<p><img width="100%" alt="{escape(photo.name)}" src="{source}"></p>'
