"""From rendered light to the pixels of a snapshot: exposure, lens, sensor, phone, file.

Stages run in the order light meets them: lens (blur, colour fringes, fall-off, haze,
flash), sensor (exposure, white balance, noise), phone (noise removal, tone, colour,
sharpening), file (scaling, JPEG). Ranges are chosen by eye and from common practice.
`develop` moves nothing; `frame` (in `tools.prints`) adds borders and says how coordinates move.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.corruptions import CORRUPTIONS, corrupt, jpeg
from tools.focus import spread
from tools.prints import LUMA, frame, monochrome, old_print, reflect

__all__ = ["CORRUPTIONS", "corrupt", "develop", "frame", "reflect"]

Light = NDArray[np.float32]
Picture = NDArray[np.uint8]
MIDDLE_GREY = 0.18  # linear reflectance that automatic exposure aims at
CODES = 4095  # steps of the tone table: a 12-bit sensor


def _luma(light: Light) -> Light:
    return cv2.transform(light, LUMA)


def _meter(rng: np.random.Generator, light: Light) -> float:
    """Gain of a centre-weighted meter with its error, about +-0.5 stop."""
    small = cv2.resize(light, (32, 24), interpolation=cv2.INTER_AREA)
    bright = np.clip(small @ LUMA[0], 1e-4, None)
    y, x = np.mgrid[-1:1:24j, -1:1:32j]
    weight = 0.4 + np.exp(-2 * (x**2 + y**2))
    mean = float(np.exp((weight * np.log(bright)).sum() / weight.sum()))
    # Meters hold back when the brightest parts would burn out.
    peak = float(np.percentile(bright, 92))
    gain = MIDDLE_GREY / mean
    return float(min(gain, rng.uniform(2.0, 8.0) / peak) * 2 ** rng.normal(0.2, 0.4))


def _balance(rng: np.random.Generator, light: Light, severity: float) -> NDArray[np.float32]:
    """Channel gains: part of a grey-world correction, and a cast."""
    mean = light.reshape(-1, 3).mean(0) + 1e-6
    grey = (mean[1] / mean) ** rng.uniform(0.4, 1.0)
    cast = np.exp(rng.normal(0, 0.05 * severity, 3))
    warm = np.exp(rng.normal(0, 0.09 * severity))
    return (grey * cast * [warm, 1.0, 1 / warm]).astype(np.float32)


def _blur_lens(rng: np.random.Generator, light: Light, severity: float) -> Light:
    """Defocus, shake and the lens's own softness, in pixels of the picture's size."""
    unit = max(light.shape[:2]) / 640.0
    sigma = unit * rng.uniform(0.3, 0.8)
    pick = rng.random()
    if pick < 0.12 * severity:
        light = spread(light, max(unit * rng.uniform(0.8, 2.6), 0.6))
    elif pick < 0.22 * severity:
        reach = unit * rng.uniform(2, 8)
        half = int(np.ceil(reach))
        streak = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
        angle, bend = rng.uniform(0, np.pi), rng.normal(0, 0.3)
        for t in np.linspace(-0.5, 0.5, 4 * half + 5):
            x, y = t * reach * np.cos(angle + bend * t), t * reach * np.sin(angle + bend * t)
            streak[half + round(y), half + round(x)] += 1
        light = cv2.filter2D(light, -1, streak / streak.sum(), borderType=cv2.BORDER_REFLECT)
    return cv2.GaussianBlur(light, (0, 0), sigma)


def _fringe(rng: np.random.Generator, light: Light) -> Light:
    """Lateral colour: red and blue a little larger or smaller than green."""
    height, width = light.shape[:2]
    out = light.copy()
    for channel in (0, 2):
        k = 1 + rng.normal(0, 0.0008)
        matrix = np.array([[k, 0, (1 - k) * width / 2], [0, k, (1 - k) * height / 2]])
        out[..., channel] = cv2.warpAffine(
            light[..., channel], matrix, (width, height), borderMode=cv2.BORDER_REPLICATE
        )
    return out


def _falloff(rng: np.random.Generator, light: Light, severity: float) -> Light:
    """Dark corners; now and then a veil of haze or the glow of a direct flash."""
    height, width = light.shape[:2]
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None] * height / width
    radius2 = x**2 + y**2
    gain = 1 / (1 + rng.uniform(0, 0.35) * severity * radius2) ** 2
    if rng.random() < 0.08 * severity:
        spot = (x - rng.normal(0, 0.2)) ** 2 + (y - rng.normal(0, 0.15)) ** 2
        gain = gain * (0.5 + rng.uniform(0.8, 2.0) * np.exp(-2.5 * spot))
    light = light * gain[..., None]
    if rng.random() < 0.10 * severity:
        veil = rng.uniform(0.02, 0.2) * float(light.mean()) * rng.uniform(0.85, 1.15, 3)
        light = light + veil.astype(np.float32)
    return light


def _noise(rng: np.random.Generator, light: Light, level: float) -> Light:
    """Shot and read noise, blotchy in colour as after demosaicing."""
    height, width = light.shape[:2]
    grain = rng.standard_normal((height, width, 3), np.float32)
    softness = rng.uniform(0.35, 0.8)
    # The mosaic is interpolated: neighbouring pixels share noise, colours less sharply.
    grain = cv2.GaussianBlur(grain, (0, 0), softness) * (2.2 * softness)
    coarse = rng.standard_normal((height // 3 + 1, width // 3 + 1, 3), np.float32)
    coarse = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_LINEAR)
    mixed = 0.75 * grain + rng.uniform(0, 0.45) * coarse
    sigma = np.sqrt(np.maximum(_luma(light), 0) * level**2 * 0.5 + (0.15 * level) ** 2)
    return light + mixed * sigma[..., None]


def _tone_table(rng: np.random.Generator, severity: float) -> NDArray[np.uint8]:
    """sRGB codes for 0..CODES linear steps: shoulder, contrast, black point."""
    x = np.linspace(0, 2.0, CODES + 1)
    shoulder = rng.uniform(0.5, 0.95)
    # Linear up to the shoulder, then bent to reach 1 at an input of 2.
    over = np.maximum(x - shoulder, 0)
    x = np.where(x < shoulder, x, shoulder + (1 - shoulder) * np.tanh(over / (1 - shoulder)))
    code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    contrast = rng.normal(0.25, 0.3) * min(severity, 1.5)
    code = code + contrast * (code - 0.5) * code * (1 - code) * 2
    black = rng.uniform(-0.03, 0.05)
    return np.clip(np.round(255 * (code * (1 - black) + black)), 0, 255).astype(np.uint8)


def _phone(rng: np.random.Generator, picture: Picture, severity: float) -> Picture:
    """Noise removal smear, local contrast, saturation, sharpening halo."""
    lab = cv2.cvtColor(picture, cv2.COLOR_RGB2LAB)
    light = lab[..., 0]
    if rng.random() < 0.4:
        size = int(rng.choice([3, 5]))
        light = cv2.bilateralFilter(light, size, float(rng.uniform(8, 40)), size)
        lab[..., 1:] = cv2.blur(lab[..., 1:], (5, 5))
    if rng.random() < 0.5:
        wide = cv2.resize(
            cv2.resize(light, (24, 18), interpolation=cv2.INTER_AREA), light.shape[::-1]
        )
        light = cv2.addWeighted(light, 1 + (k := rng.uniform(0.05, 0.35)), wide, -k, 0)
    if rng.random() < 0.7:
        sigma, k = rng.uniform(0.7, 2.0), rng.uniform(0.1, 0.9) * min(severity, 1.5)
        soft = cv2.GaussianBlur(light, (0, 0), sigma)
        light = cv2.addWeighted(light, 1 + k, soft, -k, 0)
    saturation = float(np.clip(rng.normal(1.05, 0.18), 0.4, 1.6))
    table = np.clip(128 + (np.arange(256) - 128.0) * saturation, 0, 255).astype(np.uint8)
    lab[..., 0], lab[..., 1:] = light, cv2.LUT(np.ascontiguousarray(lab[..., 1:]), table)
    return cv2.cvtColor(lab, cv2.COLOR_LAB2RGB)


def _file(rng: np.random.Generator, picture: Picture, severity: float) -> Picture:
    """One or two JPEG generations, the first perhaps at a smaller size."""
    height, width = picture.shape[:2]
    worst = int(np.clip(70 - 35 * severity, 25, 90))
    if rng.random() < 0.25 * min(severity, 2):
        k = rng.uniform(0.5, 0.95)
        small = cv2.resize(picture, (int(k * width), int(k * height)), interpolation=cv2.INTER_AREA)
        small = jpeg(small, int(rng.integers(worst, 96)))
        picture = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    return jpeg(picture, int(rng.integers(worst, 96)))


def develop(
    rng: np.random.Generator, linear: Light, *, severity: float = 1.0, bias_stops: float = 0.0
) -> Picture:
    """A snapshot of rendered light; nothing moves.

    Parameters
    ----------
    rng : Generator
    linear : ndarray, shape (H, W, 3), float32
        Linear RGB radiance, any scale.
    severity : float
        0 for a careful photograph, 1 for what people upload, 2 for poor ones.
    bias_stops : float
        Exposure correction: about +1 for things on white (see `Room.truth`).

    Returns
    -------
    ndarray, shape (H, W, 3), uint8, sRGB

    Raises
    ------
    ValueError
        If `linear` is not (H, W, 3).
    """
    if linear.ndim != 3 or linear.shape[2] != 3:
        raise ValueError(f"linear: expected shape (H, W, 3), got {linear.shape}")
    light = np.nan_to_num(linear.astype(np.float32), nan=0.0, posinf=1e3, neginf=0.0)
    light = light * np.float32(_meter(rng, light) * 2**bias_stops)
    light = np.minimum(light * _balance(rng, light, severity), 8.0)
    light = _blur_lens(rng, light, severity)
    if rng.random() < 0.6:
        light = _fringe(rng, light)
    light = _falloff(rng, light, severity)
    light = _noise(rng, light, severity * float(np.exp(rng.normal(-4.2, 0.75))))
    codes = np.clip(light * (CODES / 2), 0, CODES).astype(np.uint16)
    picture = _phone(rng, _tone_table(rng, severity)[codes], severity)
    pick = rng.random()
    if pick < 0.05 * severity:
        picture = old_print(rng, picture)
    elif pick < 0.10 * severity:
        picture = monochrome(rng, picture)
    return _file(rng, picture, severity)
