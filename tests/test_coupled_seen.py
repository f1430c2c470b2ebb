"""A tender behind the engine as the eye tells of it: how sure, and never that there is none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from scipy.special import expit
from sklearn.linear_model import LogisticRegression

import made_looks
from tools.calibrate.coupled import PLAIN, coupled_model
from tools.looks import read_looks
from vision.cues.coupled import _TRUSTED, weigh_coupled
from vision.network import load_networks
from vision.records import COUPLED, Box, Heading, Sighting, State

TENDER = Box(200, 40, 280, 90)
SEEN = Sighting(
    Box(10, 20, 200, 90), TENDER, Heading.LEFT, MappingProxyType({}), MappingProxyType({}), 0.9
)
MODEL = {COUPLED: {"terms": [["tender_score", 0.5, 0.1, 2.0]], "bias": 1.0, "sure_at_least": 0.7}}


@pytest.mark.parametrize("score", [0.58, 0.66, 0.74, 0.89])
def test_a_better_score_is_a_surer_tender(score: float) -> None:
    """By SciPy's logistic function, of half the fitted log odds."""
    cue = weigh_coupled(replace(SEEN, tender_score=score), MODEL)
    p = expit(_TRUSTED * (1.0 + 2.0 * (score - 0.5) / 0.1))
    assert cue.p_present == pytest.approx(p)
    assert cue.where == TENDER
    stated = p >= 0.7
    assert cue.state is (State.PRESENT if stated else State.UNSEEN)
    assert cue.confidence == (pytest.approx(p) if stated else 0.0)


def test_what_may_be_a_tender_leans_as_far_as_it_may() -> None:
    cue = weigh_coupled(replace(SEEN, tender_score=0.47), MODEL)
    assert cue.state is State.UNSEEN and cue.speaks
    assert cue.leaning == pytest.approx(cue.p_present)
    assert 0.5 < cue.leaning < 0.7


def coupled_looks(tmp_path: Path, n: int) -> list:
    """Engines whose tender's score tells of it by log odds that are planted."""
    rng, lines = np.random.default_rng(n), made_looks.looks(n, empty=0.0)
    for line in lines:
        score = float(rng.uniform(0.2, 0.95))
        line["seen"]["tender_score"] = score
        if rng.random() < expit(12.0 * (score - 0.6)):
            box = [430.0, 100.0, 560.0, 170.0]
            line["label"] |= {"tender": box, "tender_share": 1.0}
    return read_looks([made_looks.write(lines, tmp_path / "coupled.jsonl.gz")])


def test_the_fit_is_that_of_another_library_at_even_odds(tmp_path: Path) -> None:
    """scikit-learn's logistic regression, weighed so that both outcomes are as common."""
    looks = coupled_looks(tmp_path, 1500)
    model, report = coupled_model(looks, made_looks.fusion()["locate"], sure_at_least=0.7)
    assert report["n"] > 1000
    score = np.array([[k.seen["tender_score"]] for k in looks])
    there = np.array([k.label["tender"] is not None for k in looks])
    theirs = LogisticRegression(C=1e6, class_weight="balanced").fit(score, there)
    ((name, mean, scale, weight),) = model["terms"]
    assert name == "tender_score"
    ours = model["bias"] + weight * (score[:, 0] - mean) / scale
    assert ours == pytest.approx(theirs.decision_function(score), abs=0.35)


def test_with_too_few_tenders_nothing_is_fitted(tmp_path: Path) -> None:
    looks = read_looks([made_looks.write(made_looks.looks(60), tmp_path / "none.jsonl.gz")])
    model, report = coupled_model(looks, made_looks.fusion()["locate"], sure_at_least=0.7)
    assert model == {**PLAIN, "sure_at_least": 0.7} and "note" in report


def test_the_shipped_fit_says_more_of_a_better_score() -> None:
    fusion = load_networks().fusion
    least, *_, most = (
        weigh_coupled(replace(SEEN, tender_score=s), fusion).p_present or 0.0
        for s in (0.6, 0.75, 0.9)
    )
    assert 0.5 < least < 0.7 < 0.9 < most < 1.0
