"""Crops to measure, and what was measured in them by name; for the tests of the features."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.data

import drawings as draw
from vision.features.boiler_top import measure_boiler_top
from vision.features.exposure import measure_exposure, measure_sharpness
from vision.features.paper import measure_paper
from vision.features.running_board import measure_running_board
from vision.features.side_rods import measure_side_rods
from vision.records import Box, Measurement

MEASURES = (
    (measure_boiler_top, draw.BOILER_TOP),
    (measure_side_rods, draw.SIDE_RODS),
    (measure_running_board, draw.RUNNING_BOARD),
    (measure_sharpness, draw.BOILER_TOP),
    (measure_paper, draw.BOILER_TOP),
    (measure_exposure, draw.BOILER_TOP),
)
CLEAN_AND_NOISY = pytest.mark.parametrize("sigma", [0.0, 4.0, 8.0])


def values(measurements: tuple[Measurement, ...]) -> dict[str, float]:
    names = [measurement.name for measurement in measurements]
    assert len(set(names)) == len(names)
    return {measurement.name: measurement.value for measurement in measurements}


def where(measurements: tuple[Measurement, ...], name: str) -> Box | None:
    return next(m.where for m in measurements if m.name == name)


def spoiled(crop: np.ndarray, sigma: float) -> np.ndarray:
    return draw.noisy(crop, sigma, np.random.default_rng(7)) if sigma else crop


def photograph(shape: tuple[int, int]) -> np.ndarray:
    """A part of scikit-image's astronaut (NASA, public domain), RGB, of that shape."""
    return np.ascontiguousarray(skimage.data.astronaut()[40 : 40 + shape[0], : shape[1]])
