"""Weighing evidence: hidden is never absent, and doubt is said."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from sklearn.linear_model import LogisticRegression

from vision.cues.evidence import (
    ENOUGH_PX,
    Evidence,
    Lazily,
    gather,
    long_enough,
)
from vision.cues.fuse import linear, weigh
from vision.cues.odds import sigmoid
from vision.cues.region import is_at_edge, region_length, share_inside, slenderness
from vision.cues.tender import TenderCounts, weigh_counts
from vision.locate import locate
from vision.network import load_networks
from vision.photo import open_photo
from vision.records import BINARY_CUES, Box, Sighting, State

DEMO = Path(__file__).parents[1] / "demo_images"

BARE = {
    "judge_present": 0.0,
    "judge_visible": 6.0,
    "inside": 1.0,
    "log_length": math.log(400),
    "length_px": 400.0,
    "log_slenderness": 1.5,
    "exposure_near_black": 0.1,
    "exposure_clipped": 0.0,
    "log_sharpness": 6.0,
    "thin_count": 0.0,
    "thin_height": 0.0,
    "stripe_continuity": 0.0,
}
FUSION: dict[str, Any] = {
    "cues": {
        name: {
            "seen": {"bias": 0.0, "terms": [["judge_visible", 0.0, 1.0, 1.0]]},
            "present": {"bias": 0.0, "terms": [["judge_present", 0.0, 1.0, 1.0]]},
            "seen_at_least": 0.9,
            "sure_at_least": 0.7,
        }
        for name in ("switch_lever", "side_linkage", "edge_stripe")
    },
    "tender": {
        "axles": {"temperature": 1.0, "seen_at_least": 0.5, "sure_at_least": 0.6},
        "lamps": {"temperature": 1.0, "seen_at_least": 0.5, "sure_at_least": 0.6},
    },
}


def _evidence(**values: float) -> Evidence:
    return Evidence("switch_lever", "boiler_top", {**BARE, **values}, Box(10, 10, 60, 30))


def test_what_nothing_asks_for_is_not_measured() -> None:
    asked: list[str] = []

    def measure() -> dict[str, float]:
        asked.append("measured")
        return {"thin_count": 2.0}

    values = Lazily({"inside": 1.0}, measure)
    assert values["inside"] == 1.0 and "inside" in values and asked == []
    assert values["thin_count"] == 2.0 and dict(values) == {"inside": 1.0, "thin_count": 2.0}
    assert asked == ["measured"] and len(values) == 2
    with pytest.raises(KeyError, match="wheels"):
        values["wheels"]
    assert asked == ["measured"]


def test_a_clear_part_is_present_and_its_lack_is_absent() -> None:
    present = weigh(_evidence(judge_present=3.0), FUSION)
    absent = weigh(_evidence(judge_present=-3.0), FUSION)
    assert (present.state, absent.state) == (State.PRESENT, State.ABSENT)
    assert present.p_present == pytest.approx(1 / (1 + math.exp(-3)))
    assert absent.confidence == pytest.approx(1 - absent.p_present)


@given(st.floats(-9, 9))
def test_what_cannot_be_seen_is_unseen_whatever_the_judge_thinks(judged: float) -> None:
    cue = weigh(_evidence(judge_visible=-2.0, judge_present=judged), FUSION)
    assert cue.state is State.UNSEEN
    assert cue.confidence == 0.0
    assert "without a lever" not in cue.because


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"inside": 0.2}, "cut off by the edge of the picture"),
        # Of a phone's photo, decoded at half of its scale: the length is told as the photo has it.
        ({"log_length": math.log(30), "length_px": 60.0}, "60 pixels long"),
        ({"log_slenderness": -0.5}, "end-on"),
        ({"exposure_near_black": 0.9}, "dark"),
        ({"exposure_clipped": 0.6}, "glare"),
        ({"log_sharpness": 0.5}, "blurred"),
        ({}, "hidden"),
    ],
)
def test_unseen_says_why(values: dict[str, float], words: str) -> None:
    assert words in weigh(_evidence(judge_visible=-3.0, **values), FUSION).because


@pytest.mark.parametrize(
    "values",
    [
        {"inside": 0.9, "log_slenderness": -0.5},
        {"inside": 0.9, "log_sharpness": 0.5},
        {"inside": 0.9},
    ],
)
def test_a_region_partly_out_of_the_picture_is_cut_off_and_not_end_on(
    values: dict[str, float],
) -> None:
    """An engine cut off by the edge of the picture was said to be seen nearly end-on."""
    cue = weigh(_evidence(judge_visible=-3.0, **values), FUSION)
    assert (cue.state, cue.because) == (
        State.UNSEEN,
        "the boiler top is cut off by the edge of the picture",
    )
    # The reason changes, and nothing else.
    whole = weigh(_evidence(judge_visible=-3.0, **(values | {"inside": 1.0})), FUSION)
    assert replace(cue, because=whole.because) == whole


def test_the_edge_is_not_blamed_for_the_dark() -> None:
    for values, words in (
        ({"exposure_near_black": 0.9}, "dark"),
        ({"exposure_clipped": 0.6}, "glare"),
        ({"log_length": math.log(30), "length_px": 30.0}, "30 pixels long"),
    ):
        assert words in weigh(_evidence(judge_visible=-3.0, inside=0.9, **values), FUSION).because


def test_a_region_out_of_the_picture_that_cannot_be_straightened_is_cut_off() -> None:
    for evidence in (
        Evidence("edge_stripe", "running_board", {"inside": 0.4}, None),
        Evidence("edge_stripe", "running_board", {"inside": 1.0}, None, at_edge=True),
    ):
        cue = weigh(evidence, FUSION)
        assert (cue.state, cue.because) == (
            State.UNSEEN,
            "the running-board edge is cut off by the edge of the picture",
        )


@pytest.mark.parametrize(
    ("engine", "region", "expected"),
    [
        # Corners are often put just within the edge, however far a part goes on beyond it.
        ((0, 50, 120, 100), (8, 60, 100, 70), True),
        ((80, 50, 199.6, 100), (100, 60, 196, 70), True),
        ((50, 0, 150, 60), (60, 3, 140, 30), True),
        ((50, 60, 150, 120), (60, 100, 140, 118), True),
        ((50, 50, 150, 100), (60, 60, 140, 70), False),
        # All of the engine is there, if only just.
        ((4, 50, 120, 100), (8, 60, 100, 70), False),
        # Its other end is cut off.
        ((0, 50, 150, 100), (90, 60, 140, 70), False),
    ],
)
def test_where_an_engine_is_cut_off_the_region_at_that_edge_is(
    engine: tuple[float, ...], region: tuple[float, ...], expected: bool
) -> None:
    left, top, right, bottom = region
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    mirrored = (corners[1], corners[0], corners[3], corners[2])
    for quad in (corners, mirrored):
        assert is_at_edge(quad, Box(*engine), (200, 120)) is expected


@pytest.mark.slow
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_demo_engine_that_is_cut_off_is_not_called_end_on(tmp_path: Path, side: str) -> None:
    """With the real eye; the engine stands square to the camera."""
    networks = load_networks()
    whole = Image.open(DEMO / "wayfarer_w4.jpg")
    seen = locate(open_photo(DEMO / "wayfarer_w4.jpg"), networks)
    assert isinstance(seen, Sighting)
    reasons = []
    for share in (0.3, 0.5, 0.7):
        lost = round(share * seen.locomotive.width)
        left = round(seen.locomotive.left) + lost if side == "left" else 0
        right = round(seen.locomotive.right) - lost if side == "right" else whole.width
        whole.crop((left, 0, right, whole.height)).save(tmp_path / "cut.png")
        photo = open_photo(tmp_path / "cut.png")
        part = locate(photo, networks)
        if isinstance(part, Sighting):
            cues = [weigh(gather(photo, part, networks, n), networks.fusion) for n in BINARY_CUES]
            reasons += [cue.because for cue in cues if cue.state is State.UNSEEN]
    assert not [because for because in reasons if "end-on" in because]
    assert any("cut off by the edge of the picture" in because for because in reasons)


def test_a_region_that_cannot_be_straightened_is_unseen() -> None:
    cue = weigh(Evidence("edge_stripe", "running_board", {"inside": 1.0}, None), FUSION)
    assert cue.state is State.UNSEEN
    assert "turned away" in cue.because


def test_doubt_is_unseen_with_its_probability_kept() -> None:
    cue = weigh(_evidence(judge_present=0.4), FUSION)
    assert cue.state is State.UNSEEN
    assert cue.p_present == pytest.approx(sigmoid(0.4))
    assert "too unclear" in cue.because


@given(st.floats(-0.8, -0.1), st.floats(-6, 6))
def test_what_may_be_in_sight_leans_by_total_probability(visible: float, judged: float) -> None:
    """In sight the reading tells p, otherwise one half: the law of total probability."""
    cue = weigh(_evidence(judge_visible=visible, judge_present=judged), FUSION)
    seen, p = sigmoid(visible), cue.p_present
    assert cue.state is State.UNSEEN and cue.in_sight and p is not None
    assert cue.leaning == pytest.approx(seen * p + (1 - seen) * 0.5)
    hidden = weigh(_evidence(judge_visible=-1.5, judge_present=judged), FUSION)
    assert not hidden.in_sight and hidden.leaning is None


def test_linear_model_equals_scikit_learn() -> None:
    """Against scikit-learn's LogisticRegression.decision_function on the same numbers."""
    rng = np.random.default_rng(3)
    x = rng.uniform(-1.9, 1.9, size=(200, 2))
    y = x[:, 0] + 0.5 * x[:, 0] * x[:, 1] + rng.normal(size=200) > 0
    features = np.column_stack([x[:, 0], x[:, 0] * x[:, 1]])
    fitted = LogisticRegression().fit(features, y)
    model = {
        "bias": float(fitted.intercept_[0]),
        "terms": [
            ["a", 0.0, 1.0, float(fitted.coef_[0, 0])],
            ["a*b", 0.0, 1.0, float(fitted.coef_[0, 1])],
        ],
    }
    for row, (a, b) in zip(features[:20], x[:20], strict=True):
        expected = fitted.decision_function(row[None])[0]
        assert linear(model, {"a": a, "b": b}) == pytest.approx(expected, abs=1e-9)


def test_a_value_far_outside_the_fit_is_held_back() -> None:
    model = {"bias": 0.0, "terms": [["a", 0.0, 1.0, 2.0]]}
    assert linear(model, {"a": 1000.0}) == 8.0


def test_region_geometry() -> None:
    quad = ((0.0, 0.0), (300.0, 0.0), (300.0, 100.0), (0.0, 100.0))
    assert region_length(quad) == 300.0
    assert slenderness(quad) == 3.0
    assert share_inside(quad, (1000, 1000)) == 1.0
    assert share_inside(quad, (150, 1000)) == pytest.approx(0.5, abs=0.05)


def _counts(four: float, lamps: tuple[float, float, float], seen: float) -> TenderCounts:
    rest = (1 - four) / 6
    axles = (rest, rest, four, rest, rest, rest, rest)
    return TenderCounts(axles, lamps, (seen, seen))


def test_tender_counts_carry_every_candidate() -> None:
    axles, lamps = weigh_counts(_counts(0.9, (0.02, 0.9, 0.08), 0.9), Box(0, 0, 9, 9), FUSION)
    assert (axles.value, lamps.value) == ("4", "1")
    assert axles.confidence == pytest.approx(0.9, abs=1e-3)
    assert sum(axles.values.values()) == pytest.approx(1.0)


def test_a_tender_that_cannot_be_counted_is_unseen() -> None:
    for cue in weigh_counts(_counts(0.9, (0.1, 0.8, 0.1), 0.2), Box(0, 0, 9, 9), FUSION):
        assert cue.state is State.UNSEEN
        assert cue.value is None
        assert not cue.values


@pytest.mark.parametrize("region", sorted(ENOUGH_PX))
def test_a_region_becomes_long_enough_about_one_length(region: str) -> None:
    enough = ENOUGH_PX[region]
    assert long_enough(region, enough) == pytest.approx(0.5)
    assert long_enough(region, 1.3 * enough) > 0.99
    assert long_enough(region, enough / 1.3) < 0.01
    # As likely on either side by the same factor; finite at either end.
    below = long_enough(region, enough / 1.07)
    assert long_enough(region, 1.07 * enough) == pytest.approx(1 - below)
    assert 0.0 <= long_enough(region, 0.0) < long_enough(region, 1e9) <= 1.0
