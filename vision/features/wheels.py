"""Wheels as circles that stand on the rail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import Box, Pixels

# Radius, share of the crop height (rail top to running board): driven wheels reach
# from a little under half to almost the whole of it. Chosen; common practice, no source.
LEAST_RADIUS = 0.20
GREATEST_RADIUS = 0.52
# How far the tread may lie from the crop's lower edge, share of the crop height: what
# a rectified region is out by, and the flange.
RAIL_TOLERANCE = 0.14
# Share of pixels above Canny's upper threshold, so that texture cannot drown the vote:
# unbounded, a crop of pure texture once took 5 s; at 0.12 it takes 6 ms, at 0.06 one.
EDGE_SHARE = 0.06
# Canny's upper threshold is at least this (Sobel's |x| + |y|, eighths of a level/px):
# below it lies sensor noise. Chosen on drawn noise.
LEAST_EDGE = 80.0
# Votes a centre needs at half size, px of rim: a quarter of the least rim shown.
LEAST_VOTES = 18.0
# Share of a rim that must show as an edge square to the radius. 0.2 is what random
# texture reaches; chosen on drawn noise.
LEAST_RIM = 0.38
# An engine has at most this many driven wheels on a side, and room for false starts.
MOST_WHEELS = 8
# Wheels of one side do not overlap: least distance over the sum of radii.
LEAST_SPACING = 0.85
RIM_SAMPLES = 72
# How far outside the circle first found the tread may lie, over its radius; and how
# clear its edge must be beside the clearest. Chosen on drawn wheels.
TYRE = 1.16
CLEAR_RING = 0.4
# Cosine of 20 degrees: how square to the radius an edge of the rim must be.
SQUARE_COSINE = 0.94


@dataclass(frozen=True, slots=True)
class Wheel:
    """A circle in pixels of the crop; `rim` is the share of its rim that shows."""

    x: float
    y: float
    radius: float
    rim: float

    @property
    def box(self) -> Box:
        """The square around it, which may reach beyond the crop."""
        x, y, radius = self.x, self.y, self.radius
        return Box(x - radius, y - radius, x + radius, y + radius)


def find_wheels(levels: Pixels) -> tuple[Wheel, ...]:
    """Circles that stand on the lower edge of a crop, from left to right.

    Parameters
    ----------
    levels : ndarray, shape (H, W), uint8
        Grey, rail top at the lower edge.

    Returns
    -------
    tuple of Wheel
        At most MOST_WHEELS. Found at half size: centres and radii are good to 2 px.

    Notes
    -----
    Hough transform with gradient direction (Ballard, "Generalizing the Hough transform
    to detect arbitrary shapes", Pattern Recognition 13(2), 1981), as OpenCV has it.
    The work is bounded by half size, by the range of radii and by EDGE_SHARE.
    """
    height, width = levels.shape
    half = cv2.resize(levels, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    half = cv2.GaussianBlur(half, (3, 3), 0)
    across = cv2.Sobel(half, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(half, cv2.CV_32F, 0, 1, ksize=3)
    # Canny within OpenCV's transform measures |x| + |y|.
    strength = np.abs(across) + np.abs(down)
    upper = max(LEAST_EDGE, float(np.percentile(strength, 100.0 * (1.0 - EDGE_SHARE))))
    circles = cv2.HoughCircles(
        half,
        cv2.HOUGH_GRADIENT,
        1,
        LEAST_RADIUS * height,
        param1=upper,
        param2=LEAST_VOTES,
        minRadius=int(LEAST_RADIUS * height / 2.0),
        maxRadius=int(np.ceil(GREATEST_RADIUS * height / 2.0)),
    )
    if circles is None:
        return ()
    # OpenCV gives the most voted first.
    candidates = np.asarray(circles, dtype=np.float64).reshape(-1, 3)[: 4 * MOST_WHEELS]
    treads = 2.0 * (candidates[:, 1] + candidates[:, 2])
    candidates = candidates[np.abs(treads - height) <= RAIL_TOLERANCE * height]
    rims = _rims_shown(across, down, candidates, upper / 2.0)
    # The middle of half-size pixel i lies at 2 i + 1 in full-size lengths.
    found = [
        Wheel(2.0 * x + 1.0, 2.0 * y + 1.0, 2.0 * _tread(across, down, (x, y, radius)), rim)
        for (x, y, radius), rim in zip(candidates.tolist(), rims.tolist(), strict=True)
        if rim >= LEAST_RIM
    ]
    return _apart(found)


def _tread(across: NDArray[Any], down: NDArray[Any], circle: tuple[float, float, float]) -> float:
    """Radius of the outermost clear ring about a circle, px of the half-size picture.

    The vote often goes to the line between tyre and rim, which is the stronger edge.
    """
    x, y, radius = circle
    radii = np.arange(radius - 2.0, TYRE * radius + 1.0, 0.5)
    outward, _ = _outward(across, down, np.array([[x, y]]), radii[None, :])
    ring = np.abs(outward[0].mean(axis=1))
    peaks = np.flatnonzero((ring[1:-1] >= ring[:-2]) & (ring[1:-1] > ring[2:])) + 1
    clear = peaks[ring[peaks] >= CLEAR_RING * ring.max()]
    return float(radii[clear[-1]]) if clear.size else radius


def _outward(
    across: NDArray[Any],
    down: NDArray[Any],
    centres: NDArray[np.float64],
    radii: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gradient along the radius, and its whole strength.

    Shapes (circles, radii, RIM_SAMPLES), for `centres` (circles, 2), `radii` (circles,
    radii of each); 0 outside the picture.
    """
    angles = np.linspace(0.0, 2.0 * np.pi, RIM_SAMPLES, endpoint=False)
    cosines, sines = np.cos(angles), np.sin(angles)
    columns = np.rint(centres[:, 0, None, None] + radii[..., None] * cosines).astype(int)
    rows = np.rint(centres[:, 1, None, None] + radii[..., None] * sines).astype(int)
    inside = (rows >= 0) & (rows < down.shape[0]) & (columns >= 0) & (columns < down.shape[1])
    rows, columns = np.where(inside, rows, 0), np.where(inside, columns, 0)
    x, y = np.where(inside, across[rows, columns], 0.0), np.where(inside, down[rows, columns], 0.0)
    return x * cosines + y * sines, np.hypot(x, y)


def _rims_shown(
    across: NDArray[Any], down: NDArray[Any], circles: NDArray[np.float64], floor: float
) -> NDArray[np.float64]:
    """Share of each circle's rim that is an edge square to the radius, all of one sense.

    What the crop cuts off counts as hidden: half a wheel is half a proof.
    """
    # The radius is whole at half size: the rim may lie one pixel to either side.
    radii = circles[:, 2:] + np.array([-1.0, 0.0, 1.0])
    outward, strength = _outward(across, down, circles[:, :2], radii)
    clear = strength >= floor
    # Texture has edges of both senses; a tyre against its ground mostly has one.
    senses = [
        (clear & (sense * outward >= SQUARE_COSINE * strength)).any(axis=1).mean(axis=1)
        for sense in (1.0, -1.0)
    ]
    return np.asarray(np.maximum(*senses))


def _apart(wheels: list[Wheel]) -> tuple[Wheel, ...]:
    """The best shown of those that overlap."""
    kept: list[Wheel] = []
    for wheel in sorted(wheels, key=lambda w: (-w.rim, w.x)):
        if len(kept) < MOST_WHEELS and all(
            np.hypot(wheel.x - other.x, wheel.y - other.y)
            >= LEAST_SPACING * (wheel.radius + other.radius)
            for other in kept
        ):
            kept.append(wheel)
    return tuple(sorted(kept, key=lambda w: w.x))
