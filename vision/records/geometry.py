"""Boxes and regions in pixels of the upright photo."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Point = tuple[float, float]
Region = tuple[Point, Point, Point, Point]


@dataclass(frozen=True, slots=True)
class Box:
    """An axis-aligned rectangle in pixels of the upright photo, half-open."""

    left: float
    top: float
    right: float
    bottom: float

    def __post_init__(self) -> None:
        edges = (self.left, self.top, self.right, self.bottom)
        if not all(math.isfinite(edge) for edge in edges):
            raise ValueError(f"box: finite edges expected, got {edges}")
        if self.right < self.left or self.bottom < self.top:
            raise ValueError(f"box: left <= right and top <= bottom expected, got {edges}")

    @classmethod
    def around(cls, points: Iterable[Point]) -> Box:
        """The smallest upright box that holds points, at least one."""
        xs, ys = zip(*points, strict=True)
        return cls(min(xs), min(ys), max(xs), max(ys))

    @property
    def corners(self) -> Region:
        """Upper left, upper right, lower right, lower left."""
        return (
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
        )

    @property
    def width(self) -> float:
        """Right minus left, pixels."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Bottom minus top, pixels."""
        return self.bottom - self.top

    @property
    def area(self) -> float:
        """Square pixels."""
        return self.width * self.height

    @property
    def centre(self) -> Point:
        """Middle of the box."""
        return ((self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0)

    def shared_with(self, other: Box) -> float:
        """Area that this box and `other` have in common, square pixels."""
        width = min(self.right, other.right) - max(self.left, other.left)
        height = min(self.bottom, other.bottom) - max(self.top, other.top)
        return width * height if width > 0 and height > 0 else 0.0

    def intersection_over_union(self, other: Box) -> float:
        """Area shared with `other` over area covered by either, 0 to 1."""
        shared = self.shared_with(other)
        return shared / (self.area + other.area - shared) if shared else 0.0

    def gaps_to(self, other: Box) -> tuple[float, float, float, float]:
        """How far this box lies to the left and right of `other`, above and below it, pixels.

        The widest is the gap between the two; all are negative where they overlap.
        """
        return (
            other.left - self.right,
            self.left - other.right,
            other.top - self.bottom,
            self.top - other.bottom,
        )

    def clipped(self, width: float, height: float) -> Box:
        """The part of this box inside a picture of `width` by `height` pixels."""
        left, right = (min(max(x, 0.0), width) for x in (self.left, self.right))
        top, bottom = (min(max(y, 0.0), height) for y in (self.top, self.bottom))
        return Box(left, top, right, bottom)

    def scaled(self, factor: float) -> Box:
        """This box in a picture resized by `factor`."""
        return Box(*(edge * factor for edge in self.as_tuple()))

    def padded(self, share: float) -> Box:
        """This box grown on every side by `share` of its width and height."""
        dx, dy = self.width * share, self.height * share
        return Box(self.left - dx, self.top - dy, self.right + dx, self.bottom + dy)

    def as_tuple(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        return (self.left, self.top, self.right, self.bottom)
