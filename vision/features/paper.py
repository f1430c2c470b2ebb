"""Whether a picture of an engine is drawn on plain paper."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.crop import checked_crop, odd
from vision.records import Measurement, Pixels

# Levels that one tint of paper may differ by, and the darkest that paper is. By eye, on
# engines of drawn pictures turned into lines, and on the same pictures as they were.
_ONE_TINT, _PAPER_FROM = 25, 190
_THICK = 48  # of a crop's width, as a part of which a line is no line but a surface
_MOST_TINTED = 95.0  # percentile of the pixels by which the colours are judged


def measure_paper(crop: NDArray[Any]) -> tuple[Measurement, ...]:
    """How much of a crop is of one light tint, how solid the rest, and how far colours differ.

    A photo shades a surface, however white it is, and what stands cut out before white is
    solid; between the lines of a drawing lies paper.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB

    Returns
    -------
    tuple of Measurement
        paper_share [1], of pixels of the commonest light tint; solid_share [1], of all darker
        pixels those further inside than a line is thick, 1 where there are none; colour_spread
        [grey level], how far the channels of most pixels differ from each other, apart from
        the paper's own tint.

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).
    """
    pixels = checked_crop(crop)
    levels = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    counts = np.bincount(levels.ravel(), minlength=256) / levels.size
    tints = np.convolve(counts, np.ones(_ONE_TINT), mode="same")
    tint = _PAPER_FROM + int(np.argmax(tints[_PAPER_FROM:]))
    return (
        Measurement("paper_share", float(tints[tint]), "1"),
        Measurement("solid_share", _solid(levels < tint - _ONE_TINT // 2), "1"),
        Measurement("colour_spread", colour_spread(pixels), "grey level"),
    )


def colour_spread(pixels: Pixels) -> float:
    """How far the channels of most pixels differ from each other, grey levels.

    Apart from the tint that all have in common.

    Parameters
    ----------
    pixels : ndarray, shape (H, W, 3), uint8, RGB
    """
    tinted = pixels.astype(np.int16) - np.median(pixels.reshape(-1, 3), axis=0).astype(np.int16)
    return float(np.percentile(np.ptp(tinted, axis=2), _MOST_TINTED))


def _solid(dark: NDArray[np.bool_]) -> float:
    """Share of the dark pixels that are left where all surfaces lose their rims."""
    if not dark.any():
        return 1.0
    side = odd(dark.shape[1] / _THICK)
    left = cv2.erode(dark.astype(np.uint8), np.ones((side, side), np.uint8))
    return float(left.sum()) / float(dark.sum())
