"""Procedural tileable surfaces: sRGB uint8 (256, 256, 3), a new look for every draw.

The slow part, smooth tileable noise, is made once per process from a fixed seed and
then rolled, turned and recoloured; the passed generator alone decides the result.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Field = NDArray[np.float32]
SIDE = 256  # pixels of a tile
BANK = 6  # noise fields kept for each kind


@lru_cache(maxsize=64)
def _bank(slope: float, stretch: float, index: int) -> Field:
    """Tileable noise in 0..1 with spectrum 1/f**slope; `stretch` > 1 runs it along x."""
    rng = np.random.default_rng([int(slope * 10), int(stretch * 10), index])
    frequency = np.fft.fftfreq(SIDE) * SIDE
    radius = np.hypot(frequency[:, None], frequency[None, :] * stretch)
    radius[0, 0] = 1.0
    spectrum = np.fft.fft2(rng.standard_normal((SIDE, SIDE))) / radius**slope
    spectrum[0, 0] = 0.0
    field = np.real(np.fft.ifft2(spectrum))
    low, high = np.percentile(field, [1, 99])
    return np.clip((field - low) / (high - low), 0, 1).astype(np.float32)


def noise(rng: np.random.Generator, slope: float = 1.5, stretch: float = 1.0) -> Field:
    """A tileable noise field (256, 256) in 0..1."""
    field = _bank(slope, stretch, int(rng.integers(BANK)))
    field = np.roll(field, tuple(rng.integers(0, SIDE, 2)), (0, 1))
    return field[:: int(rng.choice([-1, 1])), :: int(rng.choice([-1, 1]))]


def colour(
    rng: np.random.Generator,
    hue: tuple[float, float] = (0, 1),
    saturation: tuple[float, float] = (0.1, 0.7),
    value: tuple[float, float] = (0.2, 0.9),
) -> NDArray[np.float32]:
    """A random sRGB colour in 0..255 from ranges of hue, saturation, value (0..1)."""
    h, v = rng.uniform(hue[0], hue[1]) % 1.0, rng.uniform(*value)
    # Most made things are dull: saturation leans to the low end of its range.
    s = saturation[0] + (saturation[1] - saturation[0]) * rng.random() ** 1.8
    hsv = np.array([[[h * 360, s, v]]], np.float32)
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)[0, 0] * 255.0


def ramp(field: Field, *stops: NDArray[np.float32]) -> Field:
    """Map 0..1 onto evenly spaced colour stops (sRGB 0..255)."""
    table = np.asarray(stops, np.float32)
    grid = np.linspace(0, 1, 256) * (len(table) - 1)
    lut = np.stack([np.interp(grid, np.arange(len(table)), table[:, c]) for c in range(3)], -1)
    index = (np.clip(field, 0, 1) * 255).astype(np.uint8)
    return lut.astype(np.float32)[index]


def _finish(picture: Field) -> Picture:
    return np.clip(picture, 0, 255).astype(np.uint8)


def _axes() -> tuple[Field, Field]:
    line = np.arange(SIDE, dtype=np.float32) / SIDE
    return np.meshgrid(line, line)


def wood(rng: np.random.Generator) -> Picture:
    """Grain along x; sometimes boards with dark joints."""
    dark = colour(rng, (0.03, 0.11), (0.25, 0.75), (0.12, 0.7))
    light = np.clip(dark * rng.uniform(1.2, 1.7) + rng.uniform(0, 30), 0, 255)
    _, y = _axes()
    warp = noise(rng, 2.0, 5.0)
    rings = 0.5 + 0.5 * np.sin(2 * np.pi * (y * rng.integers(2, 7) + warp * rng.uniform(1, 5)))
    fine = noise(rng, 0.8, 14.0)
    weight = rng.uniform(0.2, 0.7)
    picture = ramp(weight * rings + (1 - weight) * fine, dark, light)
    if rng.random() < 0.45:
        boards = int(rng.integers(2, 6))
        row = (y * boards).astype(int) % boards
        picture *= rng.uniform(0.75, 1.15, boards).astype(np.float32)[row][..., None]
        picture[(y * boards) % 1.0 < 0.02] *= 0.45
    return _finish(picture)


def cloth(rng: np.random.Generator) -> Picture:
    """A plain or checked weave."""
    x, y = _axes()
    threads = int(rng.choice([32, 43, 64]))
    weave = 0.5 + 0.25 * np.sin(2 * np.pi * threads * x) + 0.25 * np.sin(2 * np.pi * threads * y)
    base = colour(rng, saturation=(0.0, 0.8), value=(0.12, 0.95))
    other = colour(rng, saturation=(0.0, 0.8), value=(0.2, 0.95))
    picture = np.broadcast_to(base, (SIDE, SIDE, 3)).astype(np.float32)
    style = rng.random()
    if style < 0.25:
        count = int(rng.integers(2, 7))
        check = ((x * count) % 1 < 0.5).astype(np.float32) + ((y * count) % 1 < 0.5)
        picture = ramp(check / 2, base, other)
    elif style < 0.4:
        count = int(rng.integers(3, 12))
        picture = ramp(((x * count) % 1 < rng.uniform(0.1, 0.5)).astype(np.float32), base, other)
    picture = picture * (0.7 + 0.35 * weave + 0.2 * (noise(rng, 1.2) - 0.5))[..., None]
    return _finish(picture)


def felt(rng: np.random.Generator) -> Picture:
    base = colour(rng, saturation=(0.05, 0.9), value=(0.06, 0.7))
    shade = 0.75 + 0.3 * noise(rng, 0.4) + 0.2 * (noise(rng, 1.6) - 0.5)
    return _finish(base * shade[..., None])


def carpet(rng: np.random.Generator) -> Picture:
    """Pile, plain or with a repeated ornament."""
    base = colour(rng, saturation=(0.05, 0.7), value=(0.15, 0.8))
    picture = np.broadcast_to(base, (SIDE, SIDE, 3)).astype(np.float32)
    if rng.random() < 0.55:
        count = int(rng.integers(2, 6))
        x, y = _axes()
        cell = np.abs((x * count) % 1 - 0.5) + np.abs((y * count) % 1 - 0.5)
        band = 0.5 + 0.5 * np.sin(cell * 2 * np.pi * rng.integers(1, 5))
        picture = ramp(
            np.round(band * 2) / 2, base, colour(rng), colour(rng, saturation=(0.2, 0.9))
        )
    tufts = 0.55 + 0.65 * noise(rng, 0.2) + 0.3 * (noise(rng, 1.0) - 0.5)
    return _finish(picture * tufts[..., None])


def marble(rng: np.random.Generator) -> Picture:
    veins = np.abs(noise(rng, 2.0) - 0.5) * rng.uniform(3, 7)
    base = colour(rng, saturation=(0.0, 0.25), value=(0.2, 0.95))
    vein = colour(rng, saturation=(0.0, 0.3), value=(0.1, 0.9))
    return _finish(ramp(np.clip(veins, 0, 1), vein, base) * (0.9 + 0.2 * noise(rng))[..., None])


def speckle(rng: np.random.Generator) -> Picture:
    """Worktop, terrazzo or concrete: spots on a plain ground."""
    base = colour(rng, saturation=(0.0, 0.3), value=(0.15, 0.85))
    spots = noise(rng, rng.choice([0.2, 0.5, 1.0]))
    other = np.clip(base * rng.uniform(0.4, 1.6), 0, 255)
    picture = ramp(np.clip((spots - 0.5) * 3 + 0.5, 0, 1), other, base)
    return _finish(picture * (0.9 + 0.2 * noise(rng))[..., None])


def tiles(rng: np.random.Generator) -> Picture:
    """Square or checked glazed tiles with grout."""
    count = int(rng.choice([2, 4, 6]))
    x, y = _axes()
    column, row = (x * count).astype(int), (y * count).astype(int)
    first = colour(rng, saturation=(0.0, 0.5), value=(0.3, 0.98))
    second = first if rng.random() < 0.5 else colour(rng, saturation=(0.0, 0.7))
    picture = np.where((((column + row) % 2) == 0)[..., None], first, second)
    shade = rng.uniform(0.9, 1.06, (count, count)).astype(np.float32)[row, column]
    picture = picture * (shade * (0.92 + 0.12 * noise(rng)))[..., None]
    joint = ((x * count) % 1 < 0.04) | ((y * count) % 1 < 0.04)
    picture[joint] = colour(rng, saturation=(0, 0.15), value=(0.25, 0.9))
    return _finish(picture)


def paper(rng: np.random.Generator) -> Picture:
    base = colour(rng, saturation=(0.0, 0.12), value=(0.8, 1.0))
    return _finish(base * (0.95 + 0.07 * noise(rng, 0.8))[..., None])


def card(rng: np.random.Generator) -> Picture:
    base = colour(rng, (0.06, 0.11), (0.25, 0.55), (0.45, 0.75))
    _, y = _axes()
    flutes = 0.02 * np.sin(2 * np.pi * 60 * y)
    return _finish(base * (0.88 + flutes + 0.2 * noise(rng, 0.9, 3.0))[..., None])


def grass(rng: np.random.Generator) -> Picture:
    """Turf, static grass or leaf litter seen from above."""
    dark = colour(rng, (0.14, 0.33), (0.3, 0.8), (0.08, 0.3))
    light = colour(rng, (0.12, 0.28), (0.25, 0.7), (0.35, 0.65))
    picture = ramp(0.65 * noise(rng, 0.3) + 0.35 * noise(rng, 1.4), dark, light)
    bare = colour(rng, (0.05, 0.12), (0.2, 0.6), (0.2, 0.5))
    patch = np.clip((noise(rng, 1.2) - rng.uniform(0.6, 1.1)) * 2.5, 0, 1)[..., None]
    return _finish(picture * (1 - patch) + bare * noise(rng, 0.5)[..., None] * patch)


@lru_cache(maxsize=4)
def _stones(index: int) -> tuple[Field, Field]:
    """Shade and tone fields of packed stones, tileable."""
    rng = np.random.default_rng([77, index])
    shade = np.zeros((SIDE, SIDE), np.float32)
    tone = np.zeros((SIDE, SIDE), np.float32)
    for _ in range(1500):
        x, y = (int(v) for v in rng.integers(0, SIDE, 2))
        axes = (int(rng.integers(3, 8)), int(rng.integers(2, 6)))
        turned, lit = float(rng.uniform(0, 180)), float(rng.uniform(0.35, 1.0))
        for dx in (-SIDE, 0, SIDE):
            for dy in (-SIDE, 0, SIDE):
                if -9 < x + dx < SIDE + 9 and -9 < y + dy < SIDE + 9:
                    at = (x + dx, y + dy)
                    cv2.ellipse(shade, at, axes, turned, 0, 360, 0.12, -1)
                    cv2.ellipse(shade, at, (axes[0] - 1, axes[1] - 1), turned, 0, 360, lit, -1)
                    cv2.ellipse(tone, at, axes, turned, 0, 360, lit, -1)
    return shade, tone


def ballast(rng: np.random.Generator) -> Picture:
    """Crushed stone or gravel."""
    shade, tone = _stones(int(rng.integers(4)))
    roll = tuple(rng.integers(0, SIDE, 2))
    base = colour(rng, (0.04, 0.13), (0.0, 0.35), (0.25, 0.8))
    other = np.clip(base * rng.uniform(0.6, 1.4) + rng.normal(0, 12, 3), 0, 255)
    picture = ramp(np.roll(tone, roll, (0, 1)), base, other)
    return _finish(picture * (0.35 + 0.75 * np.roll(shade, roll, (0, 1)))[..., None])


def rock(rng: np.random.Generator) -> Picture:
    base = colour(rng, (0.02, 0.14), (0.05, 0.4), (0.25, 0.65))
    strata = noise(rng, 1.6, rng.choice([1.0, 5.0]))
    crack = np.clip(np.abs(noise(rng, 1.8) - 0.5) * 14, 0, 1)
    picture = ramp(strata, base * 0.45, base, np.clip(base * 1.5, 0, 255))
    return _finish(
        picture * (0.5 + 0.5 * crack)[..., None] * (0.8 + 0.3 * noise(rng, 0.5))[..., None]
    )


def brick(rng: np.random.Generator) -> Picture:
    courses = int(rng.choice([8, 12, 16]))
    x, y = _axes()
    row = (y * courses).astype(int)
    across = x * courses / 2.5
    across = np.where(row % 2 == 0, across, across + 0.5)
    # Rounded to a whole count, so that the pattern closes at the tile's edge.
    whole = max(round(courses / 2.5), 1)
    across = across * whole * 2.5 / courses
    base = colour(rng, (0.0, 0.09), (0.2, 0.7), (0.3, 0.75))
    number = (row * 31 + across.astype(int) % whole * 17) % 97
    shade = rng.uniform(0.7, 1.2, 97).astype(np.float32)[number]
    picture = base * (shade * (0.8 + 0.3 * noise(rng, 0.6)))[..., None]
    joint = (across % 1 < 0.06) | ((y * courses) % 1 < 0.13)
    picture[joint] = colour(rng, saturation=(0, 0.2), value=(0.35, 0.85))
    return _finish(picture)


def wallpaper(rng: np.random.Generator) -> Picture:
    """Stripes, sprigs or plain paint."""
    base = colour(rng, saturation=(0.02, 0.5), value=(0.45, 0.97))
    other = np.clip(base * rng.uniform(0.75, 1.15) + rng.normal(0, 12, 3), 0, 255)
    x, y = _axes()
    style = rng.random()
    if style < 0.3:
        count = int(rng.integers(2, 9))
        mask = ((x * count) % 1 < rng.uniform(0.15, 0.6)).astype(np.float32)
    elif style < 0.6:
        count = int(rng.integers(2, 6))
        u, v = (x * count) % 1 - 0.5, ((y * count) + 0.5 * ((x * count) // 1 % 2)) % 1 - 0.5
        petals = int(rng.integers(3, 8))
        reach = 0.22 + 0.1 * np.cos(petals * np.arctan2(v, u))
        mask = (np.hypot(u, v) < reach).astype(np.float32)
    else:
        mask = 0.4 * noise(rng, 1.8)
    return _finish(ramp(mask, base, other) * (0.96 + 0.06 * noise(rng, 0.5))[..., None])


def plaster(rng: np.random.Generator) -> Picture:
    base = colour(rng, saturation=(0.0, 0.3), value=(0.4, 0.98))
    return _finish(base * (0.9 + 0.14 * noise(rng, rng.choice([0.6, 1.2, 1.8])))[..., None])


def asphalt(rng: np.random.Generator) -> Picture:
    base = colour(rng, saturation=(0.0, 0.12), value=(0.15, 0.5))
    return _finish(base * (0.6 + 0.6 * noise(rng, 0.1) + 0.3 * (noise(rng) - 0.5))[..., None])


def pegboard(rng: np.random.Generator) -> Picture:
    base = colour(rng, (0.05, 0.12), (0.05, 0.5), (0.35, 0.9))
    x, y = _axes()
    hole = np.hypot((x * 8) % 1 - 0.5, (y * 8) % 1 - 0.5) < 0.13
    picture = base * (0.9 + 0.15 * noise(rng, 0.6))[..., None]
    picture[hole] *= 0.2
    return _finish(picture)


SURFACES: dict[str, Callable[[np.random.Generator], Picture]] = {
    "wood": wood, "cloth": cloth, "felt": felt, "carpet": carpet, "marble": marble,
    "speckle": speckle, "tiles": tiles, "paper": paper, "card": card, "grass": grass,
    "ballast": ballast, "rock": rock, "brick": brick, "wallpaper": wallpaper,
    "plaster": plaster, "asphalt": asphalt, "pegboard": pegboard,
}  # fmt: skip


def surface(rng: np.random.Generator, *kinds: str) -> Picture:
    """A tile of one of the named `kinds`, chosen at random."""
    return SURFACES[str(rng.choice(kinds))](rng)
