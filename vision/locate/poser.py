"""A second look at an engine, closer: where its regions lie, its heading, a tighter box."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.locate.finder import Glimpse
from vision.network import Networks
from vision.records import Box, Heading, Photo, Point, Region, Sighting
from vision.rectify import Crop, box_crop

REGIONS = ("boiler_top", "side_rods", "running_board")
HEADINGS = (Heading.LEFT, Heading.RIGHT, Heading.TOWARD, Heading.AWAY)

# Share of the engine's box added on every side for the second look, as in training.
_PADDING = 0.15
# Of a box's longer side, from which on a tender is another engine's. On 5,104 renders whose
# tender was boxed rightly it lay at most a fortieth away; in a photo it may be uncoupled.
_APART = 0.5


def pose(photo: Photo, glimpse: Glimpse, networks: Networks) -> Sighting:
    """Look again, closer: corners of the regions, heading, a tighter box."""
    network = networks["poser"]
    limits = networks.fusion["locate"]
    crop, out = posed(photo, glimpse.locomotive, networks)
    width, height = network.size
    corners = crop.photo_points([(x * width, y * height) for x, y in out["corners"].tolist()])
    regions = {name: _region(corners[4 * i : 4 * i + 4]) for i, name in enumerate(REGIONS)}
    left, top, right, bottom = (float(v) for v in out["box"])
    tight = crop.photo_box(
        Box(left * width, top * height, max(left, right) * width, max(top, bottom) * height)
    )
    # Two looks of the same engine err apart; their mean errs less than either.
    box = _mean(tight, glimpse.locomotive).clipped(*photo.size)
    sure = glimpse.tender_score >= float(limits["tender"])
    tender = glimpse.tender if sure and is_coupled(glimpse.tender, box) else None
    return Sighting(
        locomotive=box,
        tender=tender,
        faces=HEADINGS[int(np.argmax(out["heading"]))],
        regions=regions,
        visible={name: float(p) for name, p in zip(REGIONS, out["sight"], strict=True)},
        score=float(np.sqrt(glimpse.score * float(out["engine"][0]))),
        tender_score=None if tender is None else glimpse.tender_score,
    )


def posed(
    photo: Photo, box: Box, networks: Networks
) -> tuple[Crop, dict[str, NDArray[np.float32]]]:
    """What the poser says of an engine.

    Parameters
    ----------
    photo : Photo
    box : Box
        Of the engine, in pixels of the upright full-size photo.
    networks : Networks
        "poser" is used.

    Returns
    -------
    Crop
        What it was shown: the box and some more on every side.
    dict of str to ndarray
        Its outputs by name; places as shares of the crop's width and height.
    """
    crop = box_crop(photo, box.padded(_PADDING), networks["poser"].size)
    return crop, networks["poser"].run(crop.pixels)


def is_coupled(tender: Box, locomotive: Box) -> bool:
    """Whether a tender stands close enough to an engine to be its own, not another's.

    Parameters
    ----------
    tender, locomotive : Box
        In pixels of the same picture.
    """
    return max(tender.gaps_to(locomotive)) <= _APART * max(locomotive.width, locomotive.height)


def _region(points: tuple[Point, ...]) -> Region:
    front_top, rear_top, rear_bottom, front_bottom = points
    return front_top, rear_top, rear_bottom, front_bottom


def _mean(one: Box, two: Box) -> Box:
    pairs = zip(one.as_tuple(), two.as_tuple(), strict=True)
    return Box(*((a + b) / 2.0 for a, b in pairs))
