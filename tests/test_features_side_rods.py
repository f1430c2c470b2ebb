"""The side rods measured: draw them, then find them; the same quantity computed twice."""

from __future__ import annotations

import math
import time

import cv2
import numpy as np
import pytest
import skimage.feature
import skimage.filters
import skimage.transform

import drawings as draw
from measured import CLEAN_AND_NOISY, photograph, spoiled, values, where
from vision.features.crop import grey
from vision.features.side_rods import _segments, measure_side_rods
from vision.features.wheels import find_wheels
from vision.records import Box


@CLEAN_AND_NOISY
@pytest.mark.parametrize("radius", [32.0, 40.0, 46.0, 54.0, 60.0])
def test_finds_the_wheels_that_were_drawn(radius: float, sigma: float) -> None:
    centres = (90.0, 90.0 + 2.2 * radius, 90.0 + 4.4 * radius)
    parts = [part for x in centres if x < 384 - radius for part in draw.wheel(x, radius)]
    crop = spoiled(draw.side_rods(*parts), sigma)
    expected = [x for x in centres if x < 384 - radius]
    wheels = find_wheels(grey(crop))
    assert [w.x for w in wheels] == pytest.approx(expected, abs=2.5)
    assert [w.radius for w in wheels] == pytest.approx([radius] * len(wheels), abs=2.5)
    got = values(measure_side_rods(crop))
    assert got["wheel_count"] == len(expected)
    assert got["wheel_radius"] == pytest.approx(radius, abs=2.0)
    assert got["wheel_centre_row"] == pytest.approx(128 - radius, abs=2.5)
    assert got["wheel_rim"] > 0.6


def test_wheels_lie_where_scikit_image_sees_circles() -> None:
    parts = [part for x in (120.0, 250.0) for part in draw.wheel(x, 50.0)]
    levels = grey(draw.side_rods(*parts))
    edges = skimage.feature.canny(levels, sigma=2.0, low_threshold=10, high_threshold=30)
    radii = np.arange(40, 60)
    votes = skimage.transform.hough_circle(edges, radii)
    _, xs, ys, _ = skimage.transform.hough_circle_peaks(
        votes, radii, min_xdistance=40, min_ydistance=40, total_num_peaks=2
    )
    wheels = find_wheels(levels)
    assert [w.x for w in wheels] == pytest.approx(sorted(xs + 0.5), abs=2.5)
    assert [w.y for w in wheels] == pytest.approx(list(ys + 0.5), abs=2.5)


@pytest.mark.parametrize("aspect", [0.7, 0.85, 1.3])
def test_a_stretched_crop_is_put_right(aspect: float) -> None:
    """Wheels found, and bars sorted by their true slope, whatever the crop's stretch."""
    parts = [part for x in (110.0, 230.0) for part in draw.wheel(x, 46.0)]
    true = draw.side_rods(*parts, (draw.STEEL, draw.bar((240, 60), (330, 8), 5)))
    width = round(384 / aspect)
    crop = cv2.resize(true, (width, 128), interpolation=cv2.INTER_AREA)
    found = measure_side_rods(crop, pixel_aspect=aspect)
    got = values(found)
    assert got["wheel_count"] == 2
    assert got["wheel_radius"] == pytest.approx(46, abs=2)
    assert got["linkage_length"] == pytest.approx(2 * 104 / 384, rel=0.25)
    box = where(found, "wheel_count")
    assert box is not None
    drawn = Box(64 / aspect, 36, 276 / aspect, 128)
    assert box.intersection_over_union(drawn) > 0.9


@pytest.mark.parametrize("aspect", [0.49, 2.01, 0.0, -1.0, math.nan])
def test_a_stretch_out_of_range_is_refused(aspect: float) -> None:
    with pytest.raises(ValueError, match=r"pixel_aspect: 0\.5 to 2\.0 expected, got"):
        measure_side_rods(draw.side_rods(), pixel_aspect=aspect)


def test_a_disc_that_floats_or_is_too_small_is_no_wheel() -> None:
    floating = draw.side_rods((draw.STEEL, draw.disc(200, 45, 34)))
    small = draw.side_rods((draw.STEEL, draw.disc(200, 116, 12)))
    for crop in (floating, small):
        assert values(measure_side_rods(crop))["wheel_count"] == 0


@CLEAN_AND_NOISY
@pytest.mark.parametrize(
    ("slope_deg", "kind"),
    [(0, "level"), (6, "level"), (-8, "level"), (25, "oblique"), (-40, "oblique"),
     (56, "oblique"), (80, "upright"), (-90, "upright")],
)  # fmt: skip
def test_sorts_a_bar_by_its_slope(slope_deg: float, kind: str, sigma: float) -> None:
    along = (45 * math.cos(math.radians(slope_deg)), 45 * math.sin(math.radians(slope_deg)))
    ends = ((190 - along[0], 64 + along[1]), (190 + along[0], 64 - along[1]))
    crop = spoiled(draw.side_rods((draw.STEEL, draw.bar(*ends, 6.0))), sigma)
    got = values(measure_side_rods(crop))
    others = {"level", "oblique", "upright"} - {kind}
    # Both edges of the bar, 90 px long each.
    assert got[f"segments_{kind}"] == 2
    assert got[f"length_{kind}"] == pytest.approx(2 * 90 / 384, rel=0.1)
    assert all(got[f"segments_{other}"] == 0 for other in others)
    assert got[f"edge_share_{kind}"] > (0.8 if sigma < 8 else 0.7)
    assert got["wheel_count"] == 0


@CLEAN_AND_NOISY
def test_wheels_and_a_coupling_rod_are_no_linkage(sigma: float) -> None:
    wheels = [part for x in (110, 215, 320) for part in draw.wheel(x, 46)]
    rod = (draw.STEEL, draw.bar((110, 96), (320, 96), 7))
    links = [
        (draw.STEEL, draw.bar((40, 62), (130, 28), 5)),
        (draw.STEEL, draw.bar((130, 28), (200, 72), 5)),
    ]
    plain = values(measure_side_rods(spoiled(draw.side_rods(*wheels, rod), sigma)))
    linked = values(measure_side_rods(spoiled(draw.side_rods(*wheels, rod, *links), sigma)))
    assert plain["segments_oblique"] > 30  # spokes and rims are many,
    assert plain["linkage_length"] < 0.1  # but not taken for linkage
    assert plain["above_length"] < 0.15
    assert linked["linkage_length"] > 0.35
    assert linked["above_length"] > 0.35
    assert plain["longest_level"] > 0.15


def test_a_long_rod_is_measured_and_slide_bars_are_not_above() -> None:
    rod = (draw.STEEL, draw.bar((80, 80), (280, 80), 7))
    board = (draw.STEEL, draw.bar((10, 12), (370, 12), 6))
    found = measure_side_rods(draw.side_rods(rod, board))
    got = values(found)
    assert got["longest_level"] == pytest.approx(200 / 384, abs=0.03)
    box = where(found, "longest_level")
    assert box is not None and box.centre == pytest.approx((180, 80), abs=3)
    assert got["above_count"] == got["linkage_count"] == 0


def test_segments_are_the_ends_that_were_drawn() -> None:
    segments = _segments(grey(draw.side_rods((draw.STEEL, draw.bar((60, 90), (160, 40), 6)))))
    assert len(segments) == 2
    for segment in segments:
        left, right = sorted(segment.reshape(2, 2).tolist())
        assert math.dist(left, (60, 90)) < 5 and math.dist(right, (160, 40)) < 5
    # The edges lie 3 px to either side of the axis, and no further to one than the other.
    normal = np.array([50.0, 100.0]) / math.hypot(50.0, 100.0)
    apart = sorted(float((s.reshape(2, 2) - (110, 65)).mean(axis=0) @ normal) for s in segments)
    assert apart == pytest.approx([-3.0, 3.0], abs=0.4)


@pytest.mark.parametrize("sigma", [0.0, 1.0, 3.0])
def test_texture_has_no_wheels_and_takes_no_longer(sigma: float) -> None:
    """Pure texture, where an unbounded circle transform takes seconds."""
    crop = np.random.default_rng(2).integers(0, 256, (128, 384, 3), dtype=np.uint8)
    if sigma:
        crop = cv2.GaussianBlur(crop, (0, 0), sigma)
        crop = cv2.normalize(crop, None, 0, 255, cv2.NORM_MINMAX)
    started = time.process_time()
    got = values(measure_side_rods(crop))
    assert time.process_time() - started < 0.2
    assert got["wheel_count"] == 0
    assert got["edge_coherence"] < 0.75


def test_coherence_is_that_of_scikit_images_structure_tensor() -> None:
    """Bigun & Granlund 1987, from eigenvalues by scikit-image; windows differ a little."""
    for sigma_px in (0, 6):
        crop = photograph(draw.SIDE_RODS)
        if sigma_px:
            crop = cv2.GaussianBlur(crop, (sigma_px * 4 + 1, 1), sigma_px)
        levels = grey(crop).astype(float)
        # A box of 7 px has the standard deviation of a Gaussian of 2 px.
        tensor = skimage.feature.structure_tensor(levels, sigma=2.0, mode="reflect", order="rc")
        large, small = skimage.feature.structure_tensor_eigenvalues(tensor)
        expected = float((large - small).sum() / (large + small).sum())
        got = values(measure_side_rods(crop))["edge_coherence"]
        assert got == pytest.approx(expected, abs=0.04)


def test_edge_energy_is_that_of_scikit_images_sobel() -> None:
    crop = photograph(draw.SIDE_RODS)
    levels = grey(crop).astype(float)
    # scikit-image's Sobel is normalised to weights that sum to 1 over a distance of 2.
    down = skimage.filters.sobel(levels, axis=0, mode="mirror") / 2.0
    across = skimage.filters.sobel(levels, axis=1, mode="mirror") / 2.0
    got = values(measure_side_rods(crop))["edge_energy"]
    assert got == pytest.approx(float((down**2 + across**2).mean()), rel=0.02)
