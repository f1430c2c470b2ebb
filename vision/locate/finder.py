"""Engine and tender in the whole photo, and what else looks like an engine there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.network import Networks
from vision.records import Box, Photo
from vision.rectify import Crop, box_crop, sharpened, stepped_back, whole

# A box narrower than this (pixels of the full-size photo) shows no part of an engine.
MIN_WIDTH_PX = 40.0
# Score below which the finder looks again: from nearer, at so many widths of what it may
# have seen, but no fewer than such a share of the picture's; then sharpened, and from so
# much further away. Of 278 renders, half of them of castings it never saw, it then found
# 98 instead of 95 %, and of the same spoilt at severity 3 82 instead of 59 % out of focus
# and 74 instead of 59 % in motion.
_SURE = 0.7
_NEAR, _NEAR_LEAST = 2.0, 0.3
_BACK = 1.4
_STRIDE = 8  # input pixels per cell of the finder's map
# Cells round the peak whose boxes are averaged, weighted by their score; by eye this
# steadies the box by a few pixels against single-cell noise.
_PEAK_RADIUS = 1
# Score from which a peak is a hint. The finder has learnt to pass over all but one engine of a
# picture: others leave faint peaks, no higher than those of wagons (`vision.locate.another`).
_FAINT = 0.05
_NEIGHBOURS = np.ones((5, 5), np.uint8)  # cells within which only the highest is a peak


@dataclass(frozen=True, slots=True)
class Glimpse:
    """What the finder sees in the whole photo: boxes with scores, before the second look.

    `hints` are the boxes of all its peaks from faint ones up, the surest first, as it saw
    them at the first look.
    """

    locomotive: Box
    score: float
    tender: Box
    tender_score: float
    hints: tuple[Box, ...] = ()


def find(photo: Photo, networks: Networks) -> Glimpse:
    """The most likely engine and tender in the whole photo.

    An unsure finder looks again, and the surest look counts: first nearer at what it may
    have seen, since small engines are lost in the whole photo; then at all of it sharpened,
    which may be out of focus, and from further back, since an engine that fills the frame
    is larger than most it has learnt from, and blur is less of a small picture.
    """
    view = whole(photo, networks["finder"].size)
    looks = [find_in(view, photo, networks)]
    if looks[0].score < _SURE:
        near = nearer(photo, looks[0].locomotive, networks["finder"].size)
        looks.append(find_in(near, photo, networks))
    if max(look.score for look in looks) < _SURE:
        again = (sharpened(view), stepped_back(view, _BACK))
        looks += [find_in(other, photo, networks) for other in again]
    best = max(looks, key=lambda look: look.score)
    # From nearer the tender may lie beyond the edge: the look that shows it best counts.
    tender = max(looks, key=lambda look: look.tender_score)
    return replace(
        best, tender=tender.tender, tender_score=tender.tender_score, hints=looks[0].hints
    )


def nearer(photo: Photo, seen: Box, size: tuple[int, int]) -> Crop:
    """What lies round a box.

    Parameters
    ----------
    photo : Photo
    seen : Box
        In pixels of the upright full-size photo.
    size : (int, int)
        Width and height of the picture to make, pixels.
    """
    width, height = size
    x, y = seen.centre
    across = max(_NEAR * seen.width, _NEAR_LEAST * photo.size[0]) / 2
    down = across * height / width
    return box_crop(photo, Box(x - across, y - down, x + across, y + down), (width, height))


def find_in(view: Crop, photo: Photo, networks: Networks) -> Glimpse:
    """What one look shows.

    Parameters
    ----------
    view : Crop
        Of `photo`, as large as the finder's input.
    photo : Photo
    networks : Networks
        "finder" is used.

    Returns
    -------
    Glimpse
        Boxes in pixels of the upright full-size photo, within it.
    """
    maps = networks["finder"].run(view.pixels)["maps"]
    locomotive, score = _peak(maps[0], maps[2:6], view)
    tender, tender_score = _peak(maps[1], maps[6:10], view)
    width, height = photo.size
    return Glimpse(
        locomotive.clipped(width, height),
        score,
        tender.clipped(width, height),
        tender_score,
        tuple(box.clipped(width, height) for box in _peaks(maps[0], maps[2:6], view)),
    )


def _peaks(scores: NDArray[np.float32], sides: NDArray[np.float32], view: Crop) -> list[Box]:
    """Boxes of all peaks, the highest first."""
    highest = cv2.dilate(scores, _NEIGHBOURS)
    cells = np.argwhere((scores >= highest) & (scores >= _FAINT)).tolist()
    cells.sort(key=lambda cell: -float(scores[cell[0], cell[1]]))
    return [_box_at(row, col, scores, sides, view) for row, col in cells]


def _peak(scores: NDArray[np.float32], sides: NDArray[np.float32], view: Crop) -> tuple[Box, float]:
    row, col = (int(i) for i in np.unravel_index(int(np.argmax(scores)), scores.shape))
    return _box_at(row, col, scores, sides, view), float(scores[row, col])


def _box_at(
    row: int, col: int, scores: NDArray[np.float32], sides: NDArray[np.float32], view: Crop
) -> Box:
    """The box of a cell and its neighbours, weighted by their scores."""
    height, width = scores.shape
    down = np.arange(max(0, row - _PEAK_RADIUS), min(height, row + _PEAK_RADIUS + 1))
    across = np.arange(max(0, col - _PEAK_RADIUS), min(width, col + _PEAK_RADIUS + 1))
    rows, cols = slice(down[0], down[-1] + 1), slice(across[0], across[-1] + 1)
    weight = scores[rows, cols].astype(np.float64)
    weight = weight / weight.sum()
    x, y = (across + 0.5) * _STRIDE, (down[:, None] + 0.5) * _STRIDE
    left, top, right, bottom = sides[:, rows, cols] * view.pixels.shape[1]
    edges = [float((weight * e).sum()) for e in (x - left, y - top, x + right, y + bottom)]
    box = Box(edges[0], edges[1], max(edges[0], edges[2]), max(edges[1], edges[3]))
    return view.photo_box(box)
