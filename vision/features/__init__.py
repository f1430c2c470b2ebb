"""Classical measurements on one rectified crop: edges, lines, circles, profiles, colour.

Every `measure_` function takes a crop, ndarray (H, W, 3), uint8, RGB, the engine facing left
(its front at the left edge), leaves it untouched, and returns a tuple of
`Measurement` whose names and order never change: where nothing was found counts,
lengths and scores are 0 and `where` is None. `where` is in pixels of the crop.
"""

from __future__ import annotations

from vision.features.boiler_top import measure_boiler_top
from vision.features.colour import (
    COLOUR_NAMES,
    line_colour_shares,
    name_colour,
    named_colours,
)
from vision.features.exposure import measure_exposure, measure_sharpness
from vision.features.grain import grain, without_grain
from vision.features.hue import by_hue, has_red
from vision.features.paper import measure_paper
from vision.features.running_board import measure_running_board
from vision.features.side_rods import measure_side_rods

__all__ = [
    "COLOUR_NAMES",
    "by_hue",
    "grain",
    "has_red",
    "line_colour_shares",
    "measure_boiler_top",
    "measure_exposure",
    "measure_paper",
    "measure_running_board",
    "measure_sharpness",
    "measure_side_rods",
    "name_colour",
    "named_colours",
    "without_grain",
]
