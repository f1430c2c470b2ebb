"""What lies between a photograph and its viewer: old prints, glass, listing borders."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.corruptions import jpeg

Light = NDArray[np.float32]
Picture = NDArray[np.uint8]
LUMA = np.array([[0.2126, 0.7152, 0.0722]], np.float32)  # ITU-R BT.709 weights


def old_print(rng: np.random.Generator, picture: Picture) -> Picture:
    """A faded photograph scanned: shifted dyes, weak blacks, grain, scratches."""
    unit = picture.astype(np.float32) / 255
    height, width = unit.shape[:2]
    grey = cv2.transform(unit, LUMA)[..., None]
    unit = grey + (unit - grey) * np.float32(rng.uniform(0.15, 0.8))
    dye = rng.choice([0, 1, 2])
    tint = np.array([[1.0, 0.86, 0.62], [0.82, 0.98, 1.0], [1.0, 0.83, 0.85]], np.float32)[dye]
    black = np.float32(rng.uniform(0.05, 0.2))
    unit = black + (rng.uniform(0.8, 0.98) - black) * unit * tint ** np.float32(rng.uniform(0.4, 1))
    grain = rng.standard_normal((height, width, 1), np.float32)
    unit += cv2.GaussianBlur(grain, (0, 0), 0.8)[..., None] * np.float32(rng.uniform(0.02, 0.09))
    out = np.clip(unit * 255, 0, 255).astype(np.uint8)
    for _ in range(int(rng.integers(0, 8))):
        a, b = rng.integers(0, (width, height), 2), rng.normal(0, height / 12, 2)
        end = tuple(int(v) for v in a + b)
        cv2.line(out, tuple(int(v) for v in a), end, (215, 210, 200), 1, cv2.LINE_AA)
    return out


def monochrome(rng: np.random.Generator, picture: Picture) -> Picture:
    weights = rng.dirichlet([4, 8, 2])[None].astype(np.float32)
    grey = cv2.transform(picture, weights)
    tint = 1 + rng.uniform(0, 0.12) * np.array([0.0, -0.3, -1.0]) * (rng.random() < 0.4)
    return np.clip(grey[..., None] * tint, 0, 255).astype(np.uint8)


def reflect(rng: np.random.Generator, linear: Light, environment: Light) -> Light:
    """Light seen in a glass pane before the picture: a dim patch of the surroundings.

    Used for rooms whose truth says "pane". Ordinary glass mirrors about 4 % a face at
    steep angles (Fresnel equations, index 1.5), more when seen aslant.
    """
    height, width = linear.shape[:2]
    rows, columns = environment.shape[:2]
    h = int(rows * rng.uniform(0.3, 0.6))
    w = min(int(h * width / height), columns)
    row = int(rng.integers(rows // 5, max(rows - h, rows // 5 + 1)))
    wide = np.concatenate([environment, environment], axis=1)
    column = int(rng.integers(columns))
    patch = np.ascontiguousarray(wide[row : row + h, column : column + w])
    seen = cv2.resize(patch.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    seen = cv2.GaussianBlur(np.clip(seen, 0, 6), (0, 0), max(width / 200, 0.5))
    share = np.float32(rng.uniform(0.03, 0.12))
    scale = np.float32(float(linear.mean()) / (float(seen.mean()) + 1e-6))
    return linear * (1 - share) + seen * share * max(scale, np.float32(1.0))


def frame(rng: np.random.Generator, picture: Picture) -> tuple[Picture, tuple[float, float], float]:
    """The picture as pasted into a listing, screenshot or album page.

    Parameters
    ----------
    rng : Generator
    picture : ndarray, shape (H, W, 3), uint8

    Returns
    -------
    picture : ndarray, shape (H2, W2, 3), uint8
    offset_xy : tuple of float, pixels
    scale : float
        A point (x, y) of the old picture lies at scale * (x, y) + offset_xy.
    """
    height, width = picture.shape[:2]
    style = str(rng.choice(["print", "square", "screen", "band"]))
    longest = max(height, width)
    target = float(rng.uniform(0.7, 1.0))
    if style == "print":
        rim = rng.uniform(0.02, 0.08) * longest
        margins = np.array([rim, rim, rim, rim * rng.choice([1.0, 1.0, 3.0])])
    elif style == "square":
        x, y = (longest - width) / 2, (longest - height) / 2
        margins = np.array([x, y, x, y]) + rng.uniform(0, 0.05) * longest
    elif style == "screen":
        margins = rng.uniform(0, [0.12, 0.35, 0.12, 0.5]) * longest
    else:
        across = rng.uniform(0, 0.2) * longest
        margins = (
            np.array([0, across, 0, across])
            if rng.random() < 0.5
            else np.array([across, 0, across, 0])
        )
    left, top, right, bottom = (round(m * target) for m in margins)
    # Half-open pixels: old edge W goes to the new edge exactly, so the scale is W2 / W.
    new_width = max(round(width * target), 8)
    scale = new_width / width
    inner = cv2.resize(
        picture, (new_width, max(round(height * scale), 8)), interpolation=cv2.INTER_AREA
    )
    tone = rng.uniform(235, 256) if rng.random() < 0.75 else rng.uniform(0, 60)
    paper = np.clip(tone + rng.normal(0, 3, 3), 0, 255)
    h, w = inner.shape[:2]
    sheet = np.full((h + top + bottom, w + left + right, 3), paper, np.float32).astype(np.uint8)
    sheet[top : top + h, left : left + w] = inner
    if style == "screen":
        _screen_marks(rng, sheet, (left, top + h, left + w, sheet.shape[0]))
    return jpeg(sheet, int(rng.integers(60, 96))), (float(left), float(top)), float(scale)


def _screen_marks(rng: np.random.Generator, sheet: Picture, box: tuple[int, int, int, int]) -> None:
    """Bars of type and a button below the picture: the look of a listing, no words."""
    left, top, right, bottom = box
    step = max(sheet.shape[0] // 40, 6)
    ink = (90, 90, 95) if sheet[-1, 0].mean() > 128 else (190, 190, 190)
    for y in range(top + step, bottom - step, 2 * step):
        end = left + int((right - left) * rng.uniform(0.2, 0.95))
        cv2.rectangle(sheet, (left + step, y), (max(end, left + 2 * step), y + step // 2), ink, -1)
        if rng.random() < 0.25:
            break
