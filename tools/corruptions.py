"""Seven kinds of picture corruption, graded, as a published yardstick defines them.

Kinds and severity constants follow D. Hendrycks and T. Dietterich, "Benchmarking Neural
Network Robustness to Common Corruptions and Perturbations", ICLR 2019,
arXiv:1903.12261, section 3 and the constants of the authors' ImageNet-C generation
script (checked against a stored copy of that script). Its pictures are 224 x 224: noise a
pixel and blur in pixels. Both are so here too, whatever the picture's size; of the blurs
there is a second kind, `GROWN`, whose radii grow with the picture, so that the same share
of what it shows is smeared.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
REFERENCE_PX = 224
GAUSSIAN_SIGMA = (0.08, 0.12, 0.18, 0.26, 0.38)  # of full scale
SHOT_PHOTONS = (60, 25, 12, 5, 3)  # at full scale
DEFOCUS = ((3, 0.1), (4, 0.5), (6, 0.5), (8, 0.5), (10, 0.5))  # radius px, rim sigma px
MOTION = ((10, 3), (15, 5), (15, 8), (15, 12), (20, 15))  # radius px, sigma px
JPEG_QUALITY = (25, 18, 15, 10, 7)
BRIGHTNESS_SHIFT = (0.1, 0.2, 0.3, 0.4, 0.5)  # added to the HSV value
FOG = ((1.5, 2.0), (2.0, 2.0), (2.5, 1.7), (2.5, 1.5), (3.0, 1.4))  # density, decay


def _whole(unit: NDArray[np.floating]) -> Picture:
    return np.clip(np.round(unit * 255), 0, 255).astype(np.uint8)


def _grown(blur: Callable[..., Picture]) -> Callable[..., Picture]:
    """The same blur with radii that grow with the picture's shorter side."""

    def blurred(rng: np.random.Generator, picture: Picture, severity: int) -> Picture:
        return blur(rng, picture, severity, growth=min(picture.shape[:2]) / REFERENCE_PX)

    return blurred


def gaussian_noise(rng: np.random.Generator, picture: Picture, severity: int) -> Picture:
    sigma = GAUSSIAN_SIGMA[severity - 1]
    return _whole(picture / 255.0 + rng.normal(0, sigma, picture.shape))


def shot_noise(rng: np.random.Generator, picture: Picture, severity: int) -> Picture:
    photons = SHOT_PHOTONS[severity - 1]
    return _whole(rng.poisson(picture / 255.0 * photons) / photons)


def defocus_blur(
    rng: np.random.Generator, picture: Picture, severity: int, *, growth: float = 1.0
) -> Picture:
    radius, rim = (v * growth for v in DEFOCUS[severity - 1])
    half = int(np.ceil(radius)) + 2
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    disc = (np.hypot(x, y) <= radius).astype(np.float32)
    disc = cv2.GaussianBlur(disc, (0, 0), max(rim, 0.05))
    return cv2.filter2D(picture, -1, disc / disc.sum(), borderType=cv2.BORDER_REFLECT)


def motion_blur(
    rng: np.random.Generator, picture: Picture, severity: int, *, growth: float = 1.0
) -> Picture:
    """One-sided Gaussian streak at -45..45 degrees."""
    radius, sigma = (v * growth for v in MOTION[severity - 1])
    angle = rng.uniform(-np.pi / 4, np.pi / 4)
    half = int(np.ceil(radius))
    streak = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    for step in np.arange(0, radius, 0.25):
        x, y = half + step * np.cos(angle), half + step * np.sin(angle)
        streak[round(y), round(x)] += np.exp(-0.5 * (step / sigma) ** 2)
    return cv2.filter2D(picture, -1, streak / streak.sum(), borderType=cv2.BORDER_REFLECT)


def jpeg_compression(rng: np.random.Generator, picture: Picture, severity: int) -> Picture:
    return jpeg(picture, JPEG_QUALITY[severity - 1])


def jpeg(picture: Picture, quality: int) -> Picture:
    """The RGB `picture` after one JPEG round trip at `quality` 1..100."""
    flags = [cv2.IMWRITE_JPEG_QUALITY, int(quality)]
    coded = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), flags)[1]
    return cv2.cvtColor(cv2.imdecode(coded, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def brightness(rng: np.random.Generator, picture: Picture, severity: int) -> Picture:
    hsv = cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2HSV)
    hsv[..., 2] = np.clip(hsv[..., 2] + BRIGHTNESS_SHIFT[severity - 1], 0, 1)
    return _whole(cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB))


def plasma(rng: np.random.Generator, side: int, decay: float) -> NDArray[np.float64]:
    """Square plasma fractal in 0..1, `side` a power of two: averages plus falling noise.

    Each octave doubles the grid by interpolation and adds uniform noise whose size is
    divided by `decay`; the classic diamond-square gives the same spectrum.
    """
    field = rng.uniform(-1, 1, (3, 3))
    size, wobble = 4, 1.0
    while size <= side:
        wobble /= decay
        field = cv2.resize(field, (size, size), interpolation=cv2.INTER_LINEAR)
        field = field + wobble * rng.uniform(-1, 1, field.shape)
        size *= 2
    field -= field.min()
    return field / field.max()


def fog(rng: np.random.Generator, picture: Picture, severity: int) -> Picture:
    density, decay = FOG[severity - 1]
    height, width = picture.shape[:2]
    side = 1 << int(np.ceil(np.log2(max(height, width))))
    bank = plasma(rng, side, decay)[:height, :width, None]
    unit = picture / 255.0
    brightest = max(float(unit.max()), 1e-3)
    return _whole((unit + density * bank) * brightest / (brightest + density))


CORRUPTIONS: dict[str, Callable[[np.random.Generator, Picture, int], Picture]] = {
    "gaussian_noise": gaussian_noise,
    "shot_noise": shot_noise,
    "defocus_blur": defocus_blur,
    "motion_blur": motion_blur,
    "jpeg_compression": jpeg_compression,
    "brightness": brightness,
    "fog": fog,
    "defocus_blur_grown": _grown(defocus_blur),
    "motion_blur_grown": _grown(motion_blur),
}
GROWN = ("defocus_blur_grown", "motion_blur_grown")  # harder than the paper's on large pictures


def corrupt(rng: np.random.Generator, picture: Picture, kind: str, severity: int) -> Picture:
    """`picture` spoilt in one way.

    Parameters
    ----------
    rng : Generator
    picture : ndarray, shape (H, W, 3), uint8, sRGB
    kind : str
        A key of `CORRUPTIONS`.
    severity : int
        1 (slight) to 5 (heavy), the paper's scale.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8

    Raises
    ------
    ValueError
        For an unknown kind or a severity outside 1..5.
    """
    if kind not in CORRUPTIONS:
        raise ValueError(f"kind: expected one of {tuple(CORRUPTIONS)}, got {kind!r}")
    if not 1 <= severity <= 5:
        raise ValueError(f"severity: expected 1..5, got {severity}")
    return CORRUPTIONS[kind](rng, picture, severity)
