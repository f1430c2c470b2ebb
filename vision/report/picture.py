"""The marked photo inside a page: a JPEG of bounded size in a data URI, and words for it."""

from __future__ import annotations

import base64
import io
from html import escape

from PIL import Image

from vision.records import Answer
from vision.report.overlay import mark_photo, overlay_words
from vision.report.strip import KEY
from vision.report.views import number_words

# Pixels of the photo's longer side: enough to come nearer on a phone, and a page of many
# engines stays small enough to send.
SIDE = 1280
# Height of the lettering by the longer side: on a phone 360 pixels wide it can just be
# read, and two fingers do the rest. By eye.
LETTERS = 0.024
# Bytes of one picture before base64 adds a third; grainy photos meet it by coarser JPEG.
MOST_BYTES = 400_000
# JPEG qualities tried, best first. The first keeps lettering clean; by eye.
QUALITIES = (82, 70, 55, 40)
# What the sides are multiplied by where even the coarsest is too large.
SHRINK = 0.7


def picture_html(answer: Answer, index: int) -> str:
    """One photo of an answer, marked, as an HTML figure that needs no other file.

    Parameters
    ----------
    answer : Answer
        Its photos with their pixels.
    index : int
        Which of its photos, from 0.

    Returns
    -------
    str
        HTML. The picture's longer side is at most 1280 pixels and its JPEG at most
        400,000 bytes; the alternative text lists what is marked and how each part was
        read.
    """
    photo = answer.photos[index]
    image, told = mark_photo(photo, answer, index, most_side=SIDE, letter_share=LETTERS)
    data, (width, height) = _jpeg(image)
    source = f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"
    words = escape(overlay_words(photo, answer, index))
    caption = "; ".join([*told, KEY] if answer.sightings[index] else told)
    if number := number_words(answer, index):
        caption = f"{number}: {caption}" if caption else number
    return (
        f'<figure class="marked"><img width="{width}" height="{height}" alt="{words}" '
        f'src="{source}"><figcaption class="quiet">{escape(caption)}</figcaption></figure>'
    )


def _jpeg(image: Image.Image) -> tuple[bytes, tuple[int, int]]:
    """The best JPEG within the bound, and its size in pixels."""
    while True:
        for quality in QUALITIES:
            stream = io.BytesIO()
            image.save(stream, "JPEG", quality=quality, optimize=True)
            if stream.tell() <= MOST_BYTES:
                return stream.getvalue(), image.size
        smaller = [max(1, round(side * SHRINK)) for side in image.size]
        image = image.resize((smaller[0], smaller[1]), Image.Resampling.LANCZOS)
