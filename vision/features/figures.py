"""Places on a rectified crop where figures may stand: rows of equal, thin-stroked blobs."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import Box, Pixels

# All by eye on crops of cab sides; heights and widths are shares of the crop's height.
_LEAST_HEIGHT, _MOST_HEIGHT = 0.09, 0.5
_MOST_WIDTH = 0.9
_MOST_SLENDER = 3.2  # width over height: blurred figures of one number run together
_STROKE = 0.16  # nothing thicker than this is a figure's stroke
_FILL = (0.15, 0.95)  # share of its box that a figure covers
_CONTRAST = 8.0  # levels of 255 by which a figure differs from its ground, at least
_LIKE_HEIGHT = 0.65  # shorter over taller of two figures of one number
_GAP = 0.9  # between figures of one number, in heights
_SAME_PLACE = 0.6  # intersection over union above which two places are one
_MOST_FIGURES = 5


def propose_figures(pixels: Pixels, *, most: int = 6) -> tuple[tuple[Box, float], ...]:
    """Rows of blobs that may be a number, the strongest contrast first.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
        An upright crop in which figures are about a tenth to half as high as the crop.
    most : int
        How many rows at most.

    Returns
    -------
    tuple of (Box, float)
        Each row's box in the crop, close round the figures, and how far they stand out
        from their ground, in levels of 255.
    """
    colours = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB)
    rows: list[tuple[Box, float]] = []
    for channel in range(3):
        plane = np.ascontiguousarray(colours[:, :, channel], dtype=np.uint8)
        plane = np.asarray(cv2.medianBlur(plane, 3), dtype=np.uint8)
        for way in (cv2.MORPH_TOPHAT, cv2.MORPH_BLACKHAT):
            rows += _rows(_blobs(plane, way))
    kept: list[tuple[Box, float]] = []
    for box, contrast in sorted(rows, key=lambda row: -row[1] * _likely(row[0], pixels.shape)):
        if all(box.intersection_over_union(other) < _SAME_PLACE for other, _ in kept):
            kept.append((box, contrast))
    return tuple(kept[:most])


def _likely(box: Box, shape: tuple[int, ...]) -> float:
    """How usual a place and size is for a number: below the windows, clear of the edges."""
    x, y = box.centre[0] / shape[1], box.centre[1] / shape[0]
    tall = box.height / shape[0]
    usual = math.exp(-(((x - 0.5) / 0.35) ** 2) - ((y - 0.6) / 0.22) ** 2)
    whole = 1.0 if 0.14 <= tall <= 0.35 else 0.6
    clear = 0.3 if box.left <= 1 or box.right >= shape[1] - 1 else 1.0
    return usual * whole * clear


def _blobs(plane: NDArray[np.uint8], way: int) -> list[tuple[Box, float]]:
    height = plane.shape[0]
    side = max(3, round(_STROKE * height) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (side, side))
    thin = cv2.morphologyEx(plane, way, kernel)
    level, mask = cv2.threshold(thin, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    if level < _CONTRAST / 2:
        _, mask = cv2.threshold(thin, _CONTRAST / 2, 255, cv2.THRESH_BINARY)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    found = []
    for index in range(1, count):
        left, top, wide, high, area = (int(v) for v in stats[index])
        if not _LEAST_HEIGHT * height <= high <= _MOST_HEIGHT * height:
            continue
        if wide > _MOST_WIDTH * height or wide > _MOST_SLENDER * high:
            continue
        if not _FILL[0] <= area / (wide * high) <= _FILL[1]:
            continue
        inside = labels[top : top + high, left : left + wide] == index
        contrast = float(thin[top : top + high, left : left + wide][inside].mean())
        if contrast >= _CONTRAST:
            found.append((Box(left, top, left + wide, top + high), contrast))
    return found


def _rows(blobs: Sequence[tuple[Box, float]]) -> list[tuple[Box, float]]:
    """Neighbours of like height joined; each blob alone is a row too if it has none."""
    ordered = sorted(blobs, key=lambda blob: blob[0].left)
    rows: list[list[tuple[Box, float]]] = []
    for blob in ordered:
        home = next((row for row in rows if _follows(row[-1][0], blob[0])), None)
        if home is None or len(home) >= _MOST_FIGURES:
            rows.append([blob])
        else:
            home.append(blob)
    return [(_around([box for box, _ in row]), float(np.mean([c for _, c in row]))) for row in rows]


def _follows(before: Box, after: Box) -> bool:
    tall = max(before.height, after.height)
    alike = min(before.height, after.height) / tall >= _LIKE_HEIGHT
    level = abs(before.centre[1] - after.centre[1]) <= 0.4 * tall
    near = -0.2 * tall <= after.left - before.right <= _GAP * tall
    return alike and level and near


def _around(boxes: Sequence[Box]) -> Box:
    return Box(
        min(b.left for b in boxes),
        min(b.top for b in boxes),
        max(b.right for b in boxes),
        max(b.bottom for b in boxes),
    )
