"""Where each figure of a rendered cab number stands, found again in the picture's mask.

The mask says which pixels are the number's, the label what it reads, and the lettering
how wide each figure is: together they give a box for each figure.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.locomotive.lettering import bitmap
from tools.render.view import MASK_BITS
from vision.cues.cab import cab_region
from vision.records import Box, Heading, Sighting

MOST = 5  # figures of a number
_FONTS = ("sans", "serif", "plain", "italic")
_SIZE = (256, 128)  # of the straightened cab side
_LEAST_INK = 12  # pixels
_LEAST_LIKE = 0.52  # overlap of the mask and the best font; below, something hides a part


def unnumbered() -> tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.float32]]:
    """What `numbered` gives of a picture without a cab side."""
    corners = np.zeros((MOST, 4, 2), np.float32)
    return corners, np.full(MOST, -1, np.int64), np.zeros((4, 2), np.float32)


def numbered(
    record: dict[str, Any], mask: NDArray[np.uint8]
) -> tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.float32]]:
    """Corners and classes of a picture's figures, and the corners of its cab side.

    Parameters
    ----------
    record : dict
        The picture's label, coordinates in pixels of `mask`.
    mask : ndarray, shape (height, width), uint8

    Returns
    -------
    corners : ndarray, shape (MOST, 4, 2), float32
        Of each figure, clockwise from its own upper left; zeros where there is none.
    classes : ndarray, shape (MOST,), int64
        -1 where there is none; all -1 where the number is not whole in sight.
    cab : ndarray, shape (4, 2), float32
        Corners of the straightened cab side; zeros where there is none to read.
    """
    corners, classes, cab = unnumbered()
    if not record.get("regions") or not record.get("locomotive"):
        return corners, classes, cab
    cab = np.asarray(cab_region(_sighting(record)), np.float32)
    target = np.array([[0, 0], [_SIZE[0], 0], _SIZE, [0, _SIZE[1]]], np.float32)
    straight = cv2.getPerspectiveTransform(cab, target)
    ink = (mask & MASK_BITS["cab_number"]).astype(np.uint8) * 255
    if not np.isfinite(straight).all() or abs(np.linalg.det(straight)) < 1e-9:
        return corners, classes, np.zeros((4, 2), np.float32)
    text = str(record.get("cab_number") or "")
    if not text or len(text) > MOST or not record.get("cab_number_visible"):
        return corners, classes, cab
    if int((ink > 0).sum()) < _LEAST_INK:
        return corners, classes, cab
    flat = np.asarray(cv2.warpPerspective(ink, straight, _SIZE, flags=cv2.INTER_LINEAR)) > 100
    rows, cols = np.flatnonzero(flat.any(1)), np.flatnonzero(flat.any(0))
    if len(rows) < 4 or len(cols) < 2:
        return corners, classes, cab
    top, bottom, left, right = rows[0], rows[-1] + 1, cols[0], cols[-1] + 1
    spans = _spans(text, flat[top:bottom, left:right])
    if spans is None:
        return corners, classes, cab
    back = np.linalg.inv(straight)
    for index, (start, end) in enumerate(spans):
        x0, x1 = left + start * (right - left), left + end * (right - left)
        box = np.array([[[x0, top], [x1, top], [x1, bottom], [x0, bottom]]], np.float32)
        corners[index] = cv2.perspectiveTransform(box, back)[0]
        classes[index] = int(text[index])
    return corners, classes, cab


def _spans(text: str, ink: NDArray[np.bool_]) -> list[tuple[float, float]] | None:
    """From and to where each figure reaches, shares of the number's width."""
    size = (64, 24)
    seen = cv2.resize(ink.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    best, font = 0.0, ""
    for name in _FONTS:
        drawn = cv2.resize(bitmap(text, name).astype(np.float32), size, interpolation=3)
        like = float(np.minimum(seen, drawn).sum() / np.maximum(seen, drawn).sum())
        if like > best:
            best, font = like, name
    if best < _LEAST_LIKE:
        return None
    whole = bitmap(text, font).shape[1]
    ends = [bitmap(text[: k + 1], font).shape[1] / whole for k in range(len(text))]
    starts = [1.0 - bitmap(text[k:], font).shape[1] / whole for k in range(len(text))]
    return list(zip(starts, ends, strict=True))


def _sighting(record: dict[str, Any]) -> Sighting:
    regions = {name: tuple(map(tuple, quad)) for name, quad in record["regions"].items()}
    return Sighting(
        Box(*record["locomotive"]), None, Heading(record["faces"]), regions, record["visible"], 1.0
    )
