"""Classical measurements: draw it, then find it; and the same quantity computed twice."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import cv2
import numpy as np
import pytest
import scipy.sparse
import scipy.sparse.csgraph
import skimage.color
import skimage.data
import skimage.feature
import skimage.filters
import skimage.morphology
import skimage.transform
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

import drawings as draw
from vision import features
from vision.features.boiler_top import measure_boiler_top
from vision.features.colour import COLOUR_NAMES, line_colour_shares, name_colour
from vision.features.crop import cielab, cielab_coded, coded_length, grey, length_of, odd
from vision.features.exposure import measure_exposure, measure_sharpness
from vision.features.hue import by_hue, has_red
from vision.features.paper import measure_paper
from vision.features.paths import best_path
from vision.features.protrusions import _straight, _thin_contrast
from vision.features.running_board import _ridge_contrast, measure_running_board
from vision.features.side_rods import _segments, measure_side_rods
from vision.features.wheels import find_wheels
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


# Every function: what it refuses, what it leaves alone, what it always gives.


@pytest.mark.parametrize(("measure", "shape"), MEASURES)
@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (np.zeros((112, 384, 3), np.float32), "dtype uint8 expected, got float32"),
        (np.zeros((112, 384, 3), np.uint16), "dtype uint8 expected, got uint16"),
        (np.zeros((112, 384), np.uint8), r"shape \(H, W, 3\) expected, got \(112, 384\)"),
        (np.zeros((112, 384, 4), np.uint8), r"shape \(H, W, 3\) expected, got \(112, 384, 4\)"),
        (np.zeros((31, 384, 3), np.uint8), "at least 32 rows and 64 columns expected, got"),
        (np.zeros((112, 63, 3), np.uint8), "at least 32 rows and 64 columns expected, got"),
        ([[0]], "ndarray expected, got list"),
    ],
)
def test_refuses_what_is_no_crop(
    measure: Callable, shape: tuple[int, int], bad: object, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        measure(bad)


@pytest.mark.parametrize(("measure", "shape"), MEASURES)
def test_leaves_the_crop_alone_and_says_the_same_twice(
    measure: Callable, shape: tuple[int, int]
) -> None:
    crop = photograph(shape)
    before = crop.copy()
    crop.setflags(write=False)
    first = measure(crop)
    assert measure(crop) == first
    assert np.array_equal(crop, before)
    # A view that is not contiguous (mirrored twice) is the same picture.
    assert measure(crop[:, ::-1].copy()[:, ::-1]) == first


@pytest.mark.parametrize(("measure", "shape"), MEASURES)
def test_names_and_units_never_change(measure: Callable, shape: tuple[int, int]) -> None:
    rng = np.random.default_rng(1)
    crops = [
        np.zeros((*shape, 3), np.uint8),
        np.full((*shape, 3), 255, np.uint8),
        rng.integers(0, 256, (*shape, 3), dtype=np.uint8),
        photograph(shape),
        np.zeros((32, 64, 3), np.uint8),
        rng.integers(0, 256, (97, 211, 3), dtype=np.uint8),
    ]
    expected = [(m.name, m.unit) for m in measure(crops[0])]
    for crop in crops:
        found = measure(crop)
        assert [(m.name, m.unit) for m in found] == expected
        assert all(type(m.value) is float and math.isfinite(m.value) for m in found)
        for box in (m.where for m in found if m.where):
            assert all(type(edge) is float or type(edge) is int for edge in box.as_tuple())
            assert box.clipped(crop.shape[1], crop.shape[0]) == box


def test_features_exports_what_it_documents() -> None:
    assert [f for f in features.__all__ if f.startswith("measure")] == sorted(
        measure.__name__ for measure, _ in MEASURES
    )
    for measure, _ in MEASURES:
        crop = np.zeros((64, 128, 3), np.uint8)
        for measurement in measure(crop):
            name = measurement.name.removeprefix("stripe_")
            assert name in str(measure.__doc__), f"{measurement.name} is not documented"


# Paths.


def dearest_by_dijkstra(gain: np.ndarray, bend_cost: float) -> float:
    """The best total by SciPy's Dijkstra over the graph of all steps, costs shifted up."""
    rows, columns = gain.shape
    top = float(gain.max()) + 1.0
    edges: dict[tuple[int, int], float] = {}
    for column in range(columns - 1):
        for row in range(rows):
            for after in range(rows):
                cost = top - gain[after, column + 1] + bend_cost * abs(after - row)
                edges[(column * rows + row, (column + 1) * rows + after)] = cost
    nodes = rows * columns + 1
    for row in range(rows):
        edges[(nodes - 1, row)] = top - gain[row, 0]
    starts, ends = zip(*edges, strict=True)
    graph = scipy.sparse.csr_array((list(edges.values()), (starts, ends)), (nodes, nodes))
    distance = scipy.sparse.csgraph.dijkstra(graph, indices=nodes - 1)
    return columns * top - float(distance[(columns - 1) * rows : columns * rows].min())


@settings(max_examples=30, deadline=None)
@given(
    gain=hnp.arrays(np.float64, (5, 8), elements=st.integers(-4, 9).map(float)),
    bend_cost=st.sampled_from([0.0, 0.25, 1.0, 3.0]),
)
def test_best_path_is_the_shortest_path_of_scipy(gain: np.ndarray, bend_cost: float) -> None:
    path = best_path(gain, bend_cost)
    total = gain[path, np.arange(8)].sum() - bend_cost * np.abs(np.diff(path)).sum()
    assert total == pytest.approx(dearest_by_dijkstra(gain, bend_cost), abs=1e-9)


def test_best_path_without_any_gain_stays_where_it_is_told() -> None:
    assert set(best_path(np.zeros((20, 30)), 1.0, start_row=13).tolist()) == {13}


# Boiler top.


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


# Side rods.


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


# Running board.


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


# Colour.


def test_lab_is_scikit_images_lab() -> None:
    crop = skimage.data.astronaut()[::4, ::3]
    expected = skimage.color.rgb2lab(crop)
    assert np.abs(cielab(crop) - expected).max() < 0.5
    decoded = cielab_coded(crop) * (100.0 / 255.0, 1.0, 1.0) - (0.0, 128.0, 128.0)
    assert np.abs(decoded - expected).max() < 3.0
    assert np.median(np.abs(decoded - expected)) < 0.5


def test_length_of_a_difference_is_cie76() -> None:
    one, other = np.random.default_rng(5).uniform(-90, 90, (2, 40, 30, 3))
    expected = skimage.color.deltaE_cie76(one, other)
    assert np.allclose(length_of(one - other), expected, rtol=1e-5)
    coded = ((one - other) * (2.55, 1.0, 1.0)).astype(np.float32)
    assert np.allclose(coded_length(coded), expected, rtol=1e-5)


def test_bytes_may_differ_by_more_than_their_square_fits() -> None:
    differences = np.random.default_rng(6).integers(0, 256, (40, 30, 3), dtype=np.uint8)
    expected = skimage.color.deltaE_cie76(differences * (100.0 / 255.0, 1.0, 1.0), np.zeros(3))
    assert np.allclose(coded_length(differences), expected, rtol=1e-5)


@pytest.mark.parametrize("points", [2, 7, 60])
def test_a_straight_line_is_numpys_polynomial_of_degree_one(points: int) -> None:
    rng = np.random.default_rng(points)
    rows = np.sort(rng.choice(112, points, replace=False))
    middles = 0.3 * rows + rng.normal(0.0, 2.0, points)
    assert _straight(rows, middles) == pytest.approx(np.polyfit(rows, middles, 1), rel=1e-9)


@pytest.mark.parametrize(
    ("rgb", "name"),
    # Colour keywords of CSS Color Module Level 4 (W3C), section 6.1; values from memory.
    [
        ((0, 0, 0), "black"),
        ((255, 255, 255), "white"),
        ((128, 128, 128), "grey"),
        ((255, 0, 0), "red"),
        ((220, 20, 60), "red"),  # crimson
        ((128, 0, 0), "red"),  # maroon
        ((255, 165, 0), "orange"),
        ((255, 255, 0), "yellow"),
        ((255, 215, 0), "yellow"),  # gold
        ((255, 253, 208), "cream"),
        ((245, 245, 220), "cream"),  # beige
        ((255, 250, 240), "cream"),  # floralwhite, barely
        ((0, 128, 0), "green"),
        ((85, 107, 47), "green"),  # darkolivegreen
        ((0, 0, 255), "blue"),
        ((0, 0, 128), "blue"),  # navy
        ((70, 130, 180), "blue"),  # steelblue
        ((128, 0, 128), "purple"),
        ((139, 69, 19), "brown"),  # saddlebrown
    ],
)
def test_names_a_colour_as_the_web_does(rgb: tuple[int, int, int], name: str) -> None:
    lab = skimage.color.rgb2lab(np.array([[rgb]], np.uint8) / 255.0)[0, 0]
    assert name_colour(*(float(v) for v in lab)) == name


@given(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128))
def test_every_colour_has_a_name(lightness: float, a: float, b: float) -> None:
    assert name_colour(lightness, a, b) in COLOUR_NAMES


@given(st.floats(0.1, 500))
def test_odd_is_odd_and_nearest_above(length: float) -> None:
    assert odd(length) % 2 == 1
    assert max(3.0, length) <= odd(length) < max(3.0, length) + 2.0


# Sharpness and exposure.


def test_laplacian_variance_is_that_of_scikit_images_laplace() -> None:
    """Pech-Pacheco et al. 2000; the frame is left out, where borders differ."""
    crop = photograph(draw.BOILER_TOP)
    levels = grey(crop).astype(float)
    inner = skimage.filters.laplace(np.pad(levels, 1, mode="reflect"), ksize=3)[1:-1, 1:-1]
    got = values(measure_sharpness(crop))
    assert got["sharpness_laplacian_variance"] == pytest.approx(float(inner.var()), rel=1e-4)
    assert got["sharpness_ratio"] == pytest.approx(float(inner.var() / levels.var()), rel=1e-4)


def test_sharpness_of_white_noise_is_twenty() -> None:
    """Weights 1, 1, 1, 1 and -4 of independent levels: 4 * 1 + 16 = 20 variances."""
    noise = np.random.default_rng(4).integers(60, 200, (300, 400, 1), dtype=np.uint8)
    got = values(measure_sharpness(np.repeat(noise, 3, axis=2)))
    assert got["sharpness_ratio"] == pytest.approx(20.0, rel=0.03)


def test_sharpness_falls_with_every_blur_and_ratio_ignores_contrast() -> None:
    crop = photograph((200, 320))
    blurred = [crop] + [cv2.GaussianBlur(crop, (0, 0), s) for s in (0.7, 1.5, 3.0, 6.0)]
    for name in ("sharpness_laplacian_variance", "sharpness_ratio"):
        sharpness = [values(measure_sharpness(b))[name] for b in blurred]
        assert sharpness == sorted(sharpness, reverse=True)
        assert sharpness[-1] < 0.02 * sharpness[0]
    faint = (crop // 2 + 60).astype(np.uint8)
    ratios = [values(measure_sharpness(c))["sharpness_ratio"] for c in (crop, faint)]
    assert ratios[1] == pytest.approx(ratios[0], rel=0.05)


def test_exposure_is_what_was_painted() -> None:
    crop = np.full((80, 100, 3), 100, np.uint8)
    crop[:20] = 255
    crop[20:30] = (90, 120, 251)
    crop[70:] = 16
    crop[60:70] = (16, 16, 17)
    got = values(measure_exposure(crop))
    assert got["exposure_clipped"] == pytest.approx(30 / 80)
    assert got["exposure_near_black"] == pytest.approx(10 / 80)
    assert got["exposure_range"] == pytest.approx((255 - 16) / 255)


def test_exposure_agrees_with_numpy() -> None:
    crop = photograph((112, 384))
    levels = skimage.color.rgb2gray(crop)  # ITU-R BT.709 weights, ours are BT.601
    got = values(measure_exposure(crop))
    assert got["exposure_mean"] == pytest.approx(float(levels.mean()), abs=0.02)
    assert got["exposure_contrast"] == pytest.approx(float(levels.std()), abs=0.02)
    low, high = np.percentile(grey(crop), (5, 95))
    assert got["exposure_range"] == pytest.approx((high - low) / 255, abs=1 / 255)


def test_half_black_half_white_has_all_the_contrast() -> None:
    """Peli 1990: RMS contrast of a full-swing square wave is half its range."""
    crop = np.zeros((64, 128, 3), np.uint8)
    crop[:, 64:] = 255
    got = values(measure_exposure(crop))
    assert got["exposure_contrast"] == pytest.approx(0.5)
    assert got["exposure_clipped"] == got["exposure_near_black"] == 0.5


def test_three_crops_together_stay_fast() -> None:
    """Processor time on one core; ten times the 12 ms measured, machines differ."""
    crops = [(m, photograph(shape)) for m, shape in MEASURES[:3]]
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        spent = []
        for _ in range(5):
            started = time.process_time()
            for measure, crop in crops:
                measure(crop)
            spent.append(time.process_time() - started)
    finally:
        cv2.setNumThreads(threads)
    assert min(spent) < 0.12


@pytest.mark.parametrize(
    ("keyword", "name"),
    # CSS Color Module Level 4 keywords, converted by scikit-image.
    [("ivory", "cream"), ("crimson", "red"), ("gold", "yellow"), ("royalblue", "blue")],
)
def test_line_colours_follow_named_paints(keyword: str, name: str) -> None:
    rgb = {
        "ivory": (255, 255, 240),
        "crimson": (220, 20, 60),
        "gold": (255, 215, 0),
        "royalblue": (65, 105, 225),
    }[keyword]
    _, a, b = skimage.color.rgb2lab(np.array(rgb, dtype=float) / 255)
    shares = line_colour_shares(float(a), float(b))
    assert sum(shares.values()) == pytest.approx(1.0)
    near = {"cream", "white"} if name == "cream" else {name}
    assert max(shares, key=lambda key: shares[key]) in near


def test_hue_is_ranked_as_by_the_reference_library() -> None:
    """CIE a* by scikit-image (skimage.color.rgb2lab, D65), stretched between percentiles."""
    pixels = skimage.data.astronaut()[:128, :256]
    axis = skimage.color.rgb2lab(pixels)[..., 1]
    low, high = np.percentile(axis, [1, 99])
    expected = 255.0 * (1.0 - np.clip((axis - low) / (high - low), 0, 1))
    shown = by_hue(pixels, beyond=300)
    assert (shown == shown[..., :1]).all()
    # Units of a*: OpenCV rounds it, and is up to 2.4 off in near black; the ends are rounded too.
    off = np.abs(shown[..., 0] - expected) / 255.0 * (high - low)
    assert np.percentile(off, 99) <= 2.0 and off.max() <= 3.5


def test_brass_on_red_as_bright_as_itself_is_told_by_hue() -> None:
    pixels = np.full((64, 128, 3), 114, np.uint8)
    pixels[:, :100] = (38, 74, 52)
    pixels[10:50, 20:80] = (196, 44, 34)
    pixels[20:40, 40:60] = (128, 104, 46)
    lightness = skimage.color.rgb2lab(pixels)[..., 0]
    assert abs(lightness[30, 50] - lightness[30, 30]) < 2.0
    grey = by_hue(pixels, beyond=114)[..., 0]
    assert int(grey[30, 50]) - int(grey[30, 30]) > 80
    assert (grey[:, 100:] == 114).all()
    assert has_red(pixels, beyond=114)
    assert not has_red(skimage.color.gray2rgb(skimage.data.camera()), beyond=300)
