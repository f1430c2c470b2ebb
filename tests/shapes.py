"""Tiny drawings with a known truth. None is square, none is symmetric."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

Drawing = NDArray[np.uint8]


def corners(width: int = 60, height: int = 40) -> Drawing:
    """Four quarters in red, green, blue and white: every turn or flip changes it."""
    picture = np.zeros((height, width, 3), np.uint8)
    half_height, half_width = height // 2, width // 2
    picture[:half_height, :half_width] = (255, 0, 0)
    picture[:half_height, half_width:] = (0, 255, 0)
    picture[half_height:, :half_width] = (0, 0, 255)
    picture[half_height:, half_width:] = (255, 255, 255)
    return picture


def ramp(width: int = 64, height: int = 40) -> Drawing:
    """Grey that rises from left to right, the same in every row."""
    row = np.linspace(0, 255, width).round().astype(np.uint8)
    return np.repeat(np.tile(row, (height, 1))[:, :, None], 3, axis=2)


def engine(
    width: int = 320, height: int = 180, *, backdrop: str = "white", paint: str = "darkgreen"
) -> Drawing:
    """A side view, chimney to the left: boiler, chimney, cab, three wheels, tender."""
    image = Image.new("RGB", (width, height), backdrop)
    draw = ImageDraw.Draw(image)
    x, y = width / 320, height / 180
    for box in ((40, 70, 170, 110), (55, 50, 68, 70), (150, 50, 200, 120), (206, 80, 290, 120)):
        left, top, right, bottom = box
        draw.rectangle((left * x, top * y, right * x, bottom * y), fill=paint)
    for centre in (70, 110, 150, 226, 268):
        draw.ellipse(((centre - 16) * x, 112 * y, (centre + 16) * x, 144 * y), fill="dimgray")
    return np.asarray(image)


def encoded(picture: Drawing | Image.Image, file_format: str = "PNG", **options: Any) -> bytes:
    """The bytes of `picture` as a file."""
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    stream = io.BytesIO()
    image.save(stream, file_format, **options)
    return stream.getvalue()
