"""The running board measured: draw it, then find it; the same quantity computed twice."""

from __future__ import annotations

import numpy as np
import pytest
import skimage.color
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

import drawings as draw
from measured import CLEAN_AND_NOISY, spoiled, values, where
from vision.features.colour import COLOUR_NAMES
from vision.features.running_board import _ridge_contrast, measure_running_board
from vision.records import Box


@CLEAN_AND_NOISY
@pytest.mark.parametrize("thick", [2.0, 4.0, 6.0, 9.0])
@pytest.mark.parametrize(("colour", "name"), [(draw.CREAM, "cream"), (draw.RED, "red")])
def test_finds_the_stripe_that_was_drawn(
    colour: draw.Colour, name: str, thick: float, sigma: float
) -> None:
    crop = draw.running_board((0, 512), colour=colour, thick=thick)
    found = measure_running_board(spoiled(crop, sigma))
    got = values(found)
    assert got["stripe_continuity"] > 0.98
    assert got["stripe_longest_run"] > 0.95
    assert got["stripe_gaps"] <= 1
    assert got["stripe_thickness"] == pytest.approx(thick, abs=1.0)
    assert COLOUR_NAMES[int(got["stripe_colour"])] == name
    expected = skimage.color.rgb2lab(np.array([[colour]], np.uint8) / 255.0)[0, 0]
    lab = [got["stripe_l"], got["stripe_a"], got["stripe_b"]]
    assert skimage.color.deltaE_ciede2000(expected, lab) < 2.0
    assert got["stripe_bend"] < 0.02
    box = where(found, "stripe_thickness")
    assert box is not None
    assert box.intersection_over_union(Box(0, 32 - thick / 2, 512, 32 + thick / 2)) > 0.6


def test_stripe_contrast_is_scikit_images_colour_difference() -> None:
    """Six rows of stripe on a black board that reaches beyond: one difference for both."""
    for colour in (draw.CREAM, draw.RED):
        crop = draw.running_board((0, 512), colour=colour)
        stripe, board = (
            skimage.color.rgb2lab(np.array([[c]], np.uint8) / 255.0) for c in (colour, draw.BLACK)
        )
        expected = float(skimage.color.deltaE_cie76(stripe, board)[0, 0])
        got = values(measure_running_board(crop))
        assert got["stripe_contrast"] == pytest.approx(expected, rel=0.01)


@CLEAN_AND_NOISY
def test_finds_the_gaps_that_were_drawn(sigma: float) -> None:
    crop = draw.running_board((0, 100), (140, 300), (320, 512))
    got = values(measure_running_board(spoiled(crop, sigma)))
    assert got["stripe_gaps"] == 2
    assert got["stripe_continuity"] == pytest.approx((100 + 160 + 192) / 512, abs=0.02)
    assert got["stripe_longest_run"] == pytest.approx(192 / 512, abs=0.02)


@CLEAN_AND_NOISY
def test_follows_a_board_that_steps_up(sigma: float) -> None:
    crop = draw.running_board((0, 512), step=(260, 14))
    got = values(measure_running_board(spoiled(crop, sigma)))
    assert got["stripe_continuity"] > 0.95
    assert got["stripe_thickness"] == pytest.approx(4, abs=1)
    assert COLOUR_NAMES[int(got["stripe_colour"])] == "cream"


@CLEAN_AND_NOISY
@pytest.mark.parametrize(
    "crop",
    [
        draw.running_board(),
        np.full((64, 512, 3), 130, np.uint8),
        draw.drawn(draw.RUNNING_BOARD, draw.WALL, [(draw.BLACK, draw.rectangle(0, 32, 512, 65))]),
        draw.drawn(draw.RUNNING_BOARD, draw.WALL, [(draw.BLACK, draw.rectangle(0, 30, 512, 34))]),
        draw.running_board((0, 512), thick=30),
    ],
    ids=["bare", "blank", "edge", "shadow", "band"],
)
def test_what_is_no_stripe_is_not_taken_for_one(crop: np.ndarray, sigma: float) -> None:
    got = values(measure_running_board(spoiled(crop, sigma)))
    assert got["stripe_continuity"] < 0.1
    assert got["stripe_contrast"] < 5


@pytest.mark.parametrize("seed", range(5))
def test_noise_is_no_stripe(seed: int) -> None:
    noise = np.random.default_rng(seed).integers(0, 256, (64, 512, 3), dtype=np.uint8)
    got = values(measure_running_board(noise))
    assert got["stripe_continuity"] < 0.1
    assert got["stripe_clutter"] > 30


def test_a_glint_waxes_and_wanes_where_paint_does_not() -> None:
    paint = draw.running_board((0, 512))
    bare = draw.running_board()
    swell = np.exp(-(((np.arange(512) - 250) / 120.0) ** 2))[None, :, None]
    glint = np.rint(bare + (paint.astype(float) - bare) * swell).astype(np.uint8)
    painted, glinting = (values(measure_running_board(crop)) for crop in (paint, glint))
    assert painted["stripe_contrast_spread"] < 5
    assert glinting["stripe_contrast_spread"] > 30
    assert glinting["stripe_continuity"] < 0.95


@settings(max_examples=50, deadline=None)
@given(
    colours=hnp.arrays(np.float32, (3, 1, 3), elements=st.integers(-80, 80).map(float)),
    share=st.floats(0, 1),
)
def test_ridge_contrast_is_nothing_for_a_mixture_and_never_more_than_either(
    colours: np.ndarray, share: float
) -> None:
    stripe, above, below = colours
    got = _ridge_contrast(stripe, above, below)
    nearer = min(float(skimage.color.deltaE_cie76(stripe, side)[0]) for side in (above, below))
    assert -1e-3 <= got[0] <= nearer + 1e-3
    assert _ridge_contrast(stripe, above, above)[0] == pytest.approx(
        float(skimage.color.deltaE_cie76(stripe, above)[0]), abs=1e-3
    )
    blend = np.float32(share) * above + np.float32(1.0 - share) * below
    assert _ridge_contrast(blend, above, below)[0] == pytest.approx(0.0, abs=1e-2)
