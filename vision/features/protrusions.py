"""Thin upright things that stand on a line: candidates for a lever."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.crop import cielab_coded, coded_length, odd
from vision.records import Box, Pixels

# The widest lever, share of the crop height: 11 of 112 px, 1.7 % of the engine's
# length. Chimneys and domes of model engines are from about 3 % up (common practice,
# no source).
THIN_MAX_WIDTH = 0.10
# The least a thing must rise, share of the crop height: 6 px, 0.9 % of the length.
THIN_MIN_HEIGHT = 0.055
# A lever is at least this many times as high as it is wide.
THIN_MIN_ASPECT = 1.3
# How near its foot must come to the line, share of the crop height (5 px).
FOOT_GAP = 0.045
# Least colour difference from both sides (CIE76), and how many times the median over
# the sky; chosen on drawn noise, where it leaves few.
THIN_MIN_DE = 8.0
THIN_OVER_CLUTTER = 3.0
# Contrast at which the score has lost all but 1/e of its doubt, CIE76.
SCORE_DE = 15.0
# Share of the sky under other thin things from which a score is worth nothing.
CLUTTER_LIMIT = 0.12
# Height, share of the crop height, beyond which height adds nothing to the score (13
# px or 2 % of the engine's length): whistles and safety valves are lower.
FULL_SCORE_HEIGHT = 0.12


@dataclass(frozen=True, slots=True)
class Protrusion:
    """One thing standing on a line, in pixels of the crop.

    Attributes
    ----------
    height, width : float
        Along its own axis from the line up, and across it, px.
    x : float
        Column of its foot.
    tilt : float
        Radians from upright, positive leaning right.
    contrast : float
        Mean colour difference from both sides, CIE76.
    score : float
        0 to 1: strong, whole, straight, high enough, and alone in the sky.
    where : Box
    """

    height: float
    width: float
    x: float
    tilt: float
    contrast: float
    score: float
    where: Box


@dataclass(frozen=True, slots=True)
class ThinThings:
    """What is thin and upright above a line.

    Attributes
    ----------
    standing : tuple of Protrusion
        Those that stand on the line, in order of falling score.
    floating : float
        Share of the sky's pixels under thin things that stand on nothing.
    clutter : float
        Median over the sky of the thin contrast, CIE76.
    """

    standing: tuple[Protrusion, ...]
    floating: float
    clutter: float


def thin_protrusions(pixels: Pixels, line: NDArray[np.intp]) -> ThinThings:
    """Thin things that stand on a line, and how thin the texture behind them is.

    Parameters
    ----------
    pixels : ndarray, shape (H, W, 3), uint8, RGB
    line : ndarray, shape (W,), int
        Row of the line in each column; the sky is above it.

    Notes
    -----
    A thin thing is what a horizontal top-hat leaves (Meyer 1979; Soille,
    "Morphological Image Analysis", 2003): two edges of opposite sense less than
    THIN_MAX_WIDTH apart, at any tilt. A handrail, lying flat, leaves nothing.
    """
    height = pixels.shape[0]
    lowest = max(1, int(line.max()))
    contrast = _thin_contrast(pixels[:lowest], odd(THIN_MAX_WIDTH * height + 2.0))
    sky = np.arange(lowest)[:, None] < line[None, :]
    # Every other row and column tells the median as well.
    in_sky = contrast[::2, ::2][sky[::2, ::2]]
    if in_sky.size == 0:
        return ThinThings((), 0.0, 0.0)
    clutter = float(np.median(in_sky))
    mask = (contrast >= max(THIN_MIN_DE, THIN_OVER_CLUTTER * clutter)) & sky
    bars, covered = _standing_bars(mask, contrast, line, height)
    floating = (int(np.count_nonzero(mask)) - covered) / int(np.count_nonzero(sky))
    quiet = max(0.0, 1.0 - floating / CLUTTER_LIMIT)
    rated = [_rated(bar, height, quiet) for bar in bars]
    rated.sort(key=lambda thing: (-thing.score, thing.x))
    return ThinThings(tuple(rated), floating, clutter)


def _standing_bars(
    mask: NDArray[np.bool_], contrast: NDArray[np.float32], line: NDArray[np.intp], height: int
) -> tuple[list[Protrusion], int]:
    """The mask's pieces that reach down to the line and are bars, and their pixels."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    bars: list[Protrusion] = []
    covered = 0
    for index in np.flatnonzero(stats[:, cv2.CC_STAT_HEIGHT] >= THIN_MIN_HEIGHT * height):
        left, top, wide, high, area = (int(number) for number in stats[index])
        foot = int(line[left : left + wide].max())
        # Label 0 is everything that is not thin.
        if index == 0 or top + high < foot - FOOT_GAP * height:
            continue
        window = (slice(top, top + high), slice(left, left + wide))
        box = Box(left, top, left + wide, top + high)
        bar = _bar(labels[window] == index, contrast[window], box, line)
        if bar is not None and bar.width <= THIN_MAX_WIDTH * height:
            bars.append(bar)
            covered += area
    return bars, covered


def _thin_contrast(pixels: Pixels, widest: int) -> NDArray[np.float32]:
    """CIE76 of what is lighter, darker or otherwise coloured than both its sides."""
    smooth = cv2.GaussianBlur(pixels, (3, 3), 0)
    lab = cielab_coded(np.asarray(smooth, dtype=np.uint8))
    kernel = np.ones((1, widest), np.uint8)
    light = cv2.morphologyEx(lab, cv2.MORPH_TOPHAT, kernel)
    dark = cv2.morphologyEx(lab, cv2.MORPH_BLACKHAT, kernel)
    return coded_length(np.asarray(cv2.max(light, dark), dtype=np.uint8))


def _bar(
    mask: NDArray[np.bool_], contrast: NDArray[np.float32], box: Box, line: NDArray[np.intp]
) -> Protrusion | None:
    """Fit a straight bar to one component; None where it is too squat for one.

    The score here is only wholeness and straightness; `_rated` adds the rest.
    """
    rows = np.flatnonzero(mask.any(axis=1))
    shown = np.where(mask[rows], contrast[rows], 0.0)
    whole = shown.sum(axis=1)
    middles = (shown @ np.arange(mask.shape[1])) / whole
    slope, start = _straight(rows, middles)
    cosine = 1.0 / math.hypot(1.0, slope)
    # The mask reaches into the blur of both edges; the width that would hold the same
    # contrast at its peak does not.
    width = float(np.median(whole / shown.max(axis=1))) * cosine
    # Columns are counted at their middles, lengths from their edges.
    foot_x = float(box.left + start + slope * (mask.shape[0] - 1)) + 0.5
    rise = float(line[int(min(max(foot_x, 0.0), line.size - 1))] - box.top)
    if rise <= 0.0 or rise / cosine < THIN_MIN_ASPECT * width:
        return None
    off_axis = middles - (start + slope * rows)
    wander = math.sqrt(float(off_axis @ off_axis) / rows.size)
    score = min(1.0, rows.size / rise) / (1.0 + (wander / max(width, 1.0)) ** 2)
    # Rows grow downward: a top to the right of the foot is a negative slope.
    tilt = math.atan(-slope)
    strength = float(contrast[mask].mean())
    top_x = foot_x - slope * (mask.shape[0] - 1)
    half = width / 2.0 / cosine
    left, right = min(foot_x, top_x) - half, max(foot_x, top_x) + half
    where = Box(left, box.top, right, box.bottom).clipped(line.size, box.bottom)
    return Protrusion(rise / cosine, width, foot_x, tilt, strength, score, where)


def _straight(x: NDArray[np.intp], y: NDArray[np.float64]) -> tuple[float, float]:
    """Slope and start of the least-squares line through points."""
    # In closed form: np.polyfit takes ten times as long for so few.
    middle = float(x.sum()) / x.size
    away = x - middle
    slope = float(away @ y) / float(away @ away)
    return slope, float(y.sum()) / y.size - slope * middle


def _rated(bar: Protrusion, crop_height: int, quiet: float) -> Protrusion:
    strong = 1.0 - math.exp(-bar.contrast / SCORE_DE)
    high = min(1.0, bar.height / (FULL_SCORE_HEIGHT * crop_height))
    return replace(bar, score=bar.score * strong * high * quiet)
