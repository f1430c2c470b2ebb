"""Fits against a truth that was drawn, and against scikit-learn without a penalty."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit
from skimage.transform import ProjectiveTransform
from sklearn.linear_model import LogisticRegression

import made_looks
from tools import metrics
from tools.calibrate import __main__ as command
from tools.calibrate import counts, limits, logistic
from tools.former import former
from tools.looks import judge, places_of, read_looks
from tools.render.projection import share_along
from vision.cues.evidence import PARTS_ALONG
from vision.cues.fuse import linear, nearby
from vision.cues.odds import sigmoid


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> dict:
    path = tmp_path_factory.mktemp("looks") / "looks.jsonl.gz"
    made_looks.write(made_looks.looks(4000), path)
    return command.calibrate(read_looks([path]), command.Rules(stated_at_most=0.05))


def test_fitted_models_give_the_true_probabilities_back(fitted: dict) -> None:
    rng = np.random.default_rng(3)
    for cue in made_looks.CUES:
        for true in (-4.0, -1.0, 0.0, 1.0, 4.0):
            got = np.mean(
                [
                    sigmoid(
                        linear(
                            fitted["cues"][cue]["present"], made_looks.cue_values(rng, true, 3.0)
                        )
                    )
                    for _ in range(200)
                ]
            )
            assert got == pytest.approx(expit(true), abs=0.03), (cue, true)


def test_shouting_is_undone_on_looks_that_the_fit_never_saw(fitted: dict, tmp_path: Path) -> None:
    fresh = read_looks([made_looks.write(made_looks.looks(3000, seed=2), tmp_path / "f.jsonl.gz")])
    for cue in made_looks.CUES:
        shown = [k for k in fresh if k.has_engine and k.label["cues"][cue]["visible"]]
        truth = np.array([k.label["cues"][cue]["state"] == "present" for k in shown])
        rows = [k.seen["cues"][cue] for k in shown]
        p = logistic.predict(fitted["cues"][cue]["present"], rows)
        rng = np.random.default_rng(0)
        assert metrics.expected_calibration_error(p, truth) < 1.5 * metrics.calibration_noise(
            rng, p
        )
        loud = expit(np.array([row["judge_present"] for row in rows]))
        assert metrics.expected_calibration_error(loud, truth) > 0.03


def test_measurements_that_say_nothing_get_next_to_no_weight_or_are_left_out(
    fitted: dict,
) -> None:
    for cue in made_looks.CUES:
        weights = {name: weight for name, *_, weight in fitted["cues"][cue]["present"]["terms"]}
        left_out = fitted["fitted"]["cues"][cue]["present"]["left_out"]
        assert sorted([*weights, *left_out]) == sorted(logistic.PRESENT_TERMS[cue])
        idle = set(weights) - {name for name in weights if name.startswith("judge_present")}
        for name in idle:
            assert abs(weights[name]) < 0.1 * abs(weights["judge_present"]), name


def test_what_is_left_out_changes_no_probability() -> None:
    rng = np.random.default_rng(12)
    present, idle = rng.normal(0, 2, 4000), rng.normal(0, 1, 4000)
    truth = rng.random(4000) < expit(present)
    rows = [
        {"judge_present": float(x), "idle": float(y)} for x, y in zip(present, idle, strict=True)
    ]
    groups = [str(i % 40) for i in range(4000)]
    alone = logistic.fit(rows, truth, groups, ["judge_present"])
    both = logistic.fit(rows, truth, groups, ["judge_present", "idle"])
    assert both.report["left_out"] == ["idle"]
    np.testing.assert_allclose(
        logistic.predict(both.model, rows), logistic.predict(alone.model, rows), atol=0.01
    )


def test_a_measurement_that_speaks_is_heard() -> None:
    rng = np.random.default_rng(5)
    rows, truth = [], []
    for _ in range(3000):
        present, extra = rng.normal(0, 1.5), rng.normal()
        values = made_looks.cue_values(rng, present, 3.0) | {"thin_score": extra}
        rows.append(values)
        truth.append(rng.random() < expit(present + 2 * extra))
    groups = [str(i) for i in range(3000)]
    names = logistic.PRESENT_TERMS["switch_lever"]
    found = logistic.fit(rows, np.array(truth), groups, names)
    weights = {n: w / s for n, _, s, w in found.model["terms"]}
    assert weights["thin_score"] == pytest.approx(2.0, abs=0.4)
    assert found.report["log_loss"] < found.report["log_loss_anchor_alone"] - 0.05


def test_probabilities_hold_at_even_odds_when_the_sample_is_lopsided() -> None:
    # By Bayes' rule a sample with one present in ten has log 9 less of log odds
    # throughout; the likelihood ratio must come out the same.
    rng = np.random.default_rng(6)
    present = rng.normal(0, 2, 12_000)
    truth = rng.random(12_000) < expit(present)
    keep = ~truth | (rng.random(12_000) < 1 / 9)
    rows = [{"judge_present": float(x)} for x in present[keep]]
    groups = [str(i % 50) for i in range(len(rows))]
    found = logistic.fit(rows, truth[keep], groups, ["judge_present"])
    got = [sigmoid(linear(found.model, {"judge_present": x})) for x in (-2.0, 0.0, 2.0)]
    np.testing.assert_allclose(got, expit([-2.0, 0.0, 2.0]), atol=0.03)


def test_the_anchor_alone_is_scikit_learns_unpenalised_balanced_fit() -> None:
    rng = np.random.default_rng(11)
    present = rng.normal(1, 2, 2000)
    truth = rng.random(2000) < expit(present)
    rows = [{"judge_present": float(x)} for x in present]
    found = logistic.fit(rows, truth, [str(i % 40) for i in range(2000)], ["judge_present"])
    reference = LogisticRegression(C=np.inf, class_weight="balanced", tol=1e-8)
    expected = reference.fit(present[:, None], truth).predict_proba(present[:, None])[:, 1]
    np.testing.assert_allclose(logistic.predict(found.model, rows), expected, atol=2e-3)


def test_many_rows_and_one_row_get_the_same_probability(fitted: dict) -> None:
    rng = np.random.default_rng(7)
    rows = [made_looks.cue_values(rng, rng.normal(0, 9), 1.0) for _ in range(50)]
    model = fitted["cues"]["edge_stripe"]["present"]
    expected = [sigmoid(linear(model, row)) for row in rows]
    np.testing.assert_allclose(logistic.predict(model, rows), expected, atol=1e-9)


def test_a_model_that_turns_the_network_round_has_a_negative_slope() -> None:
    rows = [{"a": 2.0, "b": b} for b in (1.0, 3.0)]
    raw = logistic.raw_terms(rows, ["a", "a*b"])
    straight = {"terms": [["a", 0.0, 1.0, 1.0], ["a*b", 0.0, 1.0, -0.25]], "bias": 0.0}
    turned = {"terms": [["a", 0.0, 1.0, 1.0], ["a*b", 0.0, 1.0, -0.5]], "bias": 0.0}
    assert logistic.lowest_slope(straight, raw) == pytest.approx(0.25)
    assert logistic.lowest_slope(turned, raw) == pytest.approx(-0.5)


def test_few_unseen_cues_are_stated_and_the_cost_is_told(fitted: dict) -> None:
    for report in fitted["fitted"]["cues"].values():
        stated = report["stated"]
        assert stated["stated_though_not_visible"] <= 0.05 * stated["not_visible"]
        assert 0.3 < stated["stated_of_visible"] / stated["visible"] < 1.0


def test_seen_limit_counts_by_hand() -> None:
    # 100 hidden cues; 9 % allowed less one standard error of a count of 9 makes 6.
    seen = np.concatenate([np.linspace(0.001, 0.1, 90), np.linspace(0.55, 0.95, 10), [0.9, 0.6]])
    visible = np.array([False] * 100 + [True, True])
    limit, report = limits.seen_limit(seen, np.ones(102, bool), visible, stated_at_most=0.09)
    assert report["stated_though_not_visible"] == 6
    assert 0.68 < limit < 0.73
    assert report["stated_of_visible"] == 1


def test_locate_limits_keep_to_their_rule(fitted: dict) -> None:
    located, chosen = fitted["fitted"]["locate"], fitted["locate"]
    assert located["false_finds"] <= 0.05 * located["pictures_without_engine"]
    assert located["engines_lost"] <= 0.002 * located["engines_boxed_well"]
    # Drawn scores: without an engine up to 0.4, with one from 0.6.
    assert 0.37 < chosen["engine"] < 0.42
    assert chosen["finder"] == pytest.approx(chosen["engine"] ** 2, abs=2e-4)


def test_looks_without_empty_pictures_are_refused(tmp_path: Path) -> None:
    path = made_looks.write(made_looks.looks(50, empty=0.0), tmp_path / "looks.jsonl.gz")
    with pytest.raises(ValueError, match="without an engine"):
        command.calibrate(read_looks([path]), command.Rules())


def test_temperature_of_counts_is_found(tmp_path: Path) -> None:
    rng = np.random.default_rng(9)
    lines = []
    for scene in range(1500):
        line = made_looks.look(rng, "held", 1, scene)
        logits = rng.normal(0, 2, 7)
        chances = np.exp(logits) / np.exp(logits).sum()
        shouted = np.exp(2 * logits) / np.exp(2 * logits).sum()
        box = [410.0, 120.0, 500.0, 220.0]
        line["label"] |= {"tender": box, "tender_share": 1.0, "axles_visible": scene % 3 != 0}
        line["label"]["tender_axles"] = int(rng.choice([2, 3, 4, 5, 6, 7, 8], p=chances))
        line["seen"] |= {"tender": box, "tender_score": 0.9}
        countable = 0.9 if scene % 3 else 0.1
        line["seen"]["counts"] = {
            "axles": shouted.tolist(),
            "lamps": [0.8, 0.1, 0.1],
            "countable": [countable, 0.1],
        }
        lines.append(line)
    looks = read_looks([made_looks.write(lines, tmp_path / "looks.jsonl.gz")])
    model = counts.tender_models(
        looks, 0.5, stated_at_most={"axles": 0.01, "lamps": 0.01}, sure_at_least=0.5
    )
    assert model["axles"]["temperature"] == pytest.approx(2.0, rel=0.12)
    assert 0.1 < model["axles"]["seen_at_least"] < 0.9
    assert "note" in model["lamps"]


def test_the_command_writes_what_the_eye_reads_and_its_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = made_looks.write(made_looks.looks(600), tmp_path / "a.jsonl.gz")
    out = tmp_path / "fusion.json"
    for arguments in (["--plain"], ["--looks", str(path)]):
        monkeypatch.setattr("sys.argv", ["calibrate", *arguments, "--out", str(out)])
        command.main()
        fusion = json.loads(out.read_text())
        judged = [judge(look, fusion) for look in read_looks([path])]
        assert sum(j.found for j in judged) > 500
        assert "fusion.json" in (tmp_path / "SHA256SUMS").read_text()
    assert fusion["fitted"]["files"] == ["a.jsonl.gz"]
    numbers = [int(look.name.scene.split("-")[2]) for look in read_looks([path])]
    assert fusion["fitted"]["series"] == {"held-1": [min(numbers), max(numbers)]}


@given(st.floats(0.02, 0.98), st.floats(0.1, 0.9), st.integers(0, 2**31))
def test_a_place_along_a_region_is_that_of_the_straightened_region(
    along: float, down: float, seed: int
) -> None:
    """Against scikit-image's ProjectiveTransform estimated from the same corners."""
    corners = np.array([[60, 50], [300, 60], [310, 150], [50, 160]], float)
    corners += np.random.default_rng(seed).uniform(-15, 15, (4, 2))
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    point = ProjectiveTransform.from_estimate(square, corners)([[along, down]])[0]
    assert share_along(corners.tolist(), (point[0], point[1])) == pytest.approx(along, abs=1e-3)


def test_a_cue_whose_network_has_changed_is_fitted_on_new_looks_alone(tmp_path: Path) -> None:
    new = read_looks([made_looks.write(made_looks.looks(1500), tmp_path / "new.jsonl.gz")])
    old = read_looks([made_looks.write(made_looks.looks(1500, seed=2), tmp_path / "old.jsonl.gz")])
    alone = command.calibrate(new, command.Rules())
    both = command.calibrate(
        [*new, *former(old, ["switch_lever"])],
        command.Rules(),
    )
    assert both["cues"]["switch_lever"]["seen"] == alone["cues"]["switch_lever"]["seen"]
    assert both["cues"]["switch_lever"]["present"] == alone["cues"]["switch_lever"]["present"]
    assert both["cues"]["side_linkage"]["seen"] != alone["cues"]["side_linkage"]["seen"]
    assert all("switch_lever" in look.label["cues"] for look in old if look.has_engine)


def test_of_networks_before_only_those_that_changed_are_left_out(tmp_path: Path) -> None:
    lines, rng = made_looks.looks(40), np.random.default_rng(6)
    for line in lines:
        if line["label"].get("cues"):
            line["seen"]["cues"]["switch_lever"] |= _seen_closely(rng, 0.0, closely=True)
            line["seen"]["counts"] = {"axles": [1.0]}
    old = read_looks([made_looks.write(lines, tmp_path / "old.jsonl.gz")])
    for look, kept in zip(old, former(old, ["loupe", "tender"]), strict=True):
        assert kept.label["cues"] == look.label.get("cues", {}) and "counts" not in kept.seen
        for cue, values in look.seen.get("cues", {}).items():
            gone = set(values) - set(kept.seen["cues"][cue])
            assert gone == {name for name in values if name.startswith(("near_", "clear_"))}
            assert len(gone) == (4 if cue == "switch_lever" else 0)


def _seen_closely(rng: np.random.Generator, true: float, *, closely: bool) -> dict[str, float]:
    """Of the lever's true log odds the loupe alone knows, and shouts; no other value does."""
    values = made_looks.cue_values(rng, float(rng.normal()), 3.0)
    values |= {f"said_{k:02d}": float(rng.normal()) for k in range(PARTS_ALONG)}
    if closely:
        # At a place told wrongly it has something to say as well.
        values |= {"near_0.5000": 2.0 * true, "near_0.8500": float(rng.normal(0, 5))}
        values |= {"clear_0.5000": float(rng.normal()), "clear_0.8500": float(rng.normal())}
    return values


def test_what_was_looked_at_closely_is_weighed_by_that(tmp_path: Path) -> None:
    lines, rng, engines = made_looks.looks(1600), np.random.default_rng(4), 0
    for number, line in enumerate(lines):
        if not line["label"].get("cues"):
            continue
        true = float(rng.normal(0, 2))
        lever = line["label"]["cues"]["switch_lever"]
        lever |= {"state": "present" if rng.random() < expit(true) else "absent", "along": 0.5}
        seen = _seen_closely(rng, true, closely=number % 2 == 0)
        line["seen"]["cues"]["switch_lever"] |= {
            name: value for name, value in seen.items() if name != "judge_visible"
        }
        engines += number % 2 == 0 and lever["visible"]
    looks = read_looks([made_looks.write(lines, tmp_path / "looks.jsonl.gz")])
    fitted = command.calibrate(looks, command.Rules())
    placed = fitted["cues"]["switch_lever"]["placed"]
    assert "near_here" in {name for name, *_ in placed["near"]["terms"]}
    assert "near_here" not in {name for name, *_ in placed["terms"]}
    report = fitted["fitted"]["cues"]["switch_lever"]["placed"]
    assert report["near"]["n"] == engines < report["n"]
    assert report["near"]["log_loss"] < report["log_loss"] - 0.1
    for true in (-3.0, -1.0, 0.0, 1.0, 3.0):
        rows = [_seen_closely(rng, true, closely=True) for _ in range(300)]
        looks_near = [nearby(row, placed, {"trusted": 1.0})[0] for row in rows]
        assert {look.place for look in looks_near} == {0.5}
        said = [look.p_present for look in looks_near]
        assert np.mean(said) == pytest.approx(expit(true), abs=0.06), true


def test_too_few_looks_from_near_by_are_fitted_from_afar_alone(tmp_path: Path) -> None:
    lines, rng = made_looks.looks(600), np.random.default_rng(5)
    for number, line in enumerate(lines):
        if line["label"].get("cues"):
            line["label"]["cues"]["switch_lever"]["along"] = 0.5
            line["seen"]["cues"]["switch_lever"] |= _seen_closely(rng, 0.0, closely=number < 40)
    looks = read_looks([made_looks.write(lines, tmp_path / "looks.jsonl.gz")])
    placed = command.calibrate(looks, command.Rules())["cues"]["switch_lever"]["placed"]
    assert "near" not in placed and placed["terms"]


def test_each_engine_is_looked_at_where_its_lever_stands_and_where_it_does_not() -> None:
    label = {"cues": {"switch_lever": {"along": 0.8}}}
    assert places_of(label) == pytest.approx((0.8, 0.15))
    # An example guide says where its castings have theirs, whatever the renderer knows.
    assert places_of({**label, "variation": {"guide": "wayfarer"}}) == pytest.approx((0.54, 0.89))
    assert places_of({"cues": {}}) == ()
