"""The driving axles as the eye counts them: what is stated, what is unclear, what is hidden."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import softmax

import made_looks
from tools.calibrate import counts
from tools.looks import axles_judged, axles_shown, judge, read_looks
from vision.cues import weigh_axles
from vision.cues.counting import sharpened
from vision.cues.driving import DRIVING_AXLES, named
from vision.network import load_networks
from vision.records import PHOTO_CUES, Box, State

RODS = Box(10, 20, 110, 60)
MODEL = {"driving_axles": {"temperature": 1.0, "seen_at_least": 0.9, "sure_at_least": 0.9}}
SHARES = st.lists(st.floats(0.001, 1.0), min_size=6, max_size=6)


def said(shares: list[float], countable: float) -> dict[str, float]:
    whole = math.fsum(shares)
    told = {named(n): p / whole for n, p in zip(DRIVING_AXLES, shares, strict=True)}
    return told | {"axles_countable": countable}


def test_a_sure_count_is_stated_with_its_probability() -> None:
    cue = weigh_axles(said([0.0, 0.01, 0.97, 0.02, 0.0, 0.0], 0.95), RODS, MODEL)
    assert (cue.name, cue.state, cue.value) == ("driving_axles", State.PRESENT, "3")
    assert cue.confidence == pytest.approx(0.97, abs=1e-3)
    assert cue.because == "3 driving axles counted at the side rods"
    assert cue.where == RODS and cue.name in PHOTO_CUES


def test_one_axle_is_no_axles() -> None:
    cue = weigh_axles(said([0.99, 0.01, 0.0, 0.0, 0.0, 0.0], 0.95), RODS, MODEL)
    assert cue.because == "1 driving axle counted at the side rods"


@given(shares=SHARES, countable=st.floats(0.5, 0.89))
def test_what_some_wheels_may_be_missing_of_leans_less(
    shares: list[float], countable: float
) -> None:
    """With the probability that some are hidden every count is as likely: total probability."""
    cue = weigh_axles(said(shares, countable), RODS, MODEL)
    assert cue.state is State.UNSEEN and cue.in_sight and cue.value is None
    clear = np.array(sharpened([s / math.fsum(shares) for s in shares], 1.0))
    expected = countable * clear + (1 - countable) / 6
    assert list(cue.values.values()) == pytest.approx(list(expected), abs=1e-9)
    assert math.fsum(cue.values.values()) == pytest.approx(1.0)


def test_hidden_wheels_are_not_seen_and_lean_nowhere() -> None:
    for values in (said([0, 0, 1, 0, 0, 0], 0.4), {"inside": 0.2}):
        cue = weigh_axles(values, RODS, MODEL)
        assert cue.state is State.UNSEEN and not cue.values and not cue.in_sight
        assert cue.because == "the driving wheels cannot be counted in this picture"


@given(logits=st.lists(st.floats(-4, 4), min_size=6, max_size=6), heat=st.floats(0.5, 4.0))
def test_a_temperature_divides_the_log_odds(logits: list[float], heat: float) -> None:
    """Guo et al. 2017, section 4.2: softmax(z / T), here by SciPy's own."""
    raw = list(softmax(np.array(logits)))
    expected = softmax(np.array(logits) / heat)
    assert sharpened(raw, heat) == pytest.approx(list(expected), abs=2e-3)


def test_the_shipped_judge_of_the_rods_counts_and_its_limits_were_fitted() -> None:
    networks = load_networks()
    width, height = networks["side_rods"].size
    out = networks["side_rods"].run(np.zeros((height, width, 3), np.uint8))
    assert out["axles"].shape == (len(DRIVING_AXLES),)
    assert out["axles"].sum() == pytest.approx(1.0, abs=1e-3)
    fitted = networks.fusion["driving_axles"]
    assert fitted["visible"] > 500 and fitted["sure_at_least"] >= 0.9


WHEELS = ("0-2-2", "0-4-0", "4-6-2", "2-8-0", "2-10-0", "2-12-0")  # one to six driving axles


def counted_looks(n: int, heat: float) -> list[dict]:
    """Looks whose counts are right as often as `heat` times cooler log odds say."""
    rng = np.random.default_rng(n)
    lines = made_looks.looks(n, empty=0.0)
    for line in lines:
        true = rng.dirichlet(np.full(6, 0.1)).clip(
            0.012
        )  # whose square is above what is kept off 0
        raw = (true / true.sum()) ** heat
        line["label"]["wheels"] = WHEELS[rng.choice(6, p=true / true.sum())]
        shown = line["label"]["cues"]["side_linkage"]["visible"]
        countable = rng.uniform(0.7, 1.0) if shown else rng.uniform(0.0, 0.6)
        line["seen"]["cues"]["side_linkage"] |= said(list(raw), float(countable))
    return lines


@pytest.mark.parametrize("heat", [1.3, 2.0])
def test_limits_of_the_axles_find_a_planted_temperature(tmp_path: Path, heat: float) -> None:
    """Probabilities sharpened on purpose are cooled by as much again (Guo et al. 2017)."""
    looks = read_looks([made_looks.write(counted_looks(1500, heat), tmp_path / "a.jsonl.gz")])
    model = counts.axle_model(looks, stated_at_most=0.05, sure_at_least=0.9)
    assert model["temperature"] == pytest.approx(heat, rel=0.12)
    # Of those hidden none is sure enough to be counted.
    assert model["stated_though_not_visible"] <= 0.05 * model["not_visible"]
    assert model["stated_of_visible"] > 0.1 * model["visible"]
    fusion = made_looks.fusion() | {"driving_axles": model}
    stated = [judge(k, fusion).cues["driving_axles"] for k in looks]
    sure = [
        cue.value == str(axles_shown(k))
        for k, cue in zip(looks, stated, strict=True)
        if cue.state is State.PRESENT and axles_shown(k)
    ]
    assert np.mean(sure) > 0.9


def test_looks_by_networks_that_count_nothing_have_no_such_cue(tmp_path: Path) -> None:
    looks = read_looks([made_looks.write(made_looks.looks(40, empty=0.0), tmp_path / "a.jsonl.gz")])
    assert not any(axles_judged(k) for k in looks)
    assert not any("driving_axles" in judge(k, made_looks.fusion()).cues for k in looks)
    none = counts.axle_model(looks, stated_at_most=0.05, sure_at_least=0.9)
    assert "note" in none and none["sure_at_least"] == 0.9


def test_axles_count_as_shown_where_the_rods_are_in_sight(tmp_path: Path) -> None:
    (look,) = read_looks([made_looks.write(counted_looks(1, 1.0), tmp_path / "a.jsonl.gz")])

    def labelled(share: float, visible: bool, wheels: str | None) -> int | None:
        cues = {"side_linkage": {"visible": visible}}
        label = dict(look.label) | {"visible": {"side_rods": share}, "cues": cues}
        return axles_shown(replace(look, label=label | {"wheels": wheels}))

    assert labelled(0.9, True, "4-6-2") == 3
    assert labelled(0.9, True, "2-8-8-2") is None  # more than are counted
    assert labelled(0.5, True, "4-6-2") is labelled(0.9, False, "4-6-2") is None
    assert labelled(0.9, True, None) is None
