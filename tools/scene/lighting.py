"""Light: far surroundings as radiance maps, and lamps.

`environments.npz` holds 18 panoramas of the npm package `@pmndrs/assets` 1.7.0
(CC0 1.0, after Poly Haven's CC0 panoramas), shrunk by `convert_environments`. They are
mixed with drawn surroundings so that no room is known by its light.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.scene.room import Lamp

Radiance = NDArray[np.float32]
HEIGHT = 96  # rows of a drawn map
INDOORS = ("apartment", "hall", "lab", "lobby", "warehouse", "workshop", "studio", "esplanade")
HALLS = ("hall", "esplanade", "warehouse", "lobby", "workshop")
OUTDOORS = ("city", "dawn", "forest", "park", "sunrise", "sunset", "venice", "sky", "bridge")
# Colour of light by temperature, linear RGB with green 1: black-body values rounded,
# from memory; the camera's white balance blurs them further.
_KELVIN = (2700, 3500, 4500, 5500, 6500, 8000)
_RED = (1.75, 1.45, 1.2, 1.06, 0.98, 0.88)
_BLUE = (0.38, 0.55, 0.76, 0.92, 1.05, 1.22)


def warmth(kelvin: float) -> NDArray[np.float32]:
    """Linear RGB of a light of colour temperature `kelvin`, green 1."""
    red, blue = np.interp(kelvin, _KELVIN, _RED), np.interp(kelvin, _KELVIN, _BLUE)
    return np.array([red, 1.0, blue], np.float32)


@lru_cache(maxsize=1)
def _measured() -> dict[str, NDArray[np.float16]]:
    with np.load(Path(__file__).with_name("environments.npz")) as file:
        return {name: file[name] for name in file.files}


def directions(height: int) -> NDArray[np.float32]:
    """Unit vectors (height, 2 height, 3) of a map's pixels in the room's axes."""
    polar = (np.arange(height, dtype=np.float32) + 0.5) / height * np.pi
    around = (np.arange(2 * height, dtype=np.float32) + 0.5) / height * np.pi
    p, a = np.meshgrid(polar, around, indexing="ij")
    return np.stack([np.sin(p) * np.sin(a), np.sin(p) * np.cos(a), np.cos(p)], -1)


def panorama(rng: np.random.Generator, names: tuple[str, ...]) -> Radiance:
    """One of the stored places, turned, perhaps mirrored, lightly tinted; mean near 1."""
    chosen = str(rng.choice(names))
    picture = _measured()[chosen].astype(np.float32)
    picture = np.roll(picture, int(rng.integers(picture.shape[1])), 1)
    if rng.random() < 0.5:
        picture = picture[:, ::-1]
    return np.ascontiguousarray(picture * rng.uniform(0.85, 1.15, 3).astype(np.float32))


def _patch(sky: Radiance, where: tuple[float, float, float], size: tuple[float, float]) -> Radiance:
    """Mask 0..1 of a rectangle `size` radians wide and high facing the middle."""
    axis = np.array(where, float) / np.linalg.norm(where)
    helper = np.array([0, 0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0, 0])
    right = np.cross(axis, helper)
    right /= np.linalg.norm(right)
    up = np.cross(right, axis)
    look = directions(sky.shape[0])
    ahead = look @ axis.astype(np.float32)
    x, y = (look @ v.astype(np.float32) / np.maximum(ahead, 1e-3) for v in (right, up))
    inside = (np.abs(x) < np.tan(size[0] / 2)) & (np.abs(y) < np.tan(size[1] / 2)) & (ahead > 0.05)
    return inside.astype(np.float32)[..., None]


def drawn_room(rng: np.random.Generator) -> Radiance:
    """Walls, floor and ceiling with windows, ceiling tubes or lamps."""
    look = directions(HEIGHT)
    wall, floor, ceiling = (rng.uniform(0.1, 0.5) * warmth(rng.uniform(3000, 7000)) for _ in "wfc")
    side = np.clip(look[..., 2:] * 4, -1, 1)
    room = wall * (1 - np.abs(side)) + np.where(side > 0, ceiling, floor * 0.5) * np.abs(side)
    corner = 0.75 + 0.25 * np.cos(4 * np.arctan2(look[..., :1], look[..., 1:2]))
    room = (room * corner).astype(np.float32)
    for _ in range(int(rng.integers(2, 9))):  # dark and light furniture, far off
        at = (rng.normal(), rng.normal(), rng.uniform(-0.6, 0.3))
        mask = _patch(room, at, (rng.uniform(0.1, 0.7), rng.uniform(0.1, 0.6)))
        tint = rng.uniform(0.3, 1.6) * rng.uniform(0.7, 1.3, 3)
        room = room * (1 - mask) + room * mask * tint.astype(np.float32)
    style = rng.choice(["window", "tubes", "bulbs"], p=[0.5, 0.25, 0.25])
    light = warmth(rng.uniform(5500, 8000) if style == "window" else rng.uniform(2700, 5500))
    if style == "window":
        start = rng.uniform(0, 2 * np.pi)
        for i in range(int(rng.integers(1, 4))):
            angle = start + i * rng.uniform(0.5, 0.9)
            at = (np.sin(angle), np.cos(angle), rng.uniform(0.1, 0.5))
            mask = _patch(room, at, (rng.uniform(0.3, 0.7), rng.uniform(0.4, 1.0)))
            room = room * (1 - mask) + mask * light * rng.uniform(5, 16)
    elif style == "tubes":
        for i in range(int(rng.integers(2, 7))):
            mask = _patch(room, (i * 0.5 - 1.2, rng.uniform(-1, 1), 1.0), (0.1, 0.8))
            room = room * (1 - mask) + mask * light * rng.uniform(10, 25)
    else:
        for _ in range(int(rng.integers(1, 5))):
            mask = _patch(room, (rng.normal(), rng.normal(), rng.uniform(0.5, 1.5)), (0.14, 0.14))
            room = room * (1 - mask) + mask * light * rng.uniform(25, 70)
    return cv2.GaussianBlur(room, (0, 0), rng.uniform(0.4, 1.5)).astype(np.float32)


def softboxes(rng: np.random.Generator) -> Radiance:
    """A dark or grey studio with one to three big soft lights."""
    level = rng.uniform(0.02, 0.5)
    room = np.full((HEIGHT, 2 * HEIGHT, 3), level, np.float32)
    for _ in range(int(rng.integers(1, 4))):
        at = (rng.normal(), rng.normal(), rng.uniform(0.2, 1.6))
        mask = _patch(room, at, (rng.uniform(0.4, 1.1), rng.uniform(0.4, 1.1)))
        room = np.maximum(room, mask * warmth(rng.uniform(4500, 6500)) * rng.uniform(3, 12))
    return cv2.GaussianBlur(room, (0, 0), 1.5)


def overcast(rng: np.random.Generator) -> Radiance:
    """A plain sky above plain ground."""
    look = directions(HEIGHT)[..., 2:]
    sky = (0.6 + 0.8 * np.clip(look, 0, 1)) * warmth(rng.uniform(5500, 8000))
    ground = rng.uniform(0.1, 0.35) * np.array([1.0, 1.0, 0.85])
    return np.where(look > 0, sky, ground).astype(np.float32)


def dim(rng: np.random.Generator) -> Radiance:
    """A dark room; the lamps must do the work."""
    return drawn_room(rng) * np.float32(rng.uniform(0.05, 0.25))


def lamp_toward(
    position: NDArray[np.float64],
    aim: NDArray[np.float64],
    half_size: tuple[float, float],
    *,
    kelvin: float,
    irradiance: float,
) -> Lamp:
    """A lamp at `position` facing `aim` that would give `irradiance` there."""
    reach = np.asarray(aim, float) - position
    distance = float(np.linalg.norm(reach))
    forward = reach / distance
    helper = np.array([0, 0, 1.0]) if abs(forward[2]) < 0.95 else np.array([1.0, 0, 0])
    right = np.cross(helper, forward)
    right /= np.linalg.norm(right)
    matrix = np.eye(4)
    over = np.cross(forward, right)
    matrix[:3, :3] = np.column_stack([right * half_size[0], over * half_size[1], forward])
    matrix[:3, 3] = position
    area = 4 * half_size[0] * half_size[1]
    # Inverse square law for a small source seen face on: E = L A / d^2.
    radiance = warmth(kelvin) * irradiance * distance**2 / area
    red, green, blue = (float(v) for v in radiance)
    return Lamp(matrix, half_size, (red, green, blue))


def lamps_over(rng: np.random.Generator, style: str, reach: float) -> tuple[Lamp, ...]:
    """Lamps of a `style` about an engine at the origin, `reach` metres away at least.

    Styles: "none", "key" (one hard or soft lamp), "spots" (small show lights), "tubes"
    (long ceiling lights), "window" (large, from the side), "desk" (small, near, warm),
    "flash" (beside the camera, viewers' side +y).
    """
    lamps: list[Lamp] = []

    def add(at: tuple[float, float, float], half: tuple[float, float], kelvin: float, e: float):
        aim = rng.normal(0, 0.1 * reach, 3)
        lamps.append(lamp_toward(np.array(at), aim, half, kelvin=kelvin, irradiance=e))

    u = rng.uniform
    if style == "key":
        h = u(0.04, 0.6)
        add(
            (u(-2, 2) * reach, u(-0.6, 2.5) * reach, u(1.2, 3) * reach),
            (h, h),
            u(3000, 6500),
            u(1.5, 7),
        )
    elif style == "spots":
        for _ in range(int(rng.integers(1, 4))):
            at = (u(-1.5, 1.5) * reach, u(-0.5, 1.5) * reach, u(1, 2) * reach)
            add(at, (0.03, 0.03), u(2800, 5000), u(0.8, 4))
    elif style == "tubes":
        kelvin = u(3500, 6500)
        for i in range(int(rng.integers(1, 4))):
            add((u(-1, 1), (i - 0.5) * 1.2, u(1.3, 2.4)), (0.6, 0.04), kelvin, u(0.8, 2.5))
    elif style == "window":
        x = rng.choice([-1, 1]) * u(0.8, 2) * reach + rng.choice([-0.6, 0.6])
        add((x, u(-0.3, 1.5) * reach, u(0.6, 1.2) * reach), (0.5, 0.7), u(5500, 8000), u(2, 8))
    elif style == "desk":
        at = (u(-1, 1) * reach, u(-0.3, 0.8) * reach, u(0.7, 1.2) * reach)
        add(at, (0.05, 0.05), u(2700, 4000), u(2, 8))
    elif style == "flash":
        at = (u(-0.8, 0.8) * reach, u(1.3, 2.2) * reach, u(0.2, 0.9) * reach)
        add(at, (0.02, 0.015), u(5300, 6200), u(3, 10))
    return tuple(lamps)


def case_lamps(rng: np.random.Generator, span: float, y: float, z: float) -> tuple[Lamp, ...]:
    """Small lamps or a strip under a cabinet's lid at height `z`, shining down and back."""
    kelvin = rng.uniform(2800, 6000)
    strip = rng.random() < 0.4
    count = 1 if strip else int(rng.integers(2, 5))
    half = (span, 0.006) if strip else (0.015, 0.015)
    share = rng.uniform(2, 6) / count
    places = np.linspace(-0.7, 0.7, count) * span if count > 1 else np.zeros(1)
    return tuple(
        lamp_toward(
            np.array([x, y - 0.03, z]),
            np.array([x, 0.0, 0.0]),
            half,
            kelvin=kelvin,
            irradiance=share,
        )
        for x in places
    )
