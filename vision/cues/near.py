"""Crops for the reader: a side of the engine straightened, and a line of it from nearer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.cues.cab import LONG
from vision.cues.spelling import Reading
from vision.network import Network
from vision.records import Photo, Point, Region
from vision.rectify import BEYOND, Crop, region_crop

_LEAST_CAB_PX = 20.0  # a cab side of fewer pixels shows no figure
_MOST_STRETCH = 2.2
_NEAR_ROWS = 64  # of the reader's picture: all that a line of figures from nearer needs
_PROPORTION = 0.62  # width over height; narrower figures are widened
_CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1))


def straightened(
    photo: Photo, region: Region, reader: Network, *, long: float = LONG
) -> Crop | None:
    """The region in the upper left of the reader's picture, at its own proportions.

    One that is less than `long` times as long as it is high is taken for foreshortened.
    """
    wide, high = _length(region[0], region[1]), _length(region[0], region[3])
    if high < _LEAST_CAB_PX:
        return None
    stretch = min(max(long * high / max(wide, 1e-6), 1.0), _MOST_STRETCH)
    slender = wide * stretch / high
    width = round(min(reader.size[0], reader.size[1] * slender))
    height = round(min(reader.size[1], reader.size[0] / max(slender, 1e-6)))
    try:
        crop = region_crop(photo, region, (max(width, 32), max(height, 32)))
    except ValueError:
        return None
    return _fitted(crop, reader)


def nearer(photo: Photo, crop: Crop, line: Reading, tall: float, reader: Network) -> Crop | None:
    """A line with its figures `tall` pixels high, and no narrower than figures are."""
    x, y = line.box.centre
    scale = max(line.box.height, 4.0) / tall
    stretch = min(max(_PROPORTION / max(line.proportion, 1e-6), 1.0), _MOST_STRETCH)
    size = (reader.size[0], min(_NEAR_ROWS, reader.size[1]))
    half = (size[0] * scale / stretch / 2, size[1] * scale / 2)
    corners = tuple((x + a * half[0], y + b * half[1]) for a, b in _CORNERS)
    a, b, c, d = crop.photo_points(corners)
    try:
        return region_crop(photo, (a, b, c, d), size)
    except ValueError:
        return None


def _fitted(crop: Crop, reader: Network) -> Crop:
    pixels = np.full((reader.size[1], reader.size[0], 3), BEYOND, dtype=np.uint8)
    height, width = crop.pixels.shape[:2]
    pixels[:height, :width] = crop.pixels[: reader.size[1], : reader.size[0]]
    return replace(crop, pixels=pixels)


def _length(one: Point, two: Point) -> float:
    return float(np.hypot(two[0] - one[0], two[1] - one[1]))
