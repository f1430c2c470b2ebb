"""Taking the path tracer's grain out of a picture, more or less, as phones do theirs."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_PLAIN_SHARE = 0.25  # pictures left as grainy as they came


def quieten(rng: np.random.Generator, linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """Non-local means (Buades et al. 2005) in square-root brightness, of random strength.

    Parameters
    ----------
    rng : Generator
    linear : ndarray, shape (H, W, 3), float32, linear radiance

    Returns
    -------
    ndarray, like `linear`; highlights beyond the encoded range are kept.
    """
    strength, chance = float(rng.uniform(4, 13)), float(rng.random())
    if chance < _PLAIN_SHARE:
        return linear
    white = max(float(np.percentile(linear, 98.0)), 1e-6)
    coded = np.sqrt(np.clip(linear / white, 0.0, 1.0))
    quiet = cv2.fastNlMeansDenoisingColored(
        np.round(coded * 255).astype(np.uint8), None, strength, strength, 5, 13
    )
    back = np.square(quiet.astype(np.float32) / 255.0) * white
    result: NDArray[np.float32] = np.where(linear > white, linear, back).astype(np.float32)
    return result
