"""The strip below an annotated photo: years first, then how sure, and a key."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from PIL import Image, ImageDraw, ImageFont

from vision.records import Answer
from vision.report.under import guide_words, under_years
from vision.report.words import candidates_words, headline

Line = tuple[str, float, tuple[int, int, int]]

PAPER, QUIET, INK = (255, 255, 255), (190, 198, 206), (16, 20, 24)
# Shares of the picture's longer side; chosen by eye on drawn scenes.
YEARS_SHARE, SURE_SHARE, SMALL_SHARE = 0.046, 0.021, 0.0145
# Pixels; smaller letters of this font run together.
LEAST_LETTER = 14.0
KEY = (
    "outline solid: present, dashed: absent, dotted: not visible or unclear; "
    "corners: engine and tender"
)


def add_strip(image: Image.Image, answer: Answer, told: Sequence[str]) -> Image.Image:
    """Put the answer below the picture.

    Parameters
    ----------
    image : Image
    answer : Answer
    told : sequence of str
        Labels that have no place in the picture, such as of cues not visible.

    Returns
    -------
    Image
        A new picture of the same width.
    """
    longer = max(image.size)
    margin = round(longer * 0.014)
    set_lines = []
    height = margin
    for text, share, colour in strip_lines(answer, told):
        font = lettering(longer * share)
        for part in _wrapped(text, font, image.width - 2 * margin):
            set_lines.append((height, part, font, colour))
            height += round(font.size * 1.3)
    sheet = Image.new("RGB", (image.width, image.height + height + margin), INK)
    sheet.paste(image, (0, 0))
    draw = ImageDraw.Draw(sheet)
    for top, part, font, colour in set_lines:
        draw.text((margin, image.height + top), part, font=font, fill=colour)
    return sheet


def strip_lines(answer: Answer, told: Sequence[str]) -> list[Line]:
    """What the strip says, from the top: text, share of the longer side, colour."""
    years, sure = headline(answer, alone=True)
    lines: list[Line] = [(years, YEARS_SHARE, PAPER), (sure, SURE_SHARE, PAPER)]
    if guide := guide_words(answer):
        lines.append((guide, SURE_SHARE, QUIET))
    if strange := under_years(answer):
        lines.append((strange, SURE_SHARE, PAPER))
    if answer.estimate is not None:
        lines.append((candidates_words(answer.estimate), SURE_SHARE, QUIET))
    if told:
        lines.append(("; ".join(told), SMALL_SHARE, QUIET))
    if answer.estimate is not None:
        lines.append((KEY, SMALL_SHARE, QUIET))
    return lines


def drawable(text: str) -> str:
    """Rewrite `text` in the letters of Pillow's built-in font, which has ASCII only.

    Examples
    --------
    >>> drawable("1934–1935, Café")
    '1934-1935, Cafe'
    """
    apart = unicodedata.normalize("NFKD", text.replace("–", "-").replace("—", "-"))
    letters = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return letters.encode("ascii", "replace").decode()


def lettering(size: float) -> ImageFont.FreeTypeFont:
    """Return Pillow's built-in font at `size` pixels.

    Raises
    ------
    RuntimeError
        Pillow was built without FreeType; its published wheels have it.
    """
    font = ImageFont.load_default(size=max(LEAST_LETTER, size))
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType, which lettering needs")
    return font


def _wrapped(text: str, font: ImageFont.FreeTypeFont, width: float) -> list[str]:
    lines: list[str] = []
    for word in drawable(text).split():
        if lines and font.getlength(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
