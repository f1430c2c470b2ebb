"""Red against green, for what differs in hue and not in brightness: brass figures on red."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.features.crop import cielab_coded
from vision.records import Pixels

# CIE a* from which on paint is reddish, and the range of it over which red stands out from
# what is round it. Chosen on renders: red plates that hue alone made legible had 21 to 53,
# over 24 to 70.
_RED, _RANGE = 15.0, 20.0
_NEUTRAL = 128.0  # a* = 0, coded
_ENDS = (1.0, 99.0)  # percentiles
_NARROWEST = 16.0  # no smaller range of a* is stretched over all greys


def has_red(pixels: Pixels, *, beyond: int) -> bool:
    """Whether something red stands out from its surroundings.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
    beyond : int
        Grey level of pixels that lie beyond the photo, and do not count.
    """
    _, (low, high), _ = _red_green(pixels, beyond)
    return high - _NEUTRAL >= _RED and high - low >= _RANGE


def by_hue(pixels: Pixels, *, beyond: int) -> Pixels:
    """A grey picture of CIE a*: from green, which is white, to red, which is black.

    Cast figures are brass on a red ground, and either is the brighter as the light falls
    (common practice, no source); their hues stay apart.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8 RGB
    beyond : int
        Grey level of pixels that lie beyond the photo, and stay as they are.

    Returns
    -------
    ndarray, shape (height, width, 3), uint8
        All three channels alike, stretched over all greys.
    """
    axis, (low, high), shown = _red_green(pixels, beyond)
    share = np.clip((axis - low) / max(high - low, _NARROWEST), 0.0, 1.0)
    grey = (255.0 * (1.0 - share)).astype(np.uint8)
    return np.where(shown[..., None], grey[..., None], pixels)


def _red_green(
    pixels: Pixels, beyond: int
) -> tuple[NDArray[np.float32], tuple[float, float], NDArray[np.bool_]]:
    """CIE a*, coded, its two ends, and which pixels belong to the photo."""
    axis = cielab_coded(pixels)[..., 1].astype(np.float32)
    shown: NDArray[np.bool_] = (pixels != beyond).any(axis=2)
    low, high = np.percentile(axis[shown] if shown.any() else axis, _ENDS)
    return axis, (float(low), float(high)), shown
