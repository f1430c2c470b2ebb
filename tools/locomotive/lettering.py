"""Painted figures and letters as thin meshes, so that a mask of them is exact."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tools.locomotive.solids import Mesh

ROWS = 56  # bitmap rows a figure is cut into

_HERSHEY = {
    "serif": cv2.FONT_HERSHEY_TRIPLEX,
    "plain": cv2.FONT_HERSHEY_DUPLEX,
    "italic": cv2.FONT_HERSHEY_COMPLEX,
}


@lru_cache(maxsize=256)
def bitmap(text: str, font: str) -> NDArray[np.bool_]:
    """The text as a tight bitmap, about `ROWS` rows high."""
    if font == "sans":
        face = ImageFont.load_default(size=ROWS * 1.36)
        width = int(face.getlength(text)) + 24
        image = Image.new("L", (width, ROWS * 2), 0)
        ImageDraw.Draw(image).text((10, 10), text, fill=255, font=face, stroke_width=1)
        ink = np.asarray(image) > 110
    else:
        scale = ROWS / 22.0
        (w, h), _ = cv2.getTextSize(text, _HERSHEY[font], scale, 6)
        canvas = np.zeros((h + 80, w + 80), np.uint8)
        cv2.putText(canvas, text, (30, h + 30), _HERSHEY[font], scale, 255, 6, cv2.LINE_AA)
        ink = canvas > 110
        if font == "italic":
            rows = np.arange(len(ink))[::-1]
            ink = np.stack([np.roll(row, int(0.18 * k)) for row, k in zip(ink, rows, strict=True)])
    ys, xs = np.nonzero(ink)
    if not len(ys):
        return np.zeros((1, 1), bool)
    return ink[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1]


def _rectangles(ink: NDArray[np.bool_]) -> list[tuple[int, int, int, int]]:
    """Runs of ink as (x0, x1, y0, y1); equal runs on following rows are one."""
    out, live = [], {}
    for y in range(len(ink) + 1):
        row = ink[y] if y < len(ink) else np.zeros(ink.shape[1], bool)
        edge = np.flatnonzero(np.diff(np.concatenate([[0], row.view(np.int8), [0]])))
        now = {(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)}
        for run in [r for r in live if r not in now]:
            out.append((*run, live.pop(run), y))
        for run in now:
            live.setdefault(run, y)
    return out


def text_size(text: str, font: str, height: float) -> tuple[float, float]:
    """Width and height in metres of a text whose figures are `height` high."""
    ink = bitmap(text, font)
    return height * ink.shape[1] / ink.shape[0], height


def text_mesh(text: str, font: str, height: float) -> Mesh:
    """Flat text centred on the origin in the x-z plane, read along +x by someone at -y."""
    ink = bitmap(text, font)
    r = np.array(_rectangles(ink), float).reshape(-1, 4)
    unit = height / ink.shape[0]
    x0, x1 = (r[:, 0] - ink.shape[1] / 2) * unit, (r[:, 1] - ink.shape[1] / 2) * unit
    z0, z1 = (ink.shape[0] / 2 - r[:, 3]) * unit, (ink.shape[0] / 2 - r[:, 2]) * unit
    zero = np.zeros(len(r))
    corners = [
        np.stack(c, 1) for c in ((x0, zero, z0), (x1, zero, z0), (x1, zero, z1), (x0, zero, z1))
    ]
    v = np.stack(corners, 1).reshape(-1, 3)
    k = 4 * np.arange(len(r))[:, None]
    f = np.concatenate([k + [[0, 1, 2]], k + [[0, 2, 3]]])
    return Mesh(v, f)


def on_sides(mesh: Mesh, x: float, y: float, z: float) -> tuple[Mesh, Mesh]:
    """A text put on the left (y > 0) and the right side, readable on both."""
    left = Mesh(mesh.v * np.array([-1.0, -1.0, 1.0]), mesh.f)
    return left.moved(x, y, z), mesh.moved(x, -y, z)
