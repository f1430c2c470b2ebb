"""What every measurement needs of a crop: the check at the door, grey, CIELAB."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import Pixels

# Fewest rows and columns on which the kernels below still fit (the widest looks
# 10 % of the height to either side); chosen, no source.
MIN_ROWS = 32
MIN_COLUMNS = 64


def checked_crop(crop: NDArray[Any]) -> Pixels:
    """The same array, once it is known to be an RGB crop.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB
        H >= 32, W >= 64. May be read-only.

    Raises
    ------
    ValueError
        Naming what was got and what was expected.
    """
    if not isinstance(crop, np.ndarray):
        raise ValueError(f"crop: ndarray expected, got {type(crop).__name__}")
    if crop.dtype != np.uint8:
        raise ValueError(f"crop: dtype uint8 expected, got {crop.dtype}")
    if crop.ndim != 3 or crop.shape[2] != 3:
        raise ValueError(f"crop: shape (H, W, 3) expected, got {crop.shape}")
    if crop.shape[0] < MIN_ROWS or crop.shape[1] < MIN_COLUMNS:
        raise ValueError(
            f"crop: at least {MIN_ROWS} rows and {MIN_COLUMNS} columns expected, got {crop.shape}"
        )
    return np.ascontiguousarray(crop)


def grey(crop: Pixels) -> Pixels:
    """Luma of an RGB crop, (H, W) uint8, with the weights of ITU-R BT.601."""
    return np.asarray(cv2.cvtColor(crop, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def cielab(crop: Pixels) -> NDArray[np.float32]:
    """CIELAB of an sRGB crop under D65, (H, W, 3) float32: L 0..100, a, b about +-100."""
    unit = crop.astype(np.float32) / np.float32(255.0)
    return np.asarray(cv2.cvtColor(unit, cv2.COLOR_RGB2LAB), dtype=np.float32)


def cielab_coded(crop: Pixels) -> Pixels:
    """As `cielab`, in bytes: L times 2.55, a and b plus 128; in two thirds of the time."""
    return np.asarray(cv2.cvtColor(crop, cv2.COLOR_RGB2LAB), dtype=np.uint8)


def length_of(vectors: NDArray[Any]) -> NDArray[np.float32]:
    """Euclidean length over the last axis; of a difference in CIELAB, its CIE76."""
    # einsum: a plain sum over an axis of three takes four times as long.
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", vectors, vectors)), dtype=np.float32)


def coded_length(differences: NDArray[np.uint8] | NDArray[np.float32]) -> NDArray[np.float32]:
    """CIE76 of differences between `cielab_coded` colours, shape (H, W, 3): (H, W)."""
    squares = cv2.multiply(differences, differences, dtype=cv2.CV_32F)
    summed = cv2.transform(squares, np.array([[(100.0 / 255.0) ** 2, 1.0, 1.0]], np.float32))
    return np.asarray(cv2.sqrt(summed), dtype=np.float32)


def columns_joined(pixels: Pixels, many: int) -> Pixels:
    """Each `many` neighbouring columns averaged into one: (H, W // many, 3)."""
    height, width = pixels.shape[:2]
    size = (width // many, height)
    joined = cv2.resize(pixels[:, : width // many * many], size, interpolation=cv2.INTER_AREA)
    return np.asarray(joined, dtype=np.uint8)


def odd(length: float) -> int:
    """The odd whole number nearest above `length`, at least 3: a kernel with a centre."""
    return max(3, 2 * int(np.ceil((length - 1.0) / 2.0)) + 1)
