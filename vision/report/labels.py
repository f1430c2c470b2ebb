"""Where labels go on a picture: arithmetic on rectangles, no drawing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.records import Box, Point

Coordinates = NDArray[np.float64]

# How much worse it is to lie on something worth seeing than to lie far from what the
# label names, in picture diagonals. Chosen by eye on drawn scenes.
COVERING_COST = 0.6
# What a pixel off the target's middle costs against a pixel away from it. Chosen by eye:
# enough to centre a label, not enough to draw it across another region.
MIDDLE_COST = 0.1
# What a pixel off the label's middle costs against a pixel of a longer leader: enough to
# settle where on a parallel edge it ends, not enough to lengthen one. Chosen.
ASIDE_COST = 0.02
# Points looked at on each edge of an outline; finer steps change nothing one can see.
EDGE_STEPS = 64
# Candidate positions per label and axis; finer steps change nothing one can see.
STEPS = 48


def place_labels(
    sizes: Sequence[tuple[float, float]],
    targets: Sequence[Box],
    *,
    bounds: Box,
    keep_clear: Sequence[Box] = (),
    gap: float = 4.0,
) -> tuple[Box | None, ...]:
    """Find a place for each label, near its target, off the others.

    Parameters
    ----------
    sizes : sequence of (width, height)
        Of the labels, in pixels.
    targets : sequence of Box
        What each label names, in the same order.
    bounds : Box
        No label leaves it.
    keep_clear : sequence of Box
        What labels should not cover if they can help it.
    gap : float
        Least distance between two labels, pixels.

    Returns
    -------
    tuple of Box or None
        None for a label that fits nowhere without touching another.
    """
    placed: list[Box | None] = []
    for (width, height), target in zip(sizes, targets, strict=True):
        taken = [box for box in placed if box is not None]
        lefts, tops = _candidates(width, height, bounds, taken, gap)
        if lefts.size == 0:
            placed.append(None)
            continue
        diagonal = float(np.hypot(bounds.width, bounds.height))
        cost = _distance(lefts, tops, (width, height), target) / diagonal
        for box in keep_clear:
            share = _overlap(lefts, tops, (width, height), box) / (width * height)
            cost += COVERING_COST * share
        best = int(np.argmin(cost))
        left, top = float(lefts[best]), float(tops[best])
        placed.append(Box(left, top, left + width, top + height))
    return tuple(placed)


def leader_line(place: Box, outline: Sequence[Point]) -> tuple[Point, Point]:
    """Find the shortest line from a label to the outline that it names.

    The rectangle round an outline that lies aslant is no stand-in for it: a line to
    that ends in the air.

    Parameters
    ----------
    place : Box
        Of the label.
    outline : sequence of (x, y)
        Corners, closed from the last to the first; at least one.

    Returns
    -------
    tuple of (x, y), (x, y)
        On the label, and on the outline; pixels. Good to an edge's length / 63.
    """
    corners = np.asarray(outline, float)
    along = np.linspace(0.0, 1.0, EDGE_STEPS)[:, None, None]
    points = (corners + along * (np.roll(corners, -1, axis=0) - corners)).reshape(-1, 2)
    starts = np.clip(points, (place.left, place.top), (place.right, place.bottom))
    aside = np.hypot(*(points - place.centre).T)
    best = int(np.argmin(np.hypot(*(points - starts).T) + ASIDE_COST * aside))
    (x_from, y_from), (x_to, y_to) = starts[best].tolist(), points[best].tolist()
    return (x_from, y_from), (x_to, y_to)


def _candidates(
    width: float, height: float, bounds: Box, taken: Sequence[Box], gap: float
) -> tuple[Coordinates, Coordinates]:
    if width > bounds.width or height > bounds.height:
        return np.empty(0), np.empty(0)
    xs = np.linspace(bounds.left, bounds.right - width, STEPS)
    ys = np.linspace(bounds.top, bounds.bottom - height, STEPS)
    grid_x, grid_y = np.meshgrid(xs, ys)
    lefts, tops = grid_x.ravel(), grid_y.ravel()
    free = np.ones(lefts.shape, bool)
    for box in taken:
        beside = (lefts + width + gap <= box.left) | (lefts >= box.right + gap)
        apart = (tops + height + gap <= box.top) | (tops >= box.bottom + gap)
        free &= beside | apart
    return lefts[free], tops[free]


def _distance(
    lefts: Coordinates, tops: Coordinates, size: tuple[float, float], target: Box
) -> Coordinates:
    """From a label to its target, and a little for being off its middle."""
    dx = np.maximum(0.0, np.maximum(lefts - target.right, target.left - lefts - size[0]))
    dy = np.maximum(0.0, np.maximum(tops - target.bottom, target.top - tops - size[1]))
    x, y = target.centre
    aside = np.hypot(lefts + size[0] / 2.0 - x, tops + size[1] / 2.0 - y)
    distance: Coordinates = np.hypot(dx, dy) + MIDDLE_COST * aside
    return distance


def _overlap(
    lefts: Coordinates, tops: Coordinates, size: tuple[float, float], box: Box
) -> Coordinates:
    wide = np.minimum(lefts + size[0], box.right) - np.maximum(lefts, box.left)
    high = np.minimum(tops + size[1], box.bottom) - np.maximum(tops, box.top)
    shared: Coordinates = np.maximum(wide, 0.0) * np.maximum(high, 0.0)
    return shared
