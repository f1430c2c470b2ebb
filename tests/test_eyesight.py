"""Engines drawn from a guide, and eyes of stated skill that look at them."""

from __future__ import annotations

import json
from collections import Counter
from types import MappingProxyType

import numpy as np
import pytest
from scipy.stats import beta, binom, chisquare

from chance import LEVEL, N, rng
from guides import A, P, small_guide, variation
from vision.cli.simulate import realistic_sight, right_measured, right_shares
from vision.estimate import (
    CHOSEN,
    PERFECT,
    READINGS,
    Eyesight,
    Skill,
    prior,
    visible_shares,
)
from vision.estimate.eyes import as_cue, look_at
from vision.estimate.factors import factors_of
from vision.estimate.survivors import draw_survivors
from vision.guide import Guide, PartRates, Rates, Tender, load_guide
from vision.network import models_folder
from vision.records import LETTERING, PHOTO_CUES

# --- drawn engines -----------------------------------------------------------------


def test_drawn_engines_follow_the_prior_and_the_rates(guide: Guide) -> None:
    """Chi-squared goodness of fit (scipy) of variation-years, and of each part."""
    engines = list(draw_survivors(guide, 4000, rng()))
    before = prior(guide)
    ids = Counter(f"{e.variation}@{e.year}" if e.year else e.variation for e in engines)
    expected = [p * len(engines) for p in before.values()]
    assert chisquare([ids[id] for id in before], expected).pvalue > LEVEL
    for factor in factors_of(guide):
        if factor.name in ("tender", "cab_number"):
            continue
        seen = Counter(e.parts[factor.name] for e in engines)
        chances = np.zeros(len(factor.states))
        for id, p in before.items():
            chances += p * np.array(factor.history[id.rpartition("@")[0] or id])
        observed = [seen[state] for state in factor.states]
        assert chisquare(observed, chances / chances.sum() * len(engines)).pvalue > LEVEL


def test_tenders_are_swapped_at_the_guides_own_rate() -> None:
    """Not at the rate with which the dating caps a tender's word."""
    rows = [
        variation("V1", [1931], tenders=("K",)),
        variation("V2", [1932], tenders=("L",)),
    ]
    rates = Rates(0.0, 0.0, 0.2, parts={"tender_lamps": PartRates(0.0, 0.0)})
    guide = small_guide(rows, rates=rates, tenders=(Tender("K", 4, 0), Tender("L", 6, 1)))
    engines = list(draw_survivors(guide, 4000, rng()))
    own = {"V1": "4", "V2": "6"}
    strange = sum(e.parts["tender_axles"] != own[e.variation] for e in engines)
    # Swapped in 20 %: a third of the rest is foreign (0.3, six counts), 0.35 each listed.
    expected = 0.2 * (0.35 + 0.3 * 5 / 6)
    low, high = binom.interval(1 - LEVEL, len(engines), expected)
    assert low <= strange <= high


def test_an_engine_as_made_has_what_the_guide_says(guide: Guide) -> None:
    engines = [e for e in draw_survivors(guide, 300, rng()) if e.as_made]
    assert len(engines) > 100
    for engine in engines:
        made = guide.variation(engine.variation)
        for name, state in made.expects.items():
            shown = engine.parts[name]
            assert (shown == "absent") == (state is A)
            if name == "edge_stripe" and made.stripe_colour and state is P:
                assert shown == made.stripe_colour
        assert engine.parts["cab_number"] in made.numbers


# --- eyes --------------------------------------------------------------------------


def test_a_perfect_eye_reads_everything_as_it_is(guide: Guide) -> None:
    for engine in draw_survivors(guide, 200, rng()):
        seen = look_at(engine, guide, PERFECT, rng())
        assert seen.keys() == engine.parts.keys() - set(guide.check_names)
        for name, read in seen.items():
            assert read.removeprefix("present ") == engine.parts[name]


def test_only_a_perfect_eye_reads_a_number_with_letters() -> None:
    """Before, a guide's worth counted numbers that the reader of figures never tells."""
    lettered = small_guide([variation("V", [1931], numbers=("A10",))])
    sure = MappingProxyType(dict(CHOSEN) | {"cab_number": Skill(1.0, 0.99)})
    for engine in draw_survivors(lettered, 50, rng()):
        mine = look_at(engine, lettered, Eyesight(sure, 1.0), rng())
        assert ("cab_number" in mine) == engine.parts["cab_number"].isdigit()
        assert look_at(engine, lettered, PERFECT, rng())["cab_number"] == engine.parts["cab_number"]


def test_an_eye_is_as_good_as_its_stated_rates() -> None:
    """Counted: seen, right where it is there, right where it is not (binomial bounds)."""
    guide = load_guide()
    skills = dict(CHOSEN) | {"switch_lever": Skill(0.7, 0.9, 0.6)}
    sight = Eyesight(MappingProxyType(skills), 1.0)
    source = rng()
    counts: Counter[tuple[str, str | None]] = Counter()
    for engine in draw_survivors(guide, N, rng(1)):
        read = look_at(engine, guide, sight, source).get("switch_lever")
        counts[engine.parts["switch_lever"], read] += 1

    def within(count: int, n: int, share: float) -> bool:
        low, high = binom.interval(1 - LEVEL, n, share)
        return bool(low <= count <= high)

    for true, right in (("present", 0.9), ("absent", 0.6)):
        read = counts[true, "present"] + counts[true, "absent"]
        assert within(read, read + counts[true, None], 0.7)
        assert within(counts[true, true], read, right)


def test_a_reading_carries_its_likelihood_ratio() -> None:
    """Sensitivity 0.9 and specificity 0.8 make a positive reading 4.5 times likelier
    with the part than without: the positive likelihood ratio, sens / (1 - spec)."""
    skills = dict(CHOSEN) | {"switch_lever": Skill(1.0, 0.9, 0.8)}
    sight = Eyesight(MappingProxyType(skills), 1.0)
    positive, negative = (as_cue("switch_lever", s, sight) for s in ("present", "absent"))
    assert positive.p_present is not None
    assert negative.p_present is not None
    assert positive.p_present / (1 - positive.p_present) == pytest.approx(0.9 / 0.2)
    assert negative.p_present / (1 - negative.p_present) == pytest.approx(0.1 / 0.8)


def test_visible_shares_are_those_of_the_fit() -> None:
    counts = {"visible": 60, "not_visible": 40, "stated_of_visible": 30}
    fusion = {
        "fitted": {"cues": {"switch_lever": {"stated": counts}, "unknown": {"stated": counts}}},
        "tender": {"axles": counts, "lamps": {"temperature": 1.0}},
    }
    assert visible_shares(fusion) == {"switch_lever": 0.3, "tender_axles": 0.3}
    assert visible_shares({}) == {}
    near = counts | {"stated_of_visible": 45}
    afar = counts | {"stated_of_visible": 40}
    lever = fusion["fitted"]["cues"]["switch_lever"]
    for placed, share in (({}, 0.3), ({"stated": afar}, 0.4), ({"near": {"stated": near}}, 0.45)):
        lever["placed"] = placed
        assert visible_shares(fusion, told=True)["switch_lever"] == share
        assert visible_shares(fusion)["switch_lever"] == 0.3


def test_lettering_survives_and_is_seen_as_the_guide_and_the_eye_say() -> None:
    """Shares by hand: of tenders made with it and without; an eye that is not perfect never
    says that there is none."""
    made = (Tender("K", 4, 0, lettering=True), Tender("L", 4, 0, lettering=False))
    rows = [variation("V1", [1931], tenders=("K",)), variation("V2", [1932], tenders=("L",))]
    rates = Rates(0.0, 0.0, 0.0, parts={LETTERING: PartRates(0.2, 0.1)})
    guide = small_guide(rows, tenders=made, rates=rates)
    fair = Eyesight(CHOSEN, 1.0)
    there: dict[str, list[bool]] = {"V1": [], "V2": []}
    told: dict[str, list[str | None]] = {"present": [], "absent": []}
    source = rng()
    for engine in draw_survivors(guide, 2000, rng(1)):
        state = engine.parts[LETTERING]
        there[engine.variation].append(state == "present")
        assert look_at(engine, guide, PERFECT, source)[LETTERING] == state
        told[state].append(look_at(engine, guide, fair, source).get(LETTERING))
    assert np.mean(there["V1"]) == pytest.approx(0.8, abs=0.05)
    assert np.mean(there["V2"]) == pytest.approx(0.1, abs=0.05)
    assert {word for words in told.values() for word in words} == {"present", None}
    skill = CHOSEN[LETTERING]
    for state, rate in (("present", skill.sensitivity), ("absent", 1.0 - skill.specificity)):
        seen = np.mean([word == "present" for word in told[state]])
        assert seen == pytest.approx(skill.visible * rate, abs=0.05)
    silent = small_guide(rows, tenders=(Tender("K", 4, 0), Tender("L", 4, 0)), rates=rates)
    assert all(LETTERING not in e.parts for e in draw_survivors(silent, 20, rng(1)))


def test_every_cue_has_a_chosen_skill() -> None:
    assert tuple(CHOSEN) == READINGS
    assert set(PHOTO_CUES) <= set(READINGS)


def test_the_shipped_fit_is_understood() -> None:
    shares = visible_shares(json.loads((models_folder() / "fusion.json").read_text()))
    assert {"switch_lever", "side_linkage", "edge_stripe"} <= shares.keys()
    assert all(0.0 <= share <= 1.0 for share in shares.values())


# --- rates of the fit ---------------------------------------------------------------


def fitted(present: tuple[int, int], absent: tuple[int, int]) -> dict[str, dict[str, int]]:
    counts = {"visible": 200, "not_visible": 0, "stated_of_visible": 150}
    counts |= {"stated_of_present": present[0], "right_of_present": present[1]}
    return {"stated": counts | {"stated_of_absent": absent[0], "right_of_absent": absent[1]}}


def test_the_realistic_eye_is_right_as_often_as_the_fit_was(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tender = {"visible": 100, "not_visible": 0, "stated_of_visible": 80, "right_of_visible": 80}
    fusion = {
        "fitted": {
            "cues": {
                "switch_lever": fitted((70, 63), (80, 60)),
                "side_linkage": fitted((20, 20), (80, 60)),  # too few
                "edge_stripe": fitted((70, 35), (80, 40)),  # a coin
            }
        },
        "tender": {"axles": tender, "lamps": {"stated_of_visible": 80}},
    }
    shares = right_shares(fusion)
    # The mean of a binomial share under Jeffreys' prior, Beta(1/2, 1/2): scipy's.
    assert shares["switch_lever"] == {
        "sensitivity": pytest.approx(beta(63.5, 7.5).mean()),
        "specificity": pytest.approx(beta(60.5, 20.5).mean()),
    }
    assert shares["tender_axles"] == {"sensitivity": pytest.approx(beta(80.5, 0.5).mean())}
    assert shares["edge_stripe"] == {"visible": 0.0}
    assert shares.keys() == {"switch_lever", "tender_axles", "edge_stripe"}
    monkeypatch.setattr("vision.cli.simulate._fusion", lambda: fusion)
    given = {"sensitivity": {"tender_axles": 0.7}}
    sight, origins = realistic_sight(given)
    lever = sight.skills["switch_lever"]
    assert (lever.visible, lever.sensitivity) == (0.75, pytest.approx(63.5 / 71))
    assert sight.skills["side_linkage"] == Skill(0.75, 0.95, 0.95)
    assert sight.skills["edge_stripe"].visible == 0.0
    assert sight.skills["tender_axles"].sensitivity == 0.7
    assert origins["switch_lever"] == "measured"
    assert origins["side_linkage"] == "seen measured, right chosen"
    assert origins["tender_axles"] == "seen measured, right given"
    assert right_measured(origins["switch_lever"])
    assert not any(right_measured(origins[n]) for n in ("side_linkage", "tender_axles"))


def test_the_shipped_fit_gives_rates_that_can_be_used() -> None:
    sight, _ = realistic_sight({})
    assert sight.skills.keys() == CHOSEN.keys()
    fusion = json.loads((models_folder() / "fusion.json").read_text())
    assert right_shares(fusion).keys() <= set(READINGS)
    assert right_shares({}) == {}
