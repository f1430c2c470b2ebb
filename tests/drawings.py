"""Drawn crops whose truth is the drawing. Coordinates are continuous: pixel i covers i to i + 1."""

from __future__ import annotations

import math
from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

Colour = tuple[int, int, int]
Outline = list[tuple[float, float]]
# Drawn this many times as large, then averaged: edges as soft as a lens makes them.
FINER = 8

BOILER_TOP = (112, 384)
SIDE_RODS = (128, 384)
RUNNING_BOARD = (64, 512)

BLACK: Colour = (28, 28, 30)
WALL: Colour = (176, 182, 188)
RED: Colour = (176, 32, 36)
CREAM: Colour = (236, 222, 182)
STEEL: Colour = (170, 170, 172)


def drawn(
    shape: tuple[int, int], ground: Colour, shapes: Iterable[tuple[Colour, Outline]]
) -> NDArray[np.uint8]:
    """Filled outlines on a plain ground, in order, anti-aliased."""
    height, width = shape
    large = np.full((height * FINER, width * FINER, 3), ground, dtype=np.uint8)
    for colour, outline in shapes:
        points = np.rint(np.array(outline) * FINER - 0.5).astype(np.int32)
        cv2.fillPoly(large, [points], colour)
    return np.asarray(cv2.resize(large, (width, height), interpolation=cv2.INTER_AREA))


def noisy(crop: NDArray[np.uint8], sigma: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """The crop with Gaussian noise of `sigma` grey levels."""
    return np.clip(np.rint(crop + rng.normal(0.0, sigma, crop.shape)), 0, 255).astype(np.uint8)


def rectangle(left: float, top: float, right: float, bottom: float) -> Outline:
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def bar(start: tuple[float, float], end: tuple[float, float], thick: float) -> Outline:
    """A straight bar from one point to another."""
    (x0, y0), (x1, y1) = start, end
    length = math.hypot(x1 - x0, y1 - y0)
    dx, dy = -(y1 - y0) / length * thick / 2.0, (x1 - x0) / length * thick / 2.0
    return [(x0 + dx, y0 + dy), (x1 + dx, y1 + dy), (x1 - dx, y1 - dy), (x0 - dx, y0 - dy)]


def disc(x: float, y: float, radius: float) -> Outline:
    angles = np.linspace(0.0, 2.0 * math.pi, 180, endpoint=False)
    return [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]


def lever(x: float, line: float, high: float, *, wide: float = 5.0, tilt: float = 0.0) -> Outline:
    """A bar standing on a line, `high` px along its axis, leaning right by `tilt` radians."""
    foot = (x - 4.0 * math.tan(tilt), line + 4.0)
    return bar(foot, (x + high * math.sin(tilt), line - high * math.cos(tilt)), wide)


def dome(x: float, line: float, high: float, wide: float) -> Outline:
    """Upright sides and a round top."""
    angles = np.linspace(math.pi, 2.0 * math.pi, 60)
    cap = [
        (x + wide / 2.0 * math.cos(a), line - high / 2.0 + high / 2.0 * math.sin(a)) for a in angles
    ]
    return [(x - wide / 2.0, line + 2.0), *cap, (x + wide / 2.0, line + 2.0)]


def boiler_top(
    *things: tuple[Colour, Outline],
    line: float = 79.0,
    drop: float = 0.0,
    wall: Colour = WALL,
    boiler: Colour = BLACK,
) -> NDArray[np.uint8]:
    """A boiler whose top falls by `drop` px from left to right, and things above it."""
    height, width = BOILER_TOP
    body = [(0.0, line), (width, line + drop), (width, height + 1.0), (0.0, height + 1.0)]
    return drawn(BOILER_TOP, wall, [*things, (boiler, body)])


def wheel(x: float, radius: float, *, spokes: int = 12) -> list[tuple[Colour, Outline]]:
    """A red spoked wheel with a bright tyre, standing on the lower edge of side rods."""
    y = SIDE_RODS[0] - radius
    parts = [
        (STEEL, disc(x, y, radius)),
        (RED, disc(x, y, 0.92 * radius)),
        (BLACK, disc(x, y, 0.78 * radius)),
    ]
    for angle in np.arange(spokes) * (2.0 * math.pi / spokes) + 0.13:
        tip = (x + 0.85 * radius * math.cos(angle), y + 0.85 * radius * math.sin(angle))
        parts.append((RED, bar((x, y), tip, 3.0)))
    return parts


def side_rods(*things: tuple[Colour, Outline]) -> NDArray[np.uint8]:
    return drawn(SIDE_RODS, (52, 50, 48), things)


def running_board(
    *runs: tuple[float, float],
    colour: Colour = CREAM,
    thick: float = 4.0,
    middle: float = 32.0,
    step: tuple[float, float] | None = None,
) -> NDArray[np.uint8]:
    """A black board on a dark ground with a stripe over the given runs of columns.

    `step`, a column and a rise, lifts stripe and board from that column on.
    """
    height, width = RUNNING_BOARD
    shapes: list[tuple[Colour, Outline]] = [
        ((74, 78, 84), rectangle(0, 0, width, middle - 9.0)),
        ((60, 54, 50), rectangle(0, middle + 12.0, width, height + 1.0)),
    ]
    for left, right in runs:
        pieces = [(left, right, middle)]
        if step is not None and left < step[0] < right:
            pieces = [(left, step[0], middle), (step[0], right, middle - step[1])]
        for start, stop, row in pieces:
            shapes.append((colour, rectangle(start, row - thick / 2.0, stop, row + thick / 2.0)))
    return drawn(RUNNING_BOARD, BLACK, shapes)
