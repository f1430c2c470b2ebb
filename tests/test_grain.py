"""Grain: how much there is, and crops without it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage
from skimage import data
from skimage.metrics import peak_signal_noise_ratio
from skimage.restoration import estimate_sigma

from vision.features.grain import GRAINY, grain, without_grain


def picture() -> NDArray[np.uint8]:
    """scikit-image's astronaut, softened as a lens does, 384 x 112."""
    soft = ndimage.gaussian_filter(data.astronaut().astype(float), (1.5, 1.5, 0))
    return np.round(soft[60:172, 60:444]).astype(np.uint8)


def grainy(sigma: float, seed: int = 3) -> NDArray[np.uint8]:
    rng = np.random.default_rng(seed)
    noisy = picture() + rng.normal(0, sigma, picture().shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("sigma", [8.0, 15.0, 25.0])
def test_planted_grain_is_measured_as_scikit_image_does(sigma: float) -> None:
    """Against skimage.restoration.estimate_sigma (wavelets), on the grey picture."""
    crop = grainy(sigma)
    weights = np.array([0.299, 0.587, 0.114])  # ITU-R BT.601
    expected = float(estimate_sigma(crop @ weights))
    assert grain(crop) == pytest.approx(expected, rel=0.12)


def test_a_picture_without_grain_is_left_as_it_is() -> None:
    clean = picture()
    assert grain(clean) < GRAINY
    assert without_grain(clean) is clean


@pytest.mark.parametrize("sigma", [15.0, 30.0])
def test_grain_is_taken_away_and_the_picture_stays(sigma: float) -> None:
    """Nearer to the picture before the grain, by scikit-image's signal-to-noise ratio."""
    clean, noisy = picture(), grainy(sigma)
    even = without_grain(noisy)
    before = peak_signal_noise_ratio(clean, noisy)
    assert peak_signal_noise_ratio(clean, even) > before + 2.0
    assert even.shape == noisy.shape and even.dtype == np.uint8


def test_a_crop_of_another_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="crop"):
        grain(np.zeros((4, 4)))
