"""A closer look at the place where a guide says that a casting has its lever."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.features import without_grain
from vision.network import Network
from vision.records import Photo
from vision.rectify import Crop, region_crop

_NEAR, _CLEAR = "near_", "clear_"
# How far a place asked for may lie from one looked at, share of the region's length: what
# writing a place with three figures may shift it by.
_SAME = 0.001


def look_closely(
    photo: Photo,
    crop: Crop,
    ends: NDArray[np.float32] | Sequence[float],
    places: Iterable[float],
    loupe: Network,
) -> dict[str, float]:
    """Log odds that the part stands at each of some places, and that it would be seen there.

    The first by the names that `places_in` reads, the second by `clear_name` of these.

    Parameters
    ----------
    photo : Photo
    crop : Crop
        The straightened region, of the judge's size.
    ends : (float, float)
        Columns of the crop, pixels, between which the region truly lies.
    places : iterable of float
        Shares of the region's length from its front. One about which nothing can be
        straightened is left out.
    loupe : Network
        Shown a square of the crop, as high as that is, the place in its middle.
    """
    height = float(crop.pixels.shape[0])
    front, rear = (float(end) for end in ends)
    out: dict[str, float] = {}
    for place in places:
        left = front + place * (rear - front) - height / 2
        right = left + height
        a, b, c, d = crop.photo_points(((left, 0.0), (right, 0.0), (right, height), (left, height)))
        try:
            view = region_crop(photo, (a, b, c, d), loupe.size)
        except ValueError:
            continue
        stands, seen = (float(x) for x in loupe.run(without_grain(view.pixels))["decision"])
        name = f"{_NEAR}{place:.4f}"
        out |= {name: stands, clear_name(name): seen}
    return out


def clear_name(name: str) -> str:
    """Name of the log odds that a part would be seen where one of `places_in`'s names says."""
    return _CLEAR + name.removeprefix(_NEAR)


def closely_named(names: Iterable[str]) -> set[str]:
    """Of the names of all evidence, those of what a loupe said."""
    return {name for name in names if name.startswith((_NEAR, _CLEAR))}


def places_in(names: Iterable[str]) -> dict[str, float]:
    """The places looked at closely, by their names among those of all evidence."""
    return {name: float(name.removeprefix(_NEAR)) for name in names if name.startswith(_NEAR)}


def same_place(one: float, other: float) -> bool:
    """Whether two places are one and the same, but for how they are written."""
    return abs(one - other) <= _SAME
