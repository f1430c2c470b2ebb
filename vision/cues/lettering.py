"""Lettering on the tender's side: that it is there, never that it is not."""

from __future__ import annotations

import math

from vision.cues.characters import Character, characters_of, lines_of
from vision.cues.tender import TenderLooks
from vision.network import Network, Networks
from vision.records import LETTERING, Box, Cue, Photo, Point, Region, State
from vision.rectify import Crop, region_crop

# Share of the side's height, from the top, that the reader is shown: the tank without the
# wheels, in whose rows it sees characters. By eye on renders.
_TANK = 0.65
# Where on that height lettering may stand: above it lie rail and coal, below the frame.
# On 194 renders it stood between 0.21 and 0.42.
_BAND = (0.15, 0.6)
# Rows of the reader's picture and columns beside the side. With 64 rows more letters are
# missed (120 renders); with 128 a bare side came to 0.56, with 96 to 0.40 (46 renders).
_ROWS, _MARGIN = 96, 8
_TURNED = 0.5  # probability that the axles can be counted, below which no side is in sight
# Decoded pixels along the side, below which letters are some 5 pixels high: of 16 lettered
# tenders that small 5 would have been told, of 37 from here to 160 pixels 22, of 193
# larger ones 189 (renders).
_LEAST_PX = 90.0
# Least probability of each of two characters. On 110 renders of unlettered tenders, of 31
# engines, the second-best character of a line came to 0.41 at most.
_SURE = 0.6
# Of those none was called lettered, and of 230 lettered ones in sight 211. By the rule of
# three that is odds of 34 to one or more; fewer, as renders of one engine are alike. Chosen.
# Letters of another engine behind the one that is judged are told as its own.
_CONFIDENCE = 0.95

NO_TENDER = "no tender is in the picture"


def read_lettering(photo: Photo, tender: Box, looks: TenderLooks, networks: Networks) -> Cue:
    """Say whether characters can be made out on the side of a tender.

    Parameters
    ----------
    photo : Photo
    tender : Box
        Pixels of the upright photo.
    looks : TenderLooks
        What the counter made of the tender; its corners of the side straighten it.
    networks : Networks

    Returns
    -------
    Cue
        PRESENT where at least two characters of one line are made out, else UNSEEN: what
        the reader misses need not be missing.
    """
    side = looks.side_at
    if side is None or float(looks.plain["countable"][0]) < _TURNED:
        return _unseen(tender, "the tender's side is turned away or hidden")
    along = (math.dist(side[0], side[1]) + math.dist(side[3], side[2])) / 2.0
    if along * photo.scale < _LEAST_PX:
        return _unseen(tender, "the tender's side is too small in this picture for letters")
    crop = _tank(photo, side, networks["number"])
    line = () if crop is None else _best_line(crop, networks["number"])
    if crop is None or len(line) < 2:
        return _unseen(tender, "no lettering made out on the tender's side", in_sight=True)
    around = Box.around(corner for character in line for corner in character.box.corners)
    return Cue(
        LETTERING,
        State.PRESENT,
        confidence=_CONFIDENCE,
        where=crop.photo_box(around).clipped(*photo.size),
        because=f"{len(line)} characters made out in a line on the tender's side",
    )


def _unseen(tender: Box, because: str, *, in_sight: bool = False) -> Cue:
    return Cue(LETTERING, State.UNSEEN, where=tender, because=because, in_sight=in_sight)


def _tank(photo: Photo, side: Region, reader: Network) -> Crop | None:
    """The upper part of the side straightened; None where the corners are of no flat face."""
    size = (reader.size[0], _ROWS)
    try:
        # By way of the whole side, so that the cut follows its perspective.
        whole = region_crop(photo, side, size)
        right, low = float(size[0]), _TANK * size[1]
        corners: tuple[Point, ...] = ((0.0, 0.0), (right, 0.0), (right, low), (0.0, low))
        a, b, c, d = whole.photo_points(corners)
        return region_crop(photo, (a, b, c, d), size, margin=(_MARGIN, 0))
    except ValueError:
        return None


def _best_line(crop: Crop, reader: Network) -> tuple[Character, ...]:
    """The longest line of characters that are surely there, at the height of lettering."""
    out = reader.run(crop.pixels)
    top, bottom = (share / _TANK * crop.pixels.shape[0] for share in _BAND)
    sure = [
        tuple(c for c in line if c.there >= _SURE and top <= c.box.centre[1] <= bottom)
        for line in lines_of(characters_of(out["there"], out["values"], out["boxes"]))
    ]
    return max(sure, key=len, default=())
