"""Visible is what stands out: parts of their surroundings' colour do not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.color import deltaE_cie76, lab2rgb, rgb2lab

from tools.render.contrast import DISTINCT, distinct_pixels, only_distinct
from tools.render.view import MASK_BITS

SHAPE = (80, 120)
PART = np.zeros(SHAPE, bool)
PART[30:50, 58:62] = True


def bar_on(ground: tuple[float, float, float], gap: float) -> NDArray[np.uint8]:
    """A bar lighter than its ground by so many units of CIELAB's L."""
    lab = np.empty((*SHAPE, 3))
    lab[:] = ground
    lab[PART] += (gap, 0.0, 0.0)
    return np.round(255 * lab2rgb(lab)).astype(np.uint8)


@pytest.mark.parametrize("ground", [(25.0, 0.0, 0.0), (45.0, 30.0, 20.0), (60.0, -20.0, 35.0)])
@pytest.mark.parametrize("gap", [0.0, 3.0, 16.0])
def test_a_bar_stands_out_by_the_difference_that_scikit_image_measures(
    ground: tuple[float, float, float], gap: float
) -> None:
    """The colour difference is scikit-image's CIE76; the 3 by 3 mean thins the bar's rim."""
    picture = bar_on(ground, gap)
    lab = rgb2lab(picture)
    measured = deltaE_cie76(lab[PART].mean(0), lab[~PART].mean(0))
    assert measured == pytest.approx(gap, abs=1.0)
    found = distinct_pixels(picture, PART)
    if measured > 1.5 * DISTINCT:
        assert found >= 0.9 * PART.sum()
    else:
        assert found == 0


def test_grain_alone_is_no_difference() -> None:
    rng = np.random.default_rng(2)
    flat = np.full((*SHAPE, 3), 120.0)
    grainy = np.clip(flat + rng.normal(0, 6, flat.shape), 0, 255).astype(np.uint8)
    assert distinct_pixels(grainy, PART) < 0.1 * PART.sum()


def test_a_part_that_is_not_there_has_no_pixels() -> None:
    assert distinct_pixels(bar_on((50.0, 0.0, 0.0), 20.0), np.zeros(SHAPE, bool)) == 0


def label(state: str, *, lamps: int = 0) -> dict[str, object]:
    cue = {"state": state, "visible": True, "pixels": int(PART.sum())}
    return {"cues": {"switch_lever": cue}, "tender_lamps": lamps, "lamps_visible": True}


def test_only_what_stands_out_is_called_visible() -> None:
    mask = PART.astype(np.uint8) * MASK_BITS["switch_lever"]
    plain, clear = bar_on((40.0, 5.0, 5.0), 0.0), bar_on((40.0, 5.0, 5.0), 20.0)
    for picture, visible in ((plain, False), (clear, True)):
        told = only_distinct(label("present"), picture, mask)["cues"]["switch_lever"]
        assert told["visible"] is visible
        assert (told["distinct_px"] > 0) is visible
    assert only_distinct(label("absent"), plain, 0 * mask)["cues"]["switch_lever"]["visible"]
    nothing = {"locomotive": None}
    assert only_distinct(nothing, plain, mask) == nothing


@pytest.mark.parametrize(("rows", "visible"), [(2, False), (6, True)])
def test_so_much_of_a_lever_has_to_stand_out_that_it_can_be_found(rows: int, visible: bool) -> None:
    """The 3 by 3 mean takes a row more in: 12 pixels, and 28."""
    mask = PART.astype(np.uint8) * MASK_BITS["switch_lever"]
    picture = bar_on((40.0, 5.0, 5.0), 0.0)
    picture[50 - rows : 50, 58:62] = bar_on((40.0, 5.0, 5.0), 40.0)[50 - rows : 50, 58:62]
    told = only_distinct(label("present"), picture, mask)["cues"]["switch_lever"]
    assert told["distinct_px"] > 4 * rows - 1
    assert told["visible"] is visible


def test_lamps_count_where_each_has_pixels_that_stand_out() -> None:
    mask = PART.astype(np.uint8) * MASK_BITS["tender_lamp"]
    plain, clear = bar_on((40.0, 5.0, 5.0), 0.0), bar_on((40.0, 5.0, 5.0), 20.0)
    assert only_distinct(label("absent", lamps=2), clear, mask)["lamps_visible"]
    assert not only_distinct(label("absent", lamps=2), plain, mask)["lamps_visible"]
    assert only_distinct(label("absent", lamps=0), plain, 0 * mask)["lamps_visible"]


def test_a_number_of_its_plates_colour_is_not_there_to_be_read() -> None:
    mask = PART.astype(np.uint8) * MASK_BITS["cab_number"]
    plain, clear = bar_on((40.0, 5.0, 5.0), 0.0), bar_on((40.0, 5.0, 5.0), 20.0)
    there = {**label("absent"), "cab_number_visible": True}
    assert only_distinct(there, clear, mask)["cab_number_visible"]
    assert not only_distinct(there, plain, mask)["cab_number_visible"]
    # One that lies outside the picture has no pixels at all.
    assert not only_distinct(there, clear, 0 * mask)["cab_number_visible"]
