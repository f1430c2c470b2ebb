"""The boiler top measured: draw it, then find it; and the same quantity computed twice."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
import skimage.color
import skimage.data
import skimage.morphology

import drawings as draw
from measured import CLEAN_AND_NOISY, spoiled, values, where
from vision.features.boiler_top import measure_boiler_top
from vision.features.protrusions import _thin_contrast
from vision.records import Box


@CLEAN_AND_NOISY
@pytest.mark.parametrize("high", [14.0, 26.0, 50.0])
@pytest.mark.parametrize(("x", "wide"), [(40.0, 3.0), (200.0, 5.0), (333.0, 8.0)])
def test_finds_the_lever_that_was_drawn(x: float, wide: float, high: float, sigma: float) -> None:
    crop = draw.boiler_top((draw.BLACK, draw.lever(x, 79, high, wide=wide)))
    found = measure_boiler_top(spoiled(crop, sigma))
    got = values(found)
    assert got["thin_count"] == 1
    assert got["thin_x"] == pytest.approx(x, abs=1.0)
    assert got["thin_height"] == pytest.approx(high, abs=2.0)
    assert got["thin_width"] == pytest.approx(wide, abs=1.0)
    assert got["thin_tilt"] == pytest.approx(0.0, abs=0.05)
    assert got["thin_score"] > 0.8
    assert got["wide_count"] == 0
    assert got["boiler_line_row"] == pytest.approx(79, abs=1)
    drawn = Box(x - wide / 2, 79 - high, x + wide / 2, 79)
    box = where(found, "thin_score")
    assert box is not None and box.intersection_over_union(drawn) > 0.5


@CLEAN_AND_NOISY
@pytest.mark.parametrize("tilt_deg", [-35, -15, 20, 35])
def test_finds_how_a_lever_leans(tilt_deg: float, sigma: float) -> None:
    tilt = math.radians(tilt_deg)
    crop = draw.boiler_top((draw.CREAM, draw.lever(150, 79, 32, tilt=tilt)), wall=(60, 70, 90))
    got = values(measure_boiler_top(spoiled(crop, sigma)))
    assert got["thin_tilt"] == pytest.approx(tilt, abs=math.radians(4))
    assert got["thin_height"] == pytest.approx(32, abs=2.5)
    assert got["thin_x"] == pytest.approx(150, abs=1.5)


@CLEAN_AND_NOISY
def test_a_chimney_and_a_dome_are_wide_and_no_lever(sigma: float) -> None:
    chimney = draw.rectangle(40, 40, 62, 80)
    crop = draw.boiler_top((draw.BLACK, chimney), (draw.BLACK, draw.dome(180, 79, 22, 50)))
    got = values(measure_boiler_top(spoiled(crop, sigma)))
    assert got["thin_count"] == 0 and got["thin_score"] == 0
    assert got["wide_count"] == 2
    assert got["wide_height"] == pytest.approx(39, abs=2)
    # Columns are joined by three.
    assert got["wide_width"] == pytest.approx(22, abs=4.5)
    assert got["wide_x"] == pytest.approx(51, abs=3)
    assert got["wide_columns"] == pytest.approx(22 + 50, abs=9)


@CLEAN_AND_NOISY
def test_finds_the_lever_among_its_false_friends_on_a_falling_line(sigma: float) -> None:
    crop = draw.boiler_top(
        (draw.BLACK, draw.rectangle(40, 40, 62, 82)),
        (draw.BLACK, draw.dome(180, 83, 22, 50)),
        (draw.BLACK, draw.lever(300, 85.3, 24)),
        drop=8.0,
    )
    got = values(measure_boiler_top(spoiled(crop, sigma)))
    assert got["thin_count"] == 1
    assert got["thin_x"] == pytest.approx(300, abs=1)
    assert got["thin_height"] == pytest.approx(24, abs=2)
    assert got["wide_count"] == 2
    assert got["boiler_line_bend"] == pytest.approx(8, abs=2.5)


def test_a_stub_and_a_whistle_score_below_a_lever() -> None:
    def score(high: float) -> float:
        return values(
            measure_boiler_top(draw.boiler_top((draw.BLACK, draw.lever(210, 79, high, wide=4))))
        )["thin_score"]

    assert score(4.0) == 0.0
    assert 0.0 < score(8.0) < score(11.0) < score(24.0)


def test_a_handrail_and_a_pole_in_the_background_stand_on_nothing() -> None:
    handrail = draw.rectangle(30, 70, 350, 73)
    pole = draw.rectangle(220, 0, 225, 50)
    assert values(measure_boiler_top(draw.boiler_top((draw.BLACK, handrail))))["thin_count"] == 0
    got = values(measure_boiler_top(draw.boiler_top((draw.BLACK, pole))))
    assert got["thin_count"] == 0
    assert got["background_thin"] > 0.005


@CLEAN_AND_NOISY
@pytest.mark.parametrize("level", [0, 120, 255])
def test_a_blank_boiler_top_shows_nothing(level: int, sigma: float) -> None:
    got = values(measure_boiler_top(spoiled(np.full((112, 384, 3), level, np.uint8), sigma)))
    assert got["thin_count"] == got["wide_count"] == 0
    assert got["boiler_line_support"] < 0.1
    assert got["boiler_line_row"] == pytest.approx(79, abs=3)


@pytest.mark.parametrize("seed", range(5))
def test_noise_has_no_boiler_line_and_no_lever(seed: int) -> None:
    noise = np.random.default_rng(seed).integers(0, 256, (112, 384, 3), dtype=np.uint8)
    got = values(measure_boiler_top(noise))
    assert got["thin_score"] == 0 and got["wide_count"] == 0
    assert got["boiler_line_support"] < 0.2


@CLEAN_AND_NOISY
@pytest.mark.parametrize(("line", "drop"), [(60.0, 0.0), (79.0, 0.0), (72.0, 14.0), (84.0, -9.0)])
def test_follows_the_boiler_line_that_was_drawn(line: float, drop: float, sigma: float) -> None:
    got = values(measure_boiler_top(spoiled(draw.boiler_top(line=line, drop=drop), sigma)))
    assert got["boiler_line_row"] == pytest.approx(line + drop / 2, abs=2)
    assert got["boiler_line_bend"] == pytest.approx(abs(drop), abs=3)
    assert got["boiler_line_support"] > 0.95


def test_boiler_line_contrast_is_the_colour_difference_of_boiler_and_wall() -> None:
    """Against scikit-image's CIE76 of the two drawn colours."""
    got = values(measure_boiler_top(draw.boiler_top()))
    wall, boiler = (
        skimage.color.rgb2lab(np.array([[c]], np.uint8) / 255.0) for c in (draw.WALL, draw.BLACK)
    )
    expected = float(skimage.color.deltaE_cie76(wall, boiler)[0, 0])
    assert got["boiler_line_contrast"] == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("scale", [0.75, 1.5])
def test_a_boiler_top_at_another_scale_gives_scaled_lengths(scale: float) -> None:
    crop = draw.boiler_top((draw.BLACK, draw.lever(200, 79, 30, wide=6)))
    resized = cv2.resize(crop, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    got = values(measure_boiler_top(resized))
    assert got["thin_height"] == pytest.approx(30 * scale, abs=2.5)
    assert got["thin_x"] == pytest.approx(200 * scale, abs=1.5)


def test_thin_contrast_is_scikit_images_top_hat_of_l() -> None:
    """On a grey photograph only L varies: larger of white and black top-hat."""
    picture = cv2.resize(skimage.data.camera(), (96, 80), interpolation=cv2.INTER_AREA)
    picture = np.repeat(picture[..., None], 3, axis=2)
    smooth = cv2.GaussianBlur(picture, (3, 3), 0)
    lightness = cv2.cvtColor(smooth, cv2.COLOR_RGB2LAB)[..., 0]
    bar = np.ones((1, 11), np.uint8)
    padded = np.pad(lightness, 12, mode="edge")
    light = skimage.morphology.white_tophat(padded, bar)[12:-12, 12:-12]
    dark = skimage.morphology.black_tophat(padded, bar)[12:-12, 12:-12]
    expected = np.maximum(light, dark) * (100.0 / 255.0)
    got = _thin_contrast(picture, 11)
    # a and b of grey may round to 1 off their zero; the frame is padded differently.
    assert np.abs(got - expected)[:, 12:-12].max() < 1.6
