"""Painted backdrops and printed matter. Nothing here spells a word."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.scene.textures import Field, Picture, colour, noise, ramp

CELL = 128  # pixels of one printed picture in a room's atlas


def _ridge(rng: np.random.Generator, width: int, rough: float) -> Field:
    """A skyline, heights about 0..1."""
    count = width // 2 + 1
    phase = np.exp(2j * np.pi * rng.random(count))
    spectrum = phase / np.maximum(np.arange(count), 1.0) ** rough
    spectrum[0] = 0
    line = np.fft.irfft(spectrum, width)
    return ((line - line.min()) / (np.ptp(line) + 1e-9)).astype(np.float32)


def _sky(rng: np.random.Generator, width: int, height: int) -> Field:
    high = colour(rng, (0.53, 0.64), (0.1, 0.75), (0.5, 0.95))
    low = colour(rng, (0.5, 0.66), (0.0, 0.35), (0.75, 1.0))
    if rng.random() < 0.15:
        low = colour(rng, (0.02, 0.13), (0.2, 0.6), (0.8, 1.0))
    fall = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    sky = ramp(np.broadcast_to(fall, (height, width)), high, low)
    if rng.random() < 0.7:
        cloud = cv2.resize(noise(rng, 1.6, rng.choice([0.5, 1.0])), (width, height))
        cover = rng.uniform(0.35, 0.75)
        mask = np.clip((cloud - cover) * rng.uniform(2, 5), 0, 1)[..., None]
        sky = sky * (1 - mask) + rng.uniform(205, 255) * mask
    return sky


def _town(rng: np.random.Generator, picture: Field, foot: int) -> None:
    """A row of house fronts standing at row `foot` and below."""
    height, width = picture.shape[:2]
    x = 0
    while x < width:
        w = int(rng.integers(width // 40, width // 10))
        top = foot - int(rng.integers(height // 16, height // 4))
        wall = tuple(float(v) for v in colour(rng, (0, 0.15), (0.05, 0.5), (0.3, 0.85)))
        cv2.rectangle(picture, (x, top), (x + w, height), wall, -1)
        roof = tuple(float(v) for v in colour(rng, (0, 0.1), (0.1, 0.6), (0.15, 0.5)))
        gable = np.array([[x, top], [x + w, top], [x + w // 2, top - w // 3]])
        cv2.fillPoly(picture, [gable], roof)
        pane = max(w // 6, 2)
        for wx in range(x + pane, x + w - pane, 2 * pane):
            for wy in range(top + pane, foot, 3 * pane):
                cv2.rectangle(
                    picture, (wx, wy), (wx + pane - 1, wy + 2 * pane - 1), (60, 65, 75), -1
                )
        x += w


def backdrop(rng: np.random.Generator, width: int = 1024, height: int = 256) -> Picture:
    """A layout's painted scene: sky, hills, woods, perhaps a town; sRGB uint8."""
    picture = np.ascontiguousarray(_sky(rng, width, height))
    rows = np.arange(height)[:, None]
    style = rng.choice(["sky", "hills", "alps", "town", "wood"], p=[0.15, 0.35, 0.2, 0.15, 0.15])
    layers = 0 if style == "sky" else int(rng.integers(2, 5))
    haze = colour(rng, (0.5, 0.62), (0.05, 0.3), (0.7, 0.95))
    grain = cv2.resize(noise(rng, 0.7), (width, height))[..., None]
    for layer in range(layers):
        near = (layer + 1) / layers
        alpine = style == "alps" and layer < layers - 1
        line = _ridge(rng, width, rng.uniform(1.0, 1.4) if alpine else rng.uniform(1.4, 2.2))
        tall = height * (rng.uniform(0.3, 0.6) if alpine else rng.uniform(0.1, 0.3))
        top = height * (0.45 + 0.4 * near) - line * tall
        hill = colour(rng, (0.08, 0.4), (0.15, 0.6), (0.2, 0.55))
        if alpine:
            hill = colour(rng, (0.5, 0.7), (0.05, 0.3), (0.35, 0.6))
        tone = (near * hill + (1 - near) * haze) * (0.75 + 0.5 * grain)
        if alpine and rng.random() < 0.7:
            snow = np.clip((top.min() + 0.5 * tall - rows + 40 * (grain[..., 0] - 0.5)) / 8, 0, 1)
            tone = tone * (1 - snow[..., None]) + 240 * snow[..., None]
        picture = np.where((rows > top[None, :])[..., None], tone, picture)
    picture = np.ascontiguousarray(picture, np.float32)
    if style == "town":
        _town(rng, picture, int(height * rng.uniform(0.8, 1.0)))
    if style == "wood":
        for x in range(0, width, 6):
            r = int(rng.integers(6, 22))
            tone = colour(rng, (0.2, 0.4), (0.2, 0.6), (0.12, 0.4))
            at = (x, int(height * rng.uniform(0.75, 1.0)))
            cv2.ellipse(picture, at, (r, 2 * r), 0, 0, 360, tuple(map(float, tone)), -1)
    return np.clip(picture, 0, 255).astype(np.uint8)


def _lines_of_type(rng: np.random.Generator, picture: Picture, box: tuple[int, ...]) -> None:
    """Grey bars where a print would carry words."""
    left, top, right, bottom = box
    ink = tuple(int(v) for v in colour(rng, saturation=(0, 0.4), value=(0.05, 0.45)))
    step = max(int(rng.integers(4, 9)), 3)
    for y in range(top, bottom - step, step):
        x = left
        while x < right - 4:
            run = int(rng.integers(3, 16))
            cv2.rectangle(picture, (x, y), (min(x + run, right), y + step // 2 - 1), ink, -1)
            x += run + int(rng.integers(2, 5))


def printed(rng: np.random.Generator) -> Picture:
    """A box front, leaflet or poster: colour blocks, bars of type, a drawn picture."""
    base = colour(rng, saturation=(0.0, 0.9), value=(0.25, 1.0))
    picture = np.full((CELL, CELL, 3), base, np.float32).astype(np.uint8)
    for _ in range(int(rng.integers(1, 4))):
        a, b = np.sort(rng.integers(0, CELL, (2, 2)), axis=0)
        tone = tuple(int(v) for v in colour(rng, saturation=(0.0, 0.9), value=(0.15, 1.0)))
        if rng.random() < 0.7:
            cv2.rectangle(picture, tuple(map(int, a)), tuple(map(int, b)), tone, -1)
        else:
            cv2.circle(picture, tuple(map(int, a)), int(rng.integers(6, 40)), tone, -1)
    if rng.random() < 0.5:
        scene = cv2.resize(backdrop(rng, 128, 64), (int(rng.integers(50, 110)), 56))
        x, y = int(rng.integers(4, CELL - scene.shape[1])), int(rng.integers(4, 60))
        picture[y : y + 56, x : x + scene.shape[1]] = scene
    y = int(rng.integers(8, 96))
    _lines_of_type(rng, picture, (8, y, int(rng.integers(50, 122)), min(y + 40, 124)))
    return picture


def spines(rng: np.random.Generator) -> Picture:
    """One book spine, its length upwards."""
    tone = colour(rng, saturation=(0.05, 0.9), value=(0.1, 0.85))
    picture = np.full((CELL, CELL, 3), tone, np.float32).astype(np.uint8)
    band = tuple(int(v) for v in colour(rng, saturation=(0.0, 0.8), value=(0.5, 1.0)))
    for _ in range(int(rng.integers(0, 4))):
        y = int(rng.integers(4, 120))
        cv2.rectangle(picture, (0, y), (CELL, y + int(rng.integers(2, 9))), band, -1)
    x = int(rng.integers(35, 60))
    for y in range(30, 96, int(rng.integers(5, 9))):
        cv2.rectangle(picture, (x, y), (CELL - x, y + 3), band, -1)
    return picture


def label(rng: np.random.Generator) -> Picture:
    """A white or cream price tag or caption with bars of type and perhaps a border."""
    picture = np.full((CELL, CELL, 3), colour(rng, (0.1, 0.16), (0.0, 0.5), (0.8, 1.0)), np.float32)
    picture = picture.astype(np.uint8)
    if rng.random() < 0.4:
        edge = tuple(int(v) for v in colour(rng, saturation=(0.4, 1.0)))
        cv2.rectangle(picture, (3, 3), (CELL - 4, CELL - 4), edge, 5)
    _lines_of_type(rng, picture, (16, int(rng.integers(16, 40)), 112, 116))
    return picture


def dial(rng: np.random.Generator) -> Picture:
    """A gauge or controller face: a ring of ticks and a pointer."""
    picture = np.full((CELL, CELL, 3), rng.uniform(150, 240), np.float32).astype(np.uint8)
    cv2.circle(picture, (64, 64), 52, (30, 30, 30), 3, cv2.LINE_AA)
    for angle in np.linspace(0.7, 2 * np.pi - 0.7, 11) + np.pi / 2:
        c, s = np.cos(angle), np.sin(angle)
        ends = [(int(64 + r * c), int(64 + r * s)) for r in (40, 50)]
        cv2.line(picture, ends[0], ends[1], (30, 30, 30), 2, cv2.LINE_AA)
    turned = rng.uniform(0, 2 * np.pi)
    tip = (int(64 + 38 * np.cos(turned)), int(64 + 38 * np.sin(turned)))
    cv2.line(picture, (64, 64), tip, (170, 30, 20), 3, cv2.LINE_AA)
    return picture


def knit(pictures: list[NDArray[np.uint8]], columns: int = 4) -> Picture:
    """Printed cells side by side in one atlas, `columns` wide, square."""
    atlas = np.full((columns * CELL, columns * CELL, 3), 128, np.uint8)
    for index, cell in enumerate(pictures[: columns * columns]):
        row, column = divmod(index, columns)
        atlas[row * CELL : (row + 1) * CELL, column * CELL : (column + 1) * CELL] = cell
    return atlas
