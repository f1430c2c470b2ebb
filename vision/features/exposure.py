"""Is there enough light and sharpness in a crop to judge it at all."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.crop import checked_crop, grey
from vision.records import Measurement

# Level of any channel from which a pixel counts as clipped: 8-bit JPEG of a clipped
# area rings by a few levels. Chosen, no source.
CLIPPED_FROM_LEVEL = 250
# Level of the brightest channel up to which a pixel counts as near black: 16 is the
# foot of the nominal range in ITU-R BT.601.
NEAR_BLACK_TO_LEVEL = 16
_LEVELS = np.arange(256, dtype=np.float64)


def measure_sharpness(crop: NDArray[Any]) -> tuple[Measurement, ...]:
    """How sharp a crop is.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB

    Returns
    -------
    tuple of Measurement
        sharpness_laplacian_variance [grey level squared], of the 4-neighbour Laplacian;
        sharpness_ratio [1], the same over the variance of the grey levels themselves,
        which does not grow with contrast (20 for white noise, near 0 for blur; 0
        for a flat crop).

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).

    Notes
    -----
    Variance of the Laplacian: Pech-Pacheco, Cristobal, Chamorro-Martinez &
    Fernandez-Valdivia, "Diatom autofocusing in brightfield microscopy", ICPR 2000.
    """
    levels = grey(checked_crop(crop))
    laplacian_variance = _variance(cv2.Laplacian(levels, cv2.CV_32F, ksize=1))
    variance = _variance(levels)
    return (
        Measurement("sharpness_laplacian_variance", laplacian_variance, "grey level^2"),
        Measurement("sharpness_ratio", laplacian_variance / variance if variance else 0.0, "1"),
    )


def measure_exposure(crop: NDArray[Any]) -> tuple[Measurement, ...]:
    """How a crop is lit.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB

    Returns
    -------
    tuple of Measurement
        exposure_clipped [share of pixels], any channel at 250 or above;
        exposure_near_black [share of pixels], every channel at 16 or below;
        exposure_contrast [1], standard deviation of grey over 255 (0 to 0.5);
        exposure_range [1], 5th to 95th percentile of grey over 255;
        exposure_mean [1], mean grey over 255.

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).

    Notes
    -----
    RMS contrast: Peli, "Contrast in complex images", J. Opt. Soc. Am. A 7(10), 1990.
    """
    pixels = checked_crop(crop)
    red, green, blue = cv2.split(pixels)
    brightest = cv2.max(cv2.max(red, green), blue)
    levels = grey(pixels)
    # The levels' own histogram gives the percentiles in a tenth of the time of a sort.
    counts = cv2.calcHist([levels], [0], None, [256], [0, 256]).ravel().astype(np.float64)
    below = np.cumsum(counts) / levels.size
    mean = float(counts @ _LEVELS) / levels.size
    deviation = math.sqrt(float(counts @ np.square(_LEVELS - mean)) / levels.size)
    low, high = (int(np.searchsorted(below, share)) for share in (0.05, 0.95))
    clipped = float(np.count_nonzero(brightest >= CLIPPED_FROM_LEVEL) / levels.size)
    near_black = float(np.count_nonzero(brightest <= NEAR_BLACK_TO_LEVEL) / levels.size)
    return (
        Measurement("exposure_clipped", clipped, "share"),
        Measurement("exposure_near_black", near_black, "share"),
        Measurement("exposure_contrast", deviation / 255.0, "1"),
        Measurement("exposure_range", (high - low) / 255.0, "1"),
        Measurement("exposure_mean", mean / 255.0, "1"),
    )


def _variance(values: NDArray[Any]) -> float:
    return float(cv2.meanStdDev(values)[1][0, 0]) ** 2
