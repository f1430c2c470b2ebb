"""Is there enough light and sharpness in a crop to judge it at all."""

from __future__ import annotations

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
        which does not grow with contrast (4 to 20 for white noise, near 0 for blur; 0
        for a flat crop);
        sharpness_gradient [grey level per px], the 95th percentile of the gradient.

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).

    Notes
    -----
    Variance of the Laplacian: Pech-Pacheco, Cristobal, Chamorro-Martinez &
    Fernandez-Valdivia, "Diatom autofocusing in brightfield microscopy", ICPR 2000.
    """
    levels = grey(checked_crop(crop)).astype(np.float32)
    laplacian_variance = float(cv2.Laplacian(levels, cv2.CV_32F, ksize=1).var())
    variance = float(levels.var())
    # Sobel weighs its three rows 1, 2, 1 over a distance of 2: an eighth is per pixel.
    across = cv2.Sobel(levels, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    down = cv2.Sobel(levels, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    gradient = float(np.percentile(cv2.magnitude(across, down), 95))
    return (
        Measurement("sharpness_laplacian_variance", laplacian_variance, "grey level^2"),
        Measurement("sharpness_ratio", laplacian_variance / variance if variance else 0.0, "1"),
        Measurement("sharpness_gradient", gradient, "grey level/px"),
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
    brightest = pixels.max(axis=2)
    levels = grey(pixels)
    low, high = np.percentile(levels, (5, 95))
    return (
        Measurement("exposure_clipped", float((brightest >= CLIPPED_FROM_LEVEL).mean()), "share"),
        Measurement(
            "exposure_near_black", float((brightest <= NEAR_BLACK_TO_LEVEL).mean()), "share"
        ),
        Measurement("exposure_contrast", float(levels.std() / 255.0), "1"),
        Measurement("exposure_range", float((high - low) / 255.0), "1"),
        Measurement("exposure_mean", float(levels.mean() / 255.0), "1"),
    )
