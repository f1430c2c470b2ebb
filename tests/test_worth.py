"""What a guide is worth: honest years, and the best that anyone can do."""

from __future__ import annotations

import doctest
import itertools
import math
from collections import Counter
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

import vision.report.worth
from chance import LEVEL, N, rng
from guides import A, P, small_guide, variation
from vision.estimate import (
    CHOSEN,
    PERFECT,
    PERSON_RELIABILITY,
    Eyesight,
    Skill,
    estimate,
    prior,
    simulate,
    wilson,
)
from vision.estimate.eyes import as_cue, look_at
from vision.estimate.factors import factors_of
from vision.estimate.survivors import draw_survivors
from vision.estimate.worth import Tally
from vision.guide import Guide, PartRates, Rates, covered_years, load_guide
from vision.records import BINARY_CUES
from vision.report import sight_text, worth_text
from vision.report.guide_worth import ALL, ceiling_text

REALISTIC = Eyesight(CHOSEN, PERSON_RELIABILITY)


@pytest.fixture(scope="module")
def perfect(guide: Guide) -> tuple[Tally, ...]:
    return simulate(guide, PERFECT, N, rng())


@pytest.fixture(scope="module")
def realistic(guide: Guide) -> tuple[Tally, ...]:
    return simulate(guide, REALISTIC, N, rng())


# --- the interval ------------------------------------------------------------------


@given(st.integers(1, 5000), st.floats(0, 1))
def test_wilson_equals_statsmodels(n: int, share: float) -> None:
    count = round(share * n)
    low, high = proportion_confint(count, n, alpha=0.05, method="wilson")
    assert wilson(count, n) == (pytest.approx(max(0.0, low)), pytest.approx(min(1.0, high)))


def test_wilson_of_a_published_table() -> None:
    """R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics
    in Medicine 17 (1998), table I, method 3: 81 of 263, and 0 of 20."""
    assert [round(end, 4) for end in wilson(81, 263)] == [0.2553, 0.3662]
    assert [round(end, 4) for end in wilson(0, 20)] == [0.0, 0.1611]


# --- worth -------------------------------------------------------------------------


def test_stated_sets_hold_about_what_they_claim(
    perfect: tuple[Tally, ...], realistic: tuple[Tally, ...]
) -> None:
    """The true year is in the set as often as the sets say, within a binomial bound; and
    nine times in ten at least."""
    for tally in (*perfect, *realistic):
        claimed = tally.stated / tally.items
        low, high = binom.interval(1 - LEVEL, tally.items, claimed)
        assert low <= tally.held <= high, tally.stage
        assert binom.cdf(tally.held, tally.items, 0.9) > LEVEL, tally.stage


def test_a_set_that_claims_too_much_would_be_noticed() -> None:
    """The check above on an eye that is worse than it says."""
    guide = load_guide()
    sights = []
    for rate in (0.7, 0.99):
        skills = {name: Skill(1.0, rate, rate) for name in CHOSEN}
        sights.append(Eyesight(MappingProxyType(skills), 1.0))
    poor, boaster = sights
    source = rng()
    held, claimed = 0, 0.0
    for engine in draw_survivors(guide, 600, rng(1)):
        seen = look_at(engine, guide, poor, source)
        found = estimate(guide, [as_cue(n, r, boaster) for n, r in seen.items()])
        years = covered_years(found.years)
        held += engine.year in years if engine.year else not years
        claimed += found.confidence
    assert binom.cdf(held, 600, claimed / 600) < LEVEL


def test_each_look_helps(perfect: tuple[Tally, ...], realistic: tuple[Tally, ...]) -> None:
    for tallies in (perfect, realistic):
        assert len(tallies) == 3
        assert all(tally.items == N for tally in tallies)
        rights = [tally.right for tally in tallies]
        assert rights == sorted(rights)
        assert tallies[-1].years / tallies[-1].dated < tallies[0].years / tallies[0].dated
    assert all(p.right > r.right for p, r in zip(perfect, realistic, strict=True))


def test_an_unaltered_engine_is_named_by_a_perfect_eye(perfect: tuple[Tally, ...]) -> None:
    """Both examples are told apart by photos alone, so nothing but altered parts misleads."""
    for tally in perfect:
        assert 0.5 * N < tally.made < N
        assert tally.made_right == tally.made


def test_the_share_named_right_of_a_guide_worked_by_hand() -> None:
    """Two variations, one part, lost in 30 %, never added, no engine of neither: seen
    present it is V1 for sure; seen absent it is V2 (0.5 against 0.15). Right: 0.5 * 0.7 +
    0.5 = 0.85."""
    rows = [
        variation("V1", [1931], {"switch_lever": P}),
        variation("V2", [1932], {"switch_lever": A}),
    ]
    rates = Rates(0.0, 0.0, parts={"switch_lever": PartRates(lost=0.3, added=0.0)})
    (tally,) = simulate(small_guide(rows, rates=rates), PERFECT, N, rng())
    low, high = binom.interval(1 - LEVEL, N, 0.85)
    assert low <= tally.right <= high
    assert tally.named["V2"] == Counter({"V2": tally.named["V2"].total()})


def test_the_same_seed_gives_the_same_figures(guide: Guide) -> None:
    once, again = (simulate(guide, REALISTIC, 100, rng(3)) for _ in range(2))
    assert once == again
    assert simulate(guide, REALISTIC, 100, rng(4)) != once


def test_stages_are_those_the_guide_can_have() -> None:
    bare = small_guide([variation("V1", [1931], {"switch_lever": P})])
    assert [t.stage for t in simulate(bare, PERFECT, 5, rng())] == ["photo alone"]
    names = [t.stage for t in simulate(load_guide("brindle"), PERFECT, 5, rng())]
    assert names == ["photo alone", "with number", "with the first suggested check answered"]
    names = [t.stage for t in simulate(load_guide(), PERFECT, 5, rng())]
    assert names[1] == "with number and tender"


def test_the_text_states_n_intervals_and_origins(
    guide: Guide, perfect: tuple[Tally, ...], realistic: tuple[Tally, ...]
) -> None:
    lines = worth_text({"perfect": perfect, "realistic": realistic})
    assert max(map(len, lines)) <= 80
    text = "\n".join(lines)
    for tally in (*perfect, *realistic):
        low, high = wilson(tally.right, tally.items)
        share = 100 * tally.right / tally.items
        assert f"{share:.1f} ({100 * low:.1f}–{100 * high:.1f})" in text
    for id, named in perfect[-1].named.items():
        held = 100 * perfect[-1].held_of[id] / named.total()
        assert f"{named[id]} of {named.total()}, {held:.0f} %" in text
    assert all(t.held_of.total() == t.held for t in (*perfect, *realistic))
    origins = dict.fromkeys(CHOSEN, "chosen")
    shown = "\n".join(sight_text(guide, REALISTIC, origins))
    assert ("tender axles" in shown) == bool(guide.tenders)
    assert "measured" not in shown
    assert "renders" in "\n".join(
        sight_text(guide, REALISTIC, origins | {"switch_lever": "seen measured, right chosen"})
    )


def bayes_share(guide: Guide) -> float:
    """Largest share of engines that anyone can name right from the three photo cues.

    Bayes' rule, enumerated: of each outcome the likeliest variation (C. M. Bishop, Pattern
    Recognition and Machine Learning, 2006, section 1.5.1).
    """
    weights: Counter[str] = Counter()
    for id, p in prior(guide).items():
        weights[id.rpartition("@")[0] or id] += p
    factors = [f for f in factors_of(guide) if f.name in BINARY_CUES]
    best = 0.0
    for outcome in itertools.product(*(range(len(f.states)) for f in factors)):
        pairs = list(zip(factors, outcome, strict=True))
        best += max(w * math.prod(f.history[v][k] for f, k in pairs) for v, w in weights.items())
    return best


def test_the_ceiling_is_the_best_that_anyone_can_do(
    guide: Guide, perfect: tuple[Tally, ...]
) -> None:
    low, high = binom.interval(1 - LEVEL, N, bayes_share(guide))
    assert low <= perfect[0].right <= high


def test_the_ceiling_is_told_with_the_engines_behind_it(perfect: tuple[Tally, ...]) -> None:
    lines = ceiling_text(perfect)
    assert max(map(len, lines)) <= 80
    told = {line.split("  ")[0]: line.split()[-4:] for line in lines if "  " in line}
    made, altered, outside, every = (
        told[name] for name in ("as made", "altered since", "in no variation here", ALL)
    )
    assert made == [str(perfect[0].made), "100.0", "100.0", "100.0"]
    engines = [int(cells[0]) for cells in (made, altered, outside)]
    assert sum(engines) == int(every[0]) == N
    assert every[1:] == [f"{100 * tally.right / N:.1f}" for tally in perfect]
    for stage in (1, 2, 3):
        parts = [
            n * float(c[stage]) for n, c in zip(engines, (made, altered, outside), strict=True)
        ]
        assert sum(parts) / N == pytest.approx(float(every[stage]), abs=0.1)
    assert f"{engines[1]} ({100 * engines[1] / N:.1f} %) were altered" in "\n".join(lines)


def test_a_guide_without_doubt_has_no_ceiling() -> None:
    rows = [
        variation("V1", [1931], {"switch_lever": P}),
        variation("V2", [1932], {"switch_lever": A}),
    ]
    rates = Rates(0.0, 0.0, parts={"switch_lever": PartRates(lost=0.0, added=0.0)})
    text = "\n".join(ceiling_text(simulate(small_guide(rows, rates=rates), PERFECT, 50, rng())))
    assert "names every engine drawn right" in text
    assert "in no variation here   0        -" in text


def test_the_guides_own_fault_is_told_apart() -> None:
    rows = [variation(id, [1931], {"switch_lever": P}) for id in ("V1", "V2")]
    tallies = simulate(small_guide(rows), PERFECT, 50, rng())
    wrong = tallies[-1].made - tallies[-1].made_right
    assert wrong > 0
    assert f"{wrong} of its mistakes are engines as made" in " ".join(ceiling_text(tallies))


def test_examples_in_docstrings() -> None:
    result = doctest.testmod(vision.report.worth)
    assert result.attempted > 0
    assert result.failed == 0
