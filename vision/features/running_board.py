"""The light or coloured line along the running board's edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.colour import COLOUR_NAMES, name_colour
from vision.features.crop import (
    checked_crop,
    cielab,
    cielab_coded,
    coded_length,
    columns_joined,
    length_of,
    odd,
)
from vision.features.paths import best_path
from vision.records import Box, Measurement, Pixels

# Columns averaged into one, px: the line is straight over four, noise is halved, and
# so is the time.
COLUMNS_JOINED = 4
# The thickest stripe, share of the crop height: 12 of 64 px. Chosen; edge stripes of
# model engines are 0.5 to 1.5 % of the engine's length (common practice, no source).
THICKEST = 0.19
# Contrast that is worth no more when exceeded, CIE76, so that one glint cannot outbid
# a faint line all along: about ten just noticeable differences of 2.3 (Mahy, Van
# Eycken & Oosterlinck 1994).
FULL_RIDGE_DE = 23.0
# Contrast a column needs to count as striped, CIE76: about four just noticeable
# differences, above what JPEG leaves along an edge. Chosen on drawn noise.
STRIPED_DE = 10.0
# The same in medians of what rises from row to row all over the crop: in gravel or
# foliage some path of bright specks can always be found. Chosen on drawn noise.
STRIPED_OVER_CLUTTER = 2.0
# How much lighter, or otherwise coloured, than both sides a stripe must be, so that a
# shadow between two light rows is none: two just noticeable differences. Chosen.
LIGHTER_OR_HUED_DE = 5.0
# Cost of one row up or down, in full ridges of one group of columns: a stepped running
# board must be worth following, noise not. Chosen on drawings.
BEND_COST = 0.5
# Worth lost for each crop height away from the middle, in full ridges.
PRIOR_PER_HEIGHT = 0.3
# Rows left out between stripe and neighbour, for the blur of the edge.
BLUR_PX = 2
# Rows averaged on either side for the neighbour's colour.
NEIGHBOUR_ROWS = 2


@dataclass(frozen=True, slots=True)
class _Profile:
    """Colours along the path, a value for each group of columns."""

    stripe: NDArray[np.float32]
    contrast: NDArray[np.float32]
    top: NDArray[np.float64]
    bottom: NDArray[np.float64]

    @property
    def thickness(self) -> NDArray[np.float64]:
        return self.bottom - self.top


def measure_running_board(crop: NDArray[Any]) -> tuple[Measurement, ...]:
    """The stripe along the running board's edge, if there is one.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB
        Nominally 64 x 512, the edge along the middle; it may step up.

    Returns
    -------
    tuple of Measurement
        stripe_continuity [share of columns] that are striped: contrast of at least
        STRIPED_DE and of twice the crop's own clutter;
        stripe_longest_run [share of columns]; stripe_gaps, count between its ends;
        stripe_contrast [delta E CIE76], median over all columns of the contrast with
        the rows above and below: the lesser of both, 0 for a mixture of them (an edge)
        and for what is merely darker;
        stripe_contrast_spread [delta E CIE76], between the quartiles of that (a
        reflection waxes and wanes, paint does not);
        stripe_thickness [px], median of the striped columns, 0 without any;
        stripe_bend [px per column], mean step of the path;
        stripe_l, stripe_a, stripe_b [CIELAB], median of the striped columns;
        stripe_colour [index into COLOUR_NAMES], -1 without any striped column;
        stripe_clutter [delta E CIE76], median over the crop of what rises from row to
        row.

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).

    Notes
    -----
    Ridge: vertical top-hat of L, a and b (Meyer 1979); line: `paths.best_path`.
    CIE76 is the Euclidean distance in CIELAB (CIE 15:2004).
    """
    pixels = checked_crop(crop)
    joined = columns_joined(pixels, COLUMNS_JOINED)
    path, clutter = _ridge_path(joined)
    profile = _profile(cielab(joined), path)
    striped = profile.contrast >= max(STRIPED_DE, STRIPED_OVER_CLUTTER * clutter)
    where = _where(profile, striped)
    return (
        *_continuity(striped, where),
        *_contrast(profile.contrast, where),
        *_paint(profile, path, striped, where),
        Measurement("stripe_clutter", clutter, "delta E CIE76"),
    )


def _ridge_path(pixels: Pixels) -> tuple[NDArray[np.intp], float]:
    """The best ridge's row in each column, and the median ridge over the whole crop."""
    height = pixels.shape[0]
    lab = cielab_coded(pixels)
    kernel = np.ones((odd(THICKEST * height + 2.0), 1), np.uint8)
    # Lighter than above and below, or otherwise coloured; never merely darker, which
    # is a shadow under the board or a gap behind it.
    ridge = cv2.morphologyEx(lab, cv2.MORPH_TOPHAT, kernel)
    other = cv2.morphologyEx(lab, cv2.MORPH_BLACKHAT, kernel)
    ridge[..., 1:] = cv2.max(ridge[..., 1:], other[..., 1:])
    contrast = coded_length(np.asarray(ridge, dtype=np.uint8))
    gain = np.minimum(contrast / FULL_RIDGE_DE, 1.0)
    middle = (height - 1) / 2.0
    away = np.abs(np.arange(height)[:, None] - middle) / height
    path = best_path(gain - PRIOR_PER_HEIGHT * away, BEND_COST, start_row=int(middle))
    return path, float(np.median(contrast))


def _profile(lab: NDArray[np.float32], path: NDArray[np.intp]) -> _Profile:
    """Stripe, contrast and thickness for each column of `lab`."""
    reach = odd(THICKEST * lab.shape[0])
    band = _band(lab, path, reach)
    # First against the far rows, where even the thickest stripe has ended, to find the
    # stripe's middle: the path may ride on its edge, above all where it has stepped.
    far = np.stack((band[:2].mean(axis=0), band[-2:].mean(axis=0)))
    up, down = _run_lengths(band, far, reach)
    shift = np.clip(np.rint((down - up) / 2.0), -reach // 2, reach // 2).astype(np.intp)
    band = _band(lab, path + shift, reach)
    typical = float(np.median(up + down - 1.0))
    # Then against the rows just outside: farther ones may hold boiler or wheels.
    edge = min(int(typical) // 2 + 1 + BLUR_PX, reach - NEIGHBOUR_ROWS + 1)
    above = band[reach - edge - NEIGHBOUR_ROWS + 1 : reach - edge + 1].mean(axis=0)
    below = band[reach + edge : reach + edge + NEIGHBOUR_ROWS].mean(axis=0)
    core = max(0, (int(typical) - BLUR_PX) // 2)
    stripe = np.asarray(band[reach - core : reach + core + 1].mean(axis=0), dtype=np.float32)
    up, down = _run_lengths(band, np.stack((above, below)), reach)
    contrast = _ridge_contrast(stripe, above, below)
    lighter = stripe[:, 0] - np.maximum(above[:, 0], below[:, 0])
    hued = _ridge_contrast(stripe[:, 1:], above[:, 1:], below[:, 1:])
    contrast[np.maximum(lighter, hued) < LIGHTER_OR_HUED_DE] = 0.0
    middle = path + shift
    # Each run counts the middle row; both are 0 where it is like its sides.
    top = np.asarray(middle + 1.0 - np.maximum(up, 1.0), dtype=np.float64)
    bottom = np.asarray(middle + np.maximum(down, 1.0), dtype=np.float64)
    return _Profile(stripe, contrast, top, bottom)


def _band(lab: NDArray[np.float32], path: NDArray[np.intp], reach: int) -> NDArray[np.float32]:
    """Rows from `reach` above to `reach` below the path: (2 reach + 1, columns, 3)."""
    height, columns = lab.shape[:2]
    rows = path[None, :] + np.arange(-reach, reach + 1)[:, None]
    band = lab[np.clip(rows, 0, height - 1), np.arange(columns)[None, :]]
    return np.asarray(band, dtype=np.float32)


def _ridge_contrast(
    stripe: NDArray[np.float32], above: NDArray[np.float32], below: NDArray[np.float32]
) -> NDArray[np.float32]:
    """The lesser contrast with both sides, 0 for any mixture of the two.

    The Gromov product of the sides as seen from the stripe: where above and below are
    alike it is the contrast with them; for the blend at a mere edge it is nothing.
    """
    both = length_of(stripe - above) + length_of(stripe - below)
    return np.asarray((both - length_of(above - below)) / 2.0, dtype=np.float32)


def _run_lengths(
    band: NDArray[np.float32], sides: NDArray[np.float32], centre: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rows from the centre up, and down, that are more like it than like that side.

    Both count the centre row; 0 where it is no different from that side.
    """
    runs = []
    for side, outward in ((sides[0], band[centre::-1]), (sides[1], band[centre:])):
        own = length_of(outward - band[centre]) < length_of(outward - side)
        runs.append(np.logical_and.accumulate(own, axis=0).sum(axis=0).astype(np.float64))
    return runs[0], runs[1]


def _where(profile: _Profile, striped: NDArray[np.bool_]) -> Box | None:
    columns = np.flatnonzero(striped)
    if columns.size == 0:
        return None
    left, right = (float(COLUMNS_JOINED * edge) for edge in (columns[0], columns[-1] + 1))
    # A tenth off either end of the rows: one stray column must not swell the box.
    top = max(0.0, float(np.percentile(profile.top[columns], 10)))
    return Box(left, top, right, float(np.percentile(profile.bottom[columns], 90)))


def _continuity(striped: NDArray[np.bool_], where: Box | None) -> tuple[Measurement, ...]:
    changes = np.flatnonzero(np.diff(striped, prepend=False, append=False))
    runs = changes[1::2] - changes[::2]
    longest = float(runs.max()) / striped.size if runs.size else 0.0
    gaps = float(max(runs.size - 1, 0))
    return (
        Measurement("stripe_continuity", float(striped.mean()), "share of columns", where),
        Measurement("stripe_longest_run", longest, "share of columns", where),
        Measurement("stripe_gaps", gaps, "1", where),
    )


def _contrast(contrast: NDArray[np.float32], where: Box | None) -> tuple[Measurement, ...]:
    low, middle, high = (float(q) for q in np.percentile(contrast, (25, 50, 75)))
    return (
        Measurement("stripe_contrast", middle, "delta E CIE76", where),
        Measurement("stripe_contrast_spread", high - low, "delta E CIE76", where),
    )


def _paint(
    profile: _Profile,
    path: NDArray[np.intp],
    striped: NDArray[np.bool_],
    where: Box | None,
) -> tuple[Measurement, ...]:
    thickness, lab, colour = 0.0, (0.0, 0.0, 0.0), -1.0
    if striped.any():
        thickness = float(np.median(profile.thickness[striped]))
        lightness, a, b = (float(v) for v in np.median(profile.stripe[striped], axis=0))
        lab = (lightness, a, b)
        colour = float(COLOUR_NAMES.index(name_colour(lightness, a, b)))
    bend = float(np.abs(np.diff(path)).mean()) / COLUMNS_JOINED
    return (
        Measurement("stripe_thickness", thickness, "px", where),
        Measurement("stripe_bend", bend, "px/column", where),
        *(
            Measurement(f"stripe_{axis}", value, "CIELAB", where)
            for axis, value in zip("lab", lab, strict=True)
        ),
        Measurement("stripe_colour", colour, "index into COLOUR_NAMES", where),
    )
