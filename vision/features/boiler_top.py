"""The boiler's top line against the background, and what stands up from it."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features.crop import checked_crop, cielab_coded, coded_length, columns_joined
from vision.features.paths import best_path
from vision.features.protrusions import THIN_MAX_WIDTH, Protrusion, thin_protrusions
from vision.records import Box, Measurement, Pixels

# Columns averaged into one, px: a chimney of 14 px still covers four, noise falls by
# 1.7, and so does the time.
COLUMNS_JOINED = 3
# Where the crop has the boiler's top line, share of the height from above: it spans
# 12 % of the engine's length above the line and 5 % below.
EXPECTED_ROW = 12.0 / 17.0
# Colour difference (CIE76) from which an edge is as good as any: about ten just
# noticeable differences of 2.3 (Mahy, Van Eycken & Oosterlinck 1994).
FULL_EDGE_DE = 23.0
# Share of a full edge from which the line counts as supported in a column: about
# three just noticeable differences.
SUPPORT = 0.3
# An edge must also rise above the crop's own texture: this many times the median step.
# Chosen on drawn noise.
EDGE_OVER_CLUTTER = 2.5
# Worth lost for each crop height away from EXPECTED_ROW, in full edges. Chosen on
# drawings: settles blank crops and ties, never outweighs a visible edge.
PRIOR_PER_HEIGHT = 1.0
# Cost of one row up or down, in full edges of one group of columns: the boiler's line
# must not climb a dome (60 px wide, 25 high); the silhouette must climb a chimney (14
# px wide, 45 high). Chosen on those drawings.
BOILER_BEND_COST = 1.0
SILHOUETTE_BEND_COST = 0.04
# Worth of staying on the boiler's line without an edge, in full edges, so that the
# silhouette of a blank crop is the line.
STAY = 0.05
# The least a wide protrusion must rise, share of the crop height: 8 px, 1.3 % of the
# engine's length.
WIDE_MIN_HEIGHT = 0.075
# Share of its columns whose top must be an edge: the flanks of a dome are too steep for
# one, texture passes by chance. Chosen on drawn domes and noise.
WIDE_EDGED = 0.6


def measure_boiler_top(crop: NDArray[Any]) -> tuple[Measurement, ...]:
    """The top line of the boiler and the protrusions above it.

    Parameters
    ----------
    crop : ndarray, shape (H, W, 3), uint8, RGB
        Nominally 112 x 384: the boiler's top line about 70 % of the height down, the
        background above it.

    Returns
    -------
    tuple of Measurement
        boiler_line_row [px from the top], median row of the line;
        boiler_line_contrast [delta E CIE76], mean across the line;
        boiler_line_support [share of columns] with an edge under the line;
        boiler_line_bend [px], rows between its highest and lowest point;
        background_clutter [delta E CIE76], median of thin upright texture above the
        line; background_thin [share of pixels] above it under thin things that do not
        stand on it;
        thin_count, protrusions no wider than a lever, and of the one that scores best:
        thin_height [px], along its own axis; thin_width [px], across it; thin_x [px],
        of its foot; thin_tilt [radian], positive leaning right, to the rear;
        thin_contrast [delta E CIE76]; thin_score [1], 0 to 1;
        wide_count, protrusions wider than a lever (chimney, dome), and of the highest:
        wide_height [px]; wide_width [px], at half its height; wide_x [px];
        wide_columns [px] under all of them.

    Raises
    ------
    ValueError
        If the crop is not uint8 (H, W, 3).

    Notes
    -----
    Line and silhouette are best paths over columns (`paths.best_path`), one stiff,
    one supple; a thin thing is what a top-hat leaves (`protrusions`).
    """
    pixels = checked_crop(crop)
    height, width = pixels.shape[:2]
    step = _step_down(pixels)
    # What steps everywhere is texture, and no edge.
    texture = EDGE_OVER_CLUTTER * float(np.median(step))
    floor = max(SUPPORT * FULL_EDGE_DE, texture)
    line, silhouette = _line_and_silhouette(step, texture)
    across = step[line, np.arange(line.size)]
    every_column = np.minimum(np.arange(width) // COLUMNS_JOINED, line.size - 1)
    things = thin_protrusions(pixels, line[every_column])
    # A path may cross the sky without an edge; only what has one is a thing.
    edged = step[silhouette, np.arange(line.size)] >= floor
    supported = float((across >= floor).mean())
    return (
        Measurement("boiler_line_row", float(np.median(line)), "px"),
        Measurement("boiler_line_contrast", float(across.mean()), "delta E CIE76"),
        Measurement("boiler_line_support", supported, "share of columns"),
        Measurement("boiler_line_bend", float(np.ptp(line)), "px"),
        Measurement("background_clutter", things.clutter, "delta E CIE76"),
        Measurement("background_thin", things.floating, "share of pixels"),
        *_thin_measurements(things.standing),
        *_wide_measurements(_wide_boxes(line, line - silhouette, edged, height)),
    )


def _step_down(pixels: Pixels) -> NDArray[np.float32]:
    """CIE76 between the rows at and above each pixel; columns are joined."""
    lab = cielab_coded(columns_joined(pixels, COLUMNS_JOINED))
    # Two rows against two: one row alone would follow the noise. The anchor makes a
    # pixel the first row below the edge.
    kernel = np.array([[-0.5], [-0.5], [0.5], [0.5]], np.float32)
    step = cv2.filter2D(lab, cv2.CV_32F, kernel, anchor=(0, 2), borderType=cv2.BORDER_REPLICATE)
    return coded_length(np.asarray(step, dtype=np.float32))


def _line_and_silhouette(
    step: NDArray[np.float32], texture: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    height = step.shape[0]
    rows = np.arange(height)[:, None]
    expected = EXPECTED_ROW * height
    # Less the texture, or a path would wander along it.
    gain = np.clip((step - texture) / FULL_EDGE_DE, 0.0, 1.0)
    prior = PRIOR_PER_HEIGHT / height * np.abs(rows - expected)
    line = best_path(gain - prior, BOILER_BEND_COST, start_row=int(expected))
    gain[line, np.arange(line.size)] += STAY
    # Edges under the line are lining and lettering, no silhouette.
    lowest = int(line.max()) + 1
    above = np.where(rows[:lowest] > line[None, :], -1.0, gain[:lowest])
    return line, best_path(above, SILHOUETTE_BEND_COST)


def _thin_measurements(things: tuple[Protrusion, ...]) -> tuple[Measurement, ...]:
    best = things[0] if things else Protrusion(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, Box(0, 0, 0, 0))
    where = best.where if things else None
    return (
        Measurement("thin_count", float(len(things)), "1"),
        Measurement("thin_height", best.height, "px", where),
        Measurement("thin_width", best.width, "px", where),
        Measurement("thin_x", best.x, "px", where),
        Measurement("thin_tilt", best.tilt, "radian", where),
        Measurement("thin_contrast", best.contrast, "delta E CIE76", where),
        Measurement("thin_score", best.score, "1", where),
    )


def _wide_measurements(found: list[Box]) -> tuple[Measurement, ...]:
    highest = max(found, key=lambda box: box.height, default=None)
    height, width, x = (
        (highest.height, highest.width, highest.centre[0]) if highest else (0.0, 0.0, 0.0)
    )
    return (
        Measurement("wide_count", float(len(found)), "1"),
        Measurement("wide_height", height, "px", highest),
        Measurement("wide_width", width, "px", highest),
        Measurement("wide_x", x, "px", highest),
        Measurement("wide_columns", float(sum(box.width for box in found)), "px"),
    )


def _wide_boxes(
    line: NDArray[np.intp], rise: NDArray[np.intp], edged: NDArray[np.bool_], crop_height: int
) -> list[Box]:
    """Boxes, as wide as at half height, of what the silhouette climbs over."""
    high = np.flatnonzero(np.diff(rise >= WIDE_MIN_HEIGHT * crop_height, prepend=0, append=0))
    boxes = []
    for start, stop in zip(high[::2], high[1::2], strict=True):
        top = float(np.percentile(rise[start:stop], 90))
        columns = start + np.flatnonzero(rise[start:stop] >= top / 2.0)
        left, right = COLUMNS_JOINED * columns[0], COLUMNS_JOINED * (columns[-1] + 1)
        wide = right - left > THIN_MAX_WIDTH * crop_height
        if wide and edged[columns].mean() >= WIDE_EDGED:
            foot = float(np.median(line[start:stop]))
            boxes.append(Box(float(left), foot - top, float(right), foot))
    return boxes
