"""Cutting straightened crops out of a photo, and carrying points both ways.

Whoever resizes the picture also maps the coordinates: one homography per crop serves the
pixels, the points and their way back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import Box, Photo, Pixels, Point, Region

# Grey beyond the edge of the picture, as in training.
BEYOND = 114
_BORDER = (BEYOND, BEYOND, BEYOND)
# Source pixels per crop pixel above which averaging must come before sampling.
_ALIASING = 1.4
# From OpenCV's whole numbers to the middles of pixels.
_TO_MIDDLE = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
# Above this reduction pixels are first averaged two by two, since interpolating at twice
# the wanted size looks at two pixels a sample and would leave too many out. Chosen: a
# 12-megapixel photo at half scale (4.5 times the finder's input) is spared it.
_HALVE_FROM = 4.6
# Standard deviation, in crop pixels, and strength of the unsharp mask; of seven tried on
# 187 renders out of focus the one after which the finder found most engines.
_UNSHARP_PX, _UNSHARP_AMOUNT = 4.0, 3.0


@dataclass(frozen=True, slots=True)
class Crop:
    """A straightened piece of a photo.

    Attributes
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
    to_photo : ndarray, shape (3, 3)
        Homography from the crop's pixels to those of the full-size upright photo.
    magnification : float
        Crop pixels per full-size photo pixel, along the crop's horizontal.
    """

    pixels: Pixels
    to_photo: NDArray[np.float64]
    magnification: float

    def photo_points(self, points: Sequence[Point]) -> tuple[Point, ...]:
        """Points of the crop in pixels of the full-size photo."""
        return _through(self.to_photo, points)

    def crop_points(self, points: Sequence[Point]) -> tuple[Point, ...]:
        """Points of the full-size photo in pixels of the crop."""
        inverse = np.asarray(np.linalg.inv(self.to_photo), dtype=np.float64)
        return _through(inverse, points)

    def photo_box(self, box: Box) -> Box:
        """The upright box round a box of the crop, in pixels of the full-size photo."""
        return Box.around(self.photo_points(box.corners))


def whole(photo: Photo, size: tuple[int, int]) -> Crop:
    """The whole photo, shrunk or enlarged to fit `size` (width, height), grey beyond."""
    height, width = photo.pixels.shape[:2]
    factor = min(size[0] / width, size[1] / height)
    fitted = (
        min(size[0], max(1, round(width * factor))),
        min(size[1], max(1, round(height * factor))),
    )
    if factor < 1:
        resized, left_out = shrunk_to(photo.pixels, fitted)
    else:
        larger = cv2.resize(photo.pixels, fitted, interpolation=cv2.INTER_LINEAR)
        resized, left_out = np.asarray(larger, dtype=np.uint8), (0, 0)
    pixels = np.full((size[1], size[0], 3), BEYOND, dtype=np.uint8)
    pixels[: fitted[1], : fitted[0]] = resized
    shown = (1.0 - left_out[0] / width, 1.0 - left_out[1] / height)
    per_pixel = [photo.size[axis] * shown[axis] / fitted[axis] for axis in (0, 1)]
    return Crop(pixels, np.diag([*per_pixel, 1.0]), 1.0 / per_pixel[0])


def sharpened(view: Crop) -> Crop:
    """What a crop shows, its edges drawn over by an unsharp mask.

    W. K. Pratt, "Digital Image Processing", 4th edition, 2007, section 10.4 (from memory).
    """
    soft = cv2.GaussianBlur(view.pixels, (0, 0), _UNSHARP_PX)
    # Rounded and kept within 0 to 255 by OpenCV.
    mixed = cv2.addWeighted(view.pixels, 1.0 + _UNSHARP_AMOUNT, soft, -_UNSHARP_AMOUNT, 0.0)
    return replace(view, pixels=np.asarray(mixed, dtype=np.uint8))


def stepped_back(view: Crop, times: float) -> Crop:
    """What `whole` shows, as if from `times` as far away: smaller, grey all round."""
    height, width = view.pixels.shape[:2]
    fitted = (round(width / times), round(height / times))
    left, top = ((width - fitted[0]) // 2, (height - fitted[1]) // 2)
    pixels = np.full_like(view.pixels, BEYOND)
    smaller = cv2.resize(view.pixels, fitted, interpolation=cv2.INTER_AREA)
    pixels[top : top + fitted[1], left : left + fitted[0]] = smaller
    across, down = width / fitted[0], height / fitted[1]
    inward = np.array([[across, 0, -left * across], [0, down, -top * down], [0, 0, 1.0]])
    return Crop(pixels, view.to_photo @ inward, view.magnification / across)


def shrunk_to(pixels: Pixels, size: tuple[int, int]) -> tuple[Pixels, tuple[int, int]]:
    """Pixels averaged down to `size` (width, height).

    Whole pixels are averaged two by two, and what is left of the way is interpolated at
    twice the size, before the last average. Down to an eighth, cv2.INTER_AREA itself,
    which splits pixels and so takes three times as long, gives the same to within one
    grey level on average over a photo.

    Also gives how many columns and rows at the far edges, fewer than the reduction,
    were left out because they filled no whole pixel.
    """
    height, width = pixels.shape[:2]
    times = 0
    while min((width >> times) / size[0], (height >> times) / size[1]) > _HALVE_FROM:
        times += 1
    kept = (width >> times << times, height >> times << times)
    shrunk = pixels[: kept[1], : kept[0]]
    steps = [(kept[0] >> done, kept[1] >> done) for done in range(1, times + 1)]
    for step in steps:
        shrunk = np.asarray(cv2.resize(shrunk, step, interpolation=cv2.INTER_AREA), np.uint8)
    twice = (2 * size[0], 2 * size[1])
    shrunk = np.asarray(cv2.resize(shrunk, twice, interpolation=cv2.INTER_LINEAR), np.uint8)
    shrunk = np.asarray(cv2.resize(shrunk, size, interpolation=cv2.INTER_AREA), np.uint8)
    return shrunk, (width - kept[0], height - kept[1])


def box_crop(photo: Photo, box: Box, size: tuple[int, int]) -> Crop:
    """A box of the full-size photo stretched over `size` (width, height)."""
    return region_crop(photo, box.corners, size)


def region_crop(
    photo: Photo, region: Region, size: tuple[int, int], *, margin: tuple[int, int] = (0, 0)
) -> Crop:
    """A region straightened over `size` (width, height), its front at the left.

    Parameters
    ----------
    photo : Photo
    region : Region
        Pixels of the full-size photo.
    size : (int, int)
        Width and height of the crop in pixels.
    margin : (int, int)
        Pixels of the crop, at either side and above and below, that show what lies beyond
        the region, straightened with it.

    Raises
    ------
    ValueError
        The region is folded or has no area, so that no homography carries it.
    """
    width, height = size
    (left, top), (right, bottom) = margin, (width - margin[0], height - margin[1])
    target = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)
    corners = np.asarray(region, dtype=np.float32)
    if _twisted(corners):
        raise ValueError(f"region: a convex quadrilateral expected, got {region}")
    to_photo = cv2.getPerspectiveTransform(target, corners).astype(np.float64)
    along = math.dist(region[0], region[1]) + math.dist(region[3], region[2])
    down = math.dist(region[0], region[3]) + math.dist(region[1], region[2])
    magnification = 2.0 * (right - left) / max(along, 1e-6)
    # Shrinking: average first, or thin parts vanish between the samples.
    reduction = photo.scale * min(along / (right - left), down / (bottom - top)) / 2.0
    pixels = _sample(photo, to_photo, size=size, reduction=reduction)
    return Crop(pixels, to_photo, magnification)


def _sample(
    photo: Photo, to_photo: NDArray[np.float64], *, size: tuple[int, int], reduction: float
) -> Pixels:
    source, offset, factor = photo.pixels, (0.0, 0.0), photo.scale
    if reduction > _ALIASING:
        source, offset, shrink = _reduced_patch(photo, to_photo, size=size, reduction=reduction)
        factor *= shrink
    # Pixel centres lie at halves in our coordinates and at whole numbers in OpenCV's.
    to_source = np.array(
        [[factor, 0, -offset[0] - 0.5], [0, factor, -offset[1] - 0.5], [0, 0, 1.0]]
    )
    matrix = to_source @ to_photo @ _TO_MIDDLE
    return np.asarray(
        cv2.warpPerspective(
            source,
            matrix,
            size,
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=_BORDER,
        ),
        dtype=np.uint8,
    )


def _reduced_patch(
    photo: Photo, to_photo: NDArray[np.float64], *, size: tuple[int, int], reduction: float
) -> tuple[Pixels, tuple[float, float], float]:
    """The part of the photo under the crop, shrunk; its offset after shrinking, and the factor."""
    width, height = size
    outline = np.array(_through(to_photo, ((0, 0), (width, 0), (width, height), (0, height))))
    rows, cols = photo.pixels.shape[:2]
    # Room for the samples at the edge, and for what halving leaves out.
    margin = 4.0 + max(0.0, reduction - 4.0)
    low = np.floor(outline.min(axis=0) * photo.scale - margin).astype(int)
    high = np.ceil(outline.max(axis=0) * photo.scale + margin).astype(int)
    low, high = np.clip(low, 0, (cols - 1, rows - 1)), np.clip(high, 1, (cols, rows))
    high = np.maximum(high, low + 1)
    patch = photo.pixels[low[1] : high[1], low[0] : high[0]]
    shrunk = np.maximum(1, np.round((high - low) / reduction)).astype(int)
    pixels, left_out = shrunk_to(patch, (int(shrunk[0]), int(shrunk[1])))
    factor = float(shrunk[0]) / float(high[0] - low[0] - left_out[0])
    return pixels, (low[0] * factor, low[1] * factor), factor


def _twisted(corners: NDArray[np.float32]) -> bool:
    sides = corners[[1, 2, 3, 0]] - corners
    following = sides[[1, 2, 3, 0]]
    turns = sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0]
    return bool(turns.min() <= 1e-3 and turns.max() >= -1e-3)


def _through(matrix: NDArray[np.float64], points: Sequence[Point]) -> tuple[Point, ...]:
    # A dozen points at most: plain numbers are faster than arrays of so few.
    (a, b, c), (d, e, f), (g, h, i) = matrix.tolist()
    weighed = ((x, y, g * x + h * y + i) for x, y in points)
    return tuple(((a * x + b * y + c) / w, (d * x + e * y + f) / w) for x, y, w in weighed)
