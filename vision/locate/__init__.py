"""From a photo to the locomotive, its tender and its three regions, or why not."""

from __future__ import annotations

from dataclasses import replace

from vision.features import measure_paper
from vision.locate.another import another_engine, with_own_tender
from vision.locate.finder import MIN_WIDTH_PX, Glimpse, find
from vision.locate.poser import pose
from vision.locate.turned import TURNED, seems_turned
from vision.network import Networks
from vision.records import Box, NotFound, Photo, Sighting
from vision.rectify import box_crop

_EDGE = 0.01  # of a box's longer side, by which it may miss the edge that it reaches
# A drawing has so much plain paper on its engine, so little that is no line, and no colours.
# Of 300 renders that look like photos, and of 1,000 whose engines were cut out and set on
# white, in grey or not, none does, and what is solid was 0.6 at least where paper was as much;
# of 450 turned into lines or pencil strokes 422 do.
_PAPER_SHARE, _MOST_SOLID, _COLOURLESS = 0.45, 0.35, 30.0
_PAPER_SIZE = (240, 120)  # width and height at which that is measured, pixels


def locate(photo: Photo, networks: Networks) -> Sighting | NotFound:
    """Find the engine in a photo and the regions that date it.

    Parameters
    ----------
    photo : Photo
    networks : Networks
        "finder" and "poser" are used, and the thresholds in their fitted coefficients.

    Returns
    -------
    Sighting | NotFound
        Boxes and regions in pixels of the upright full-size photo. Nothing is read of a photo
        that is surely turned: what was read of it would be wrong.
    """
    glimpse = find(photo, networks)
    found = _located(photo, glimpse, networks)
    if seems_turned(photo, glimpse.score, networks, found=bool(found)):
        return NotFound(TURNED, glimpse.score)
    return found


def _located(photo: Photo, glimpse: Glimpse, networks: Networks) -> Sighting | NotFound:
    """What the photo as it is shows."""
    limits = networks.fusion["locate"]
    if glimpse.score < float(limits["finder"]):
        return NotFound("no steam locomotive was recognised in the picture", glimpse.score)
    if glimpse.locomotive.width < MIN_WIDTH_PX:
        return NotFound(
            f"the engine is only {glimpse.locomotive.width:.0f} pixels wide; move closer",
            glimpse.score,
        )
    sighting = pose(photo, glimpse, networks)
    if sighting.score < float(limits["engine"]):
        return NotFound(
            "something like a rail vehicle is cut off by the edge of the picture; too little of "
            "it is there to tell a steam locomotive"
            if _at_the_edge(sighting.locomotive, photo.size)
            else "something like a rail vehicle is there, but not clearly a steam locomotive",
            sighting.score,
        )
    if _drawn(photo, sighting.locomotive):
        return NotFound(
            "what looks like an engine is drawn in lines on plain paper; "
            "only photos show how one was made",
            sighting.score,
        )
    another = another_engine(photo, sighting, glimpse, networks)
    return with_own_tender(replace(sighting, another=another))


def _at_the_edge(box: Box, size: tuple[int, int]) -> bool:
    """Whether a box reaches the edge of a picture, to within what boxes err by."""
    margin = _EDGE * max(box.width, box.height)
    room = (box.left, box.top, size[0] - box.right, size[1] - box.bottom)
    return min(room) <= margin


def _drawn(photo: Photo, box: Box) -> bool:
    """Whether what the box of an engine shows is a drawing."""
    paper, solid, spread = measure_paper(box_crop(photo, box, _PAPER_SIZE).pixels)
    lines = paper.value >= _PAPER_SHARE and solid.value <= _MOST_SOLID
    return lines and spread.value < _COLOURLESS
