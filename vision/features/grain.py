"""Strong grain: how much of it there is, and a crop without most of it."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.crop import checked_crop, grey
from vision.records import Pixels

# Grey levels from which a crop is too grainy to be judged as it is. Straightened crops of the
# studio's own pictures, grain and all, nearly all stay below it; by severity 3 of the usual
# yardstick of spoilt pictures most lie above twice as much.
GRAINY = 2.0
# Strength in grey levels, patch and search window in px; by trial on spoilt renders.
_STRENGTH, _PATCH, _SEARCH = 40.0, 3, 9
_SECOND_DIFFERENCE = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)


def grain(crop: NDArray[Any]) -> float:
    """Standard deviation of the grain, grey levels.

    Edges and slopes hardly count: J. Immerkaer, "Fast noise variance estimation", Computer
    Vision and Image Understanding 64(2), 1996.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8 RGB

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).
    """
    levels = grey(checked_crop(crop)).astype(np.float32)
    left = np.abs(cv2.filter2D(levels, -1, _SECOND_DIFFERENCE)[1:-1, 1:-1])
    return float(np.sqrt(np.pi / 2) * left.mean() / 6.0)


def without_grain(crop: Pixels) -> Pixels:
    """The crop itself, or where it is grainy the crop with its grain averaged away.

    Like patches near by are averaged: A. Buades, B. Coll, J.-M. Morel, "A non-local algorithm
    for image denoising", CVPR 2005.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8 RGB

    Returns
    -------
    ndarray, shape (H, W, 3), uint8 RGB
    """
    if grain(crop) < GRAINY:
        return crop
    even: Any = cv2.fastNlMeansDenoisingColored(
        np.ascontiguousarray(crop), None, _STRENGTH, _STRENGTH, _PATCH, _SEARCH
    )
    return np.asarray(even, dtype=np.uint8)
