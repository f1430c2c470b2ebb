"""Colours, liveries and surface wear of the studio's engines.

Colours are written as sRGB hex and turned into linear RGB; every shade is chosen by
eye from common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.parts import Material

Rgb = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Livery:
    """Body paint: main shade, second shade (two-tone) and how often it is met."""

    body: str
    weight: float
    second: str | None = None
    metallic: bool = False


LIVERIES: dict[str, Livery] = {
    "black_satin": Livery("1c1c1e", 6.0),
    "black_gloss": Livery("101013", 4.5),
    "black_matt": Livery("2a2926", 3.5),
    "black_blue": Livery("171b24", 1.5),
    "black_green": Livery("1b1b1c", 0.8, "24402c"),
    "black_red": Livery("1c1a1a", 0.8, "7a1f1c"),
    "green_dark": Livery("1f3b2a", 1.8),
    "green_mid": Livery("2f6b3a", 1.5),
    "green_light": Livery("6e9a3c", 1.2),
    "green_black": Livery("2b5a35", 0.6, "1b1b1b"),
    "blue_dark": Livery("1c2b52", 1.2),
    "blue_mid": Livery("2a5c9a", 1.5),
    "blue_silver": Livery("264a86", 0.5, "b9bdc2"),
    "blue_pale": Livery("6e9fc4", 0.4),
    "maroon": Livery("5c1a22", 1.8),
    "red": Livery("a8231f", 1.4),
    "red_black": Livery("9a2620", 0.5, "1c1b1b"),
    "brown": Livery("5a3a24", 0.5),
    "yellow": Livery("c99a2b", 0.4),
    "orange": Livery("c9611f", 0.4),
    "cream": Livery("d9cda6", 0.25, "8a2a22"),
    "grey": Livery("6b6d70", 1.2),
    "grey_light": Livery("a2a5a8", 0.5),
    "brass": Livery("b08d45", 0.5, None, True),
    "silver": Livery("b4b5b5", 0.5, None, True),
    "iron": Livery("5d5b57", 0.4, None, True),
    "wood": Livery("7a5230", 0.05),
    # What only `families_topside` draws has no weight of its own.
    "bronze": Livery("7d5a33", 0.0, None, True),
    "white_metal": Livery("8f9191", 0.0, None, True),
    "blued": Livery("2b3444", 0.0, None, True),
    "red_gold": Livery("8f1f22", 0.0, "b58a3a"),
    "green_cream": Livery("28573c", 0.0, "d8cba2"),
    "blue_red": Livery("234a86", 0.0, "962a24"),
    "olive": Livery("565a38", 0.0),
    "turquoise": Livery("2f7f7c", 0.0),
}

STRIPES: dict[str, str] = {
    "cream": "eadfb8",
    "red": "bf2a22",
    "yellow": "e3bd2e",
    "white": "f0efe9",
    "orange": "df7420",
    "light blue": "86b9de",
    "gold": "c8a040",
}

NAMED: dict[str, str] = {
    "black": "19191a",
    "graphite": "38393b",
    "grey": "7c7e80",
    "white": "e8e6e0",
    "cream": "e6dab0",
    "red": "a3241e",
    "green": "2c5a36",
    "yellow": "cf9f2e",
    "gold": "c29a3c",
    "bright": "c8382a",
}

METALS: dict[str, tuple[str, float]] = {
    "steel": ("a9a8a4", 0.33),
    "nickel": ("c6c2b8", 0.2),
    "brass": ("c9a050", 0.25),
    "copper": ("bd744d", 0.3),
    "blackened": ("3a3836", 0.42),
    "bronze": ("9a6a3c", 0.34),
    "blued": ("2f3a4c", 0.3),
    "tin": ("b9bab8", 0.38),
}


def linear(code: str) -> Rgb:
    """Linear RGB of an sRGB hex code (IEC 61966-2-1 transfer curve)."""
    s = np.array([int(code[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
    out = np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)
    return (float(out[0]), float(out[1]), float(out[2]))


def lightness_distance(a: Rgb, b: Rgb) -> float:
    """CIE76 colour difference of two linear RGB colours (CIE 15, D65)."""
    pair = np.array([[a, b]], np.float32).clip(0, 1)
    srgb = np.where(pair <= 0.0031308, pair * 12.92, 1.055 * pair ** (1 / 2.4) - 0.055)
    lab = cv2.cvtColor(srgb.astype(np.float32), cv2.COLOR_RGB2Lab)[0]
    return float(np.linalg.norm(lab[0] - lab[1]))


def tinted(color: Rgb, by: float) -> Rgb:
    """A colour made lighter or darker by a factor."""
    out = np.clip(np.array(color) * by, 0.002, 0.92)
    return (float(out[0]), float(out[1]), float(out[2]))


def metal(name: str, rough: float = 0.0) -> Material:
    """A bare metal; `rough` in 0..1 dulls it."""
    code, base = METALS[name]
    return Material(linear(code), roughness=min(base + 0.4 * rough, 0.9), metallic=1.0)


def _noise(rng: np.random.Generator, size: int, octaves: int) -> NDArray[np.float32]:
    """Tileable cloud noise in 0..1, float32 (size, size)."""
    out = np.zeros((size, size), np.float32)
    for k in range(octaves):
        n = 4 * 2**k
        small = np.pad(rng.random((n, n), dtype=np.float32), 2, mode="wrap")
        big = cv2.resize(small, None, fx=size / n, fy=size / n, interpolation=cv2.INTER_CUBIC)
        edge = 2 * size // n
        out += big[edge : edge + size, edge : edge + size] * 0.62**k
    out -= out.min()
    return out / max(float(out.max()), 1e-6)


@lru_cache(maxsize=16)
def _clouds(index: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Coarse and fine noise number `index`; a few shared ones keep an engine cheap."""
    rng = np.random.default_rng([index, 256])
    return _noise(rng, 256, 4), _noise(rng, 256, 6)


@lru_cache(maxsize=1)
def _srgb_table() -> NDArray[np.uint8]:
    """sRGB bytes of 4096 linear steps (IEC 61966-2-1)."""
    x = np.linspace(0.0, 1.0, 4096)
    s = np.where(x <= 0.0031308, x * 12.92, 1.055 * np.clip(x, 1e-6, 1) ** (1 / 2.4) - 0.055)
    return (s * 255 + 0.5).astype(np.uint8)


def weathered(base: Material, *, wear: float, dust: float, rng: np.random.Generator) -> Material:
    """`base` with mottled paint, chips down to metal or primer and settled dust in a texture."""
    if wear <= 0 and dust <= 0:
        return base
    clouds, fine = _clouds(int(rng.integers(16)))
    shift = tuple(int(k) for k in rng.integers(0, 256, 2))
    clouds, fine = np.roll(clouds, shift, (0, 1)), np.roll(fine, shift, (0, 1))
    mottle = 1.0 + (0.5 * wear + 0.25 * dust) * (clouds - 0.5)
    grime = np.clip(clouds * 1.2 - 0.35, 0, 1) * min(1.2 * dust, 0.75)
    chips = np.clip((fine - (0.93 - 0.16 * wear)) * 25, 0, 1) * min(1.5 * wear, 1.0)
    soil = np.array(linear("8f836f"), np.float32)
    under = np.array(linear("8b8880" if rng.random() < 0.6 else "7a4a30"), np.float32)
    paint = (mottle * (1 - grime) * (1 - chips))[..., None] * np.array(base.color, np.float32)
    dirt = (grime * (1 - chips) * (0.5 + 0.5 * fine))[..., None] * soil
    color = paint + dirt + chips[..., None] * under
    rough = np.clip(base.roughness + 0.35 * grime + 0.2 * (fine - 0.5) * wear, 0.05, 1)
    return replace(
        base,
        texture=_srgb_table()[(np.clip(color, 0, 1) * 4095).astype(np.uint16)],
        roughness_texture=(rough * 255).astype(np.uint8),
    )
