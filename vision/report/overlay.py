"""The photo with what was read drawn on it, and the answer on a strip below.

Colour is never the only signal: solid means present, dashed absent, dotted not
visible, and every label says it in words. Every line has a dark casing, so that it
shows on a white wall as well as on a black engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.records import (
    REGION_OF_CUE,
    Answer,
    Box,
    Cue,
    Photo,
    Pixels,
    Point,
    Sighting,
    State,
)
from vision.report.another import LABEL as ANOTHER
from vision.report.labels import leader_line, place_labels
from vision.report.rows import hidden_once
from vision.report.steps import is_set_aside, weighed_reading
from vision.report.strip import add_strip, drawable, lettering
from vision.report.views import number_words, photo_names, read_otherwise
from vision.report.words import cue_words, percent, reading

# Pixels of the longer side: below the first, letters would not fit; above the
# second, the file only grows. Chosen.
LEAST_SIDE, MOST_SIDE = 1280, 2000
# Share of the picture's longer side; chosen by eye on drawn scenes.
LETTER_SHARE = 0.0145
# Share of the region's width above which its part is not drawn apart; by eye on 15 photos.
SPOT_SHARE = 0.5
LINE_SHARE = 0.0022
THIN = 0.5  # of a line, the one round another engine, of which nothing is read

# Three of the eight colours of Okabe and Ito (2008), told apart by every kind of
# colour vision, and a dash pattern (drawn, left out; in line widths) for each.
STROKES: dict[State, tuple[tuple[int, int, int], tuple[float, float] | None]] = {
    State.PRESENT: ((86, 180, 233), None),
    State.ABSENT: ((230, 159, 0), (7.0, 4.0)),
    State.UNSEEN: ((240, 228, 66), (1.2, 3.0)),
}
PAPER, INK, CASING = (255, 255, 255), (16, 20, 24), (16, 20, 24)


@dataclass(frozen=True, slots=True)
class Mark:
    """A cue to draw, or another engine where there is none: its outline and its label."""

    cue: Cue | None
    outline: tuple[Point, ...]
    text: str

    @property
    def box(self) -> Box:
        """The rectangle around the outline."""
        return Box.around(self.outline)

    @property
    def stroke(self) -> tuple[tuple[int, int, int], tuple[float, float] | None]:
        """Colour and dash pattern, as in STROKES."""
        return (PAPER, None) if self.cue is None else STROKES[self.cue.state]


def draw_overlay(photo: Photo, answer: Answer, index: int) -> Pixels:
    """Draw what was read of one photo, and the answer on a strip below.

    Parameters
    ----------
    photo : Photo
    answer : Answer
        Of which `photo` is a part.
    index : int
        Which of the answer's photos it is, from 0.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8, RGB
        A new picture; the longer side of the photo's part is between 1280 and
        2000 pixels, and the strip below adds to its height.
    """
    image, told = mark_photo(photo, answer, index)
    told = [words for words in (number_words(answer, index), *told) if words]
    return np.asarray(add_strip(image, answer, told), dtype=np.uint8)


def mark_photo(
    photo: Photo,
    answer: Answer,
    index: int,
    *,
    most_side: int = MOST_SIDE,
    letter_share: float = LETTER_SHARE,
) -> tuple[Image.Image, list[str]]:
    """Draw what was read of one photo, without the answer.

    Parameters
    ----------
    photo, answer, index
        As for `draw_overlay`.
    most_side : int
        Most pixels of the longer side; at least 1280.
    letter_share : float
        Height of the lettering by the longer side.

    Returns
    -------
    image : Image
        A new picture, its longer side between 1280 and `most_side` pixels.
    told : list of str
        Labels that have no place in the picture, such as of cues not visible.
    """
    image, factor = _canvas(photo, most_side)
    sighting = answer.sightings[index]
    cues = _cues(answer, index)
    marks: list[Mark] = []
    left_over: list[Mark] = []
    if isinstance(sighting, Sighting):
        marks = _marks(sighting, cues, factor, answer)
        if sighting.another is not None:
            marks.append(Mark(None, sighting.another.scaled(factor).corners, ANOTHER))
        font = lettering(max(image.size) * letter_share)
        left_over = _draw_marks(image, sighting, marks, factor, font=font)
    named = {mark.cue.name for mark in marks if mark.cue is not None}
    unplaced = [cue for cue in cues if cue.name not in named]
    return image, [_label(cue, answer) for cue in unplaced] + [mark.text for mark in left_over]


def overlay_words(photo: Photo, answer: Answer, index: int) -> str:
    """What is drawn on a photo, in words for who cannot see it; arguments as `draw_overlay`."""
    sighting = answer.sightings[index]
    if not isinstance(sighting, Sighting):
        return f"{photo_names(answer)[index]}: no locomotive found"
    cues = _cues(answer, index)
    parts = [f"engine, facing {sighting.faces.value}"]
    if sighting.tender is not None:
        parts.append("tender")
    for mark in _marks(sighting, cues, 1.0, answer):
        region = "" if mark.cue is None else REGION_OF_CUE.get(mark.cue.name, "")
        where = f"{region.replace('_', ' ')}, " if region in sighting.regions else ""
        parts.append(where + mark.text)
    if sighting.another is not None:
        parts.append(ANOTHER)
    return f"{photo_names(answer)[index]}, marked: {'; '.join(parts)}"


def _cues(answer: Answer, index: int) -> tuple[Cue, ...]:
    """What one photo shows best, and what it reads otherwise than all of them."""
    best = hidden_once([cue for cue in answer.cues if cue.photo == index])
    return (*best, *read_otherwise(answer, index))


def _canvas(photo: Photo, most_side: int) -> tuple[Image.Image, float]:
    """The picture at a size for lettering, and its pixels per full-size pixel."""
    image = Image.fromarray(photo.pixels)
    longer = max(image.size)
    wanted = min(max(longer, LEAST_SIDE), most_side)
    if wanted != longer:
        shape = [max(1, round(side * wanted / longer)) for side in image.size]
        image = image.resize((shape[0], shape[1]), Image.Resampling.LANCZOS)
    return image, image.width / photo.size[0]


def _label(cue: Cue, answer: Answer) -> str:
    # What is not visible may be joined out of several cues, and is of all photos anyway.
    alone = cue.state is not State.UNSEEN and cue not in answer.cues
    read, p = reading(cue), cue.confidence
    if answer.estimate is not None and not alone:
        read, p = weighed_reading(cue, answer.estimate)
    sure = f" ({percent(p)})" if cue.state is not State.UNSEEN else ""
    gone = answer.estimate is not None and is_set_aside(cue, answer.estimate)
    aside = ", set aside by hand" if gone else ""
    here = ", in this photo" if alone else ""
    return drawable(f"{cue_words(cue.name)}: {read}{sure}{here}{aside}")


def _marks(sighting: Sighting, cues: tuple[Cue, ...], factor: float, answer: Answer) -> list[Mark]:
    marks = []
    for cue in cues:
        region = sighting.regions.get(REGION_OF_CUE.get(cue.name, ""))
        if region is not None:
            outline = tuple((x * factor, y * factor) for x, y in region)
        elif cue.where is not None:
            outline = cue.where.scaled(factor).corners
        else:
            continue
        marks.append(Mark(cue, outline, _label(cue, answer)))
    return marks


def _spot(mark: Mark, factor: float) -> Box | None:
    """Where in its region a part is, if it is a part of it and not nearly all of it.

    An upright box round a stripe that runs aslant holds half the engine and tells nothing.
    """
    cue = mark.cue
    if (
        cue is None
        or cue.where is None
        or cue.state is not State.PRESENT
        or cue.name not in REGION_OF_CUE
    ):
        return None
    spot = cue.where.scaled(factor)
    return spot if spot.width < SPOT_SHARE * mark.box.width else None


def _draw_marks(
    image: Image.Image,
    sighting: Sighting,
    marks: list[Mark],
    factor: float,
    *,
    font: ImageFont.FreeTypeFont,
) -> list[Mark]:
    """Draw outlines, then labels; returns the marks whose label found no place."""
    draw = ImageDraw.Draw(image)
    longer = max(image.size)
    line = max(2.0, longer * LINE_SHARE)
    for box in (sighting.locomotive, sighting.tender):
        if box is not None:
            _brackets(draw, box.scaled(factor), line)
    for mark in marks:
        colour, dashes = mark.stroke
        thin = line if mark.cue is not None else THIN * line
        _stroke(draw, mark.outline, colour=colour, dashes=dashes, width=thin)
        spot = _spot(mark, factor)
        if spot is not None:
            _stroke(draw, spot.corners, colour=colour, dashes=dashes, width=line)
    pad = font.size * 0.35
    extents = [draw.textbbox((0, 0), mark.text, font=font) for mark in marks]
    places = place_labels(
        [(right + 2 * pad, bottom + 2 * pad) for _, _, right, bottom in extents],
        [mark.box.clipped(image.width, image.height) for mark in marks],
        bounds=Box(line, line, image.width - line, image.height - line),
        keep_clear=[mark.box for mark in marks] + [sighting.locomotive.scaled(factor)],
        gap=pad,
    )
    for mark, place in zip(marks, places, strict=True):
        if place is not None:
            _leader(draw, mark, place, line)
    for mark, place in zip(marks, places, strict=True):
        if place is not None:
            colour, dashes = mark.stroke
            draw.rectangle(place.as_tuple(), fill=INK)
            _stroke(draw, place.corners, colour=colour, dashes=dashes, width=line, cased=False)
            draw.text((place.left + pad, place.top + pad), mark.text, font=font, fill=PAPER)
    return [mark for mark, place in zip(marks, places, strict=True) if place is None]


def _leader(draw: ImageDraw.ImageDraw, mark: Mark, place: Box, width: float) -> None:
    """Draw the shortest line from a label to what it names."""
    ends = leader_line(place, mark.outline)
    colour, _ = mark.stroke
    draw.line(ends, fill=CASING, width=round(width * 2))
    draw.line(ends, fill=colour, width=max(1, round(width * 0.8)))


def _brackets(draw: ImageDraw.ImageDraw, box: Box, width: float) -> None:
    """The four corners of a box: enough to see it, and nothing on it is crossed out."""
    arm = 0.12 * min(box.width, box.height) + 6 * width
    for x, inward_x in ((box.left, arm), (box.right, -arm)):
        for y, inward_y in ((box.top, arm), (box.bottom, -arm)):
            points = ((x + inward_x, y), (x, y), (x, y + inward_y))
            draw.line(points, fill=CASING, width=round(3 * width), joint="curve")
            draw.line(points, fill=PAPER, width=round(1.4 * width), joint="curve")


def _stroke(
    draw: ImageDraw.ImageDraw,
    corners: tuple[Point, ...],
    *,
    colour: tuple[int, int, int],
    dashes: tuple[float, float] | None,
    width: float,
    cased: bool = True,
) -> None:
    """A closed outline, solid or dashed, each dash in a dark casing."""
    pieces = [
        piece
        for start, end in zip(corners, corners[1:] + corners[:1], strict=True)
        for piece in _dashes(start, end, dashes, width)
    ]
    if cased:
        for piece in pieces:
            draw.line(piece, fill=CASING, width=round(2.2 * width))
    for piece in pieces:
        draw.line(piece, fill=colour, width=max(1, round(width)))


def _dashes(
    start: Point, end: Point, dashes: tuple[float, float] | None, width: float
) -> list[tuple[Point, Point]]:
    if dashes is None:
        return [(start, end)]
    length = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    on, off = dashes[0] * width, dashes[1] * width
    # A whole number of dashes, the last one ending at the corner.
    count = max(1, round((length + off) / (on + off)))
    step = (length + off) / count
    pieces = []
    for k in range(count):
        ends = []
        for along in (k * step, k * step + step - off):
            t = along / length if length else 0.0
            ends.append((start[0] + t * (end[0] - start[0]), start[1] + t * (end[1] - start[1])))
        pieces.append((ends[0], ends[1]))
    return pieces
