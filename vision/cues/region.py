"""How long and how slender a region is, and how it lies in the picture."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from vision.records import Box, Region

# Share of its own width or height within which an engine reaches the picture's edge: of the
# demo engines with a tenth to a half cut off 175 of 197 did, with a hundredth or more to spare
# 3 of 208. And share of a region's length within which the region does; by eye on the same.
_AT_EDGE, _NEAR_EDGE = 0.005, 0.15


def region_length(quad: Region) -> float:
    """Length of a region from front to rear in pixels of the photo."""
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = quad
    return (math.hypot(x1 - x0, y1 - y0) + math.hypot(x2 - x3, y2 - y3)) / 2.0


def slenderness(quad: Region) -> float:
    """Length of a region over its height: small where the engine is seen end-on."""
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = quad
    height = (math.hypot(x3 - x0, y3 - y0) + math.hypot(x2 - x1, y2 - y1)) / 2.0
    return region_length(quad) / max(height, 1e-6)


def share_inside(quad: Region, size: tuple[int, int]) -> float:
    """Share of a grid of points over the region that lies inside a picture of `size`."""
    points = _grid_weights() @ np.asarray(quad, dtype=np.float64)
    return float(np.mean(np.all((points >= 0) & (points < np.asarray(size)), axis=1)))


def is_at_edge(quad: Region, engine: Box, size: tuple[int, int]) -> bool:
    """Whether the picture's edge cuts an engine off where a region of it lies.

    Of an engine that is cut off the corners often lie just within the edge, however far the
    region goes on beyond it. A region that only ends near the edge is no such one: the engine
    must reach that edge too.

    Parameters
    ----------
    quad : Region
    engine : Box
        The engine without its tender. Both in pixels of the upright photo.
    size : (int, int)
        Width and height of the photo, pixels.
    """
    near, region = _NEAR_EDGE * region_length(quad), Box.around(quad)
    width, height = size
    across, down = _AT_EDGE * engine.width, _AT_EDGE * engine.height
    return (
        (engine.left <= across and region.left <= near)
        or (engine.top <= down and region.top <= near)
        or (width - engine.right <= across and width - region.right <= near)
        or (height - engine.bottom <= down and height - region.bottom <= near)
    )


@functools.cache
def _grid_weights() -> NDArray[np.float64]:
    """What each corner of a region counts for at each point of a grid over it: (65, 4)."""
    u, v = np.meshgrid(np.linspace(0.05, 0.95, 13), np.linspace(0.25, 0.75, 5))
    weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=-1)
    return weights.reshape(-1, 4)
