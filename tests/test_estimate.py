"""The argument: against an independent library, textbooks and trade facts."""

import math
from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guides import (
    COMPARED,
    EXAMPLES,
    A,
    P,
    cue,
    evidence,
    guides,
    members,
    posterior,
    small_guide,
    unseen,
    value,
    variation,
)
from network_answer import network_posterior
from vision.estimate import by_variation, estimate, prior, replay, saw
from vision.estimate.factors import TENDER_MAX_RATIO
from vision.guide import PartRates, Rates, load_guide
from vision.records import COUPLED, Cue, State

SURE = Rates(0.001, 0.0, 0.0, 0.0, 0.0)


# --- against a general Bayesian-network library -----------------------------------


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # pgmpy's own imports warn
@settings(max_examples=COMPARED, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_posterior_equals_pgmpy(data):
    """pgmpy, variable elimination; equal to 1e-9, also where a person names the tender.

    The network is not even told what gives way to that: the counts of axles and lamps.
    """
    guide = data.draw(guides())
    cues = counting = data.draw(evidence(guide))
    if guide.tenders and data.draw(st.booleans()):
        id = data.draw(st.sampled_from([*(t.id for t in guide.tenders), "other"]))
        said = saw(guide, f"tender={id}")
        cues = data.draw(st.permutations([*cues, said]))
        counting = [said, *(c for c in counting if not c.name.startswith("tender_"))]
    mine, theirs = posterior(guide, cues), network_posterior(guide, counting)
    assert mine.keys() == theirs.keys()
    for id, p in theirs.items():
        assert mine[id] == pytest.approx(p, abs=1e-9)


def test_the_comparison_can_fail():
    """The comparator on a wrong network: one reading left out must show."""
    guide = load_guide()
    cues = [cue("switch_lever", 0.9), cue("side_linkage", 0.2)]
    worst = max(
        abs(p - posterior(guide, cues)[id])
        for id, p in _quietly(network_posterior, guide, cues[:1]).items()
    )
    assert worst > 0.01


def _quietly(function, *args):
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return function(*args)


# --- properties of any argument ---------------------------------------------------


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.data())
def test_order_unseen_replay_and_bounds(data):
    guide = data.draw(guides())
    cues = data.draw(evidence(guide))
    answer = estimate(guide, cues)

    shuffled = data.draw(st.permutations(cues))
    assert estimate(guide, shuffled) == answer

    names = ["switch_lever", "side_linkage", "edge_stripe", "cab_number", *guide.check_names]
    names += ["driving_axles", COUPLED]
    hidden = [unseen(name) for name in names if all(c.name != name for c in cues)]
    with_hidden = estimate(guide, [*cues, *hidden])
    assert replay(guide, with_hidden.steps) == replay(guide, answer.steps)
    assert with_hidden.years == answer.years
    assert len(with_hidden.steps) == len(answer.steps) + len(hidden)
    assert with_hidden.look_next == answer.look_next

    replayed = replay(guide, answer.steps)
    assert math.fsum(replayed.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(0.0 < p < 1.0 for p in replayed.values())
    summed = by_variation(replayed)
    assert {c.id: c.p for c in answer.variations} == pytest.approx(summed, abs=1e-11)
    assert all(0.0 < c.p < 1.0 for c in answer.variations)
    assert 0.0 < answer.confidence < 1.0
    assert [c.p for c in answer.variations] == sorted(c.p for c in answer.variations)[::-1]


def test_an_unclear_cue_counts_as_what_it_leans_to_and_a_hidden_one_for_nothing():
    guide = load_guide("wayfarer")
    hidden = Cue("switch_lever", State.UNSEEN, p_present=0.9, clear=0.5)
    unclear = replace(hidden, in_sight=True)
    assert unclear.leaning == pytest.approx(0.7) and hidden.leaning is None
    stated = Cue("switch_lever", State.PRESENT, p_present=0.7, confidence=0.7)
    assert posterior(guide, [unclear]) == pytest.approx(posterior(guide, [stated]))
    assert posterior(guide, [hidden]) == posterior(guide, [])
    answer = estimate(guide, [unclear])
    (step,) = (step for step in answer.steps if step.cue == "switch_lever")
    assert "unclear, leaning to present (70 %)" in step.text
    # Who could see it better is still asked for it.
    assert "switch_lever" in {look.name for look in answer.look_next}
    taken_back = Cue("switch_lever", State.UNSEEN, source="person")
    assert posterior(guide, [unclear, taken_back]) == posterior(guide, [])


def test_an_unclear_number_counts_as_what_it_may_be_and_never_for_one_unlisted():
    guide = load_guide("wayfarer")
    shares = {"316": 0.4, "310": 0.2}
    unclear = Cue("cab_number", State.UNSEEN, values=shares, in_sight=True)
    stated = Cue("cab_number", State.PRESENT, value="316", confidence=0.4, values=shares)
    assert posterior(guide, [unclear]) == pytest.approx(posterior(guide, [stated]))
    assert posterior(guide, [replace(unclear, in_sight=False)]) == posterior(guide, [])
    (step,) = (s for s in estimate(guide, [unclear]).steps if s.cue == "cab_number")
    assert (step.kind, "unclear, perhaps 316 (40 %)" in step.text) == ("number", True)
    # What fits no number of the guide is rather a misreading than another number.
    junk = replace(unclear, values={"977": 0.5})
    assert posterior(guide, [junk]) == pytest.approx(posterior(guide, []))
    assert posterior(guide, [replace(junk, state=State.PRESENT, value="977")]) != pytest.approx(
        posterior(guide, [])
    )


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.data())
def test_years_are_the_smallest_set_of_nine_tenths(data):
    guide = data.draw(guides())
    answer = estimate(guide, data.draw(evidence(guide)))
    masses = {}
    for id, p in replay(guide, answer.steps).items():
        if id != "other":
            year = int(id.split("@")[1])
            masses[year] = masses.get(year, 0.0) + p
    other = next(c.p for c in answer.variations if c.id == "other")
    if other >= 0.5:
        assert (answer.years, answer.confidence) == ("XXXX", pytest.approx(other))
        return
    said = set(members(answer.years))
    assert answer.confidence == pytest.approx(sum(masses[y] for y in said), abs=1e-9)
    wanted = 0.9 if other <= 0.1 else 0.9 * (1 - other)
    assert answer.confidence >= wanted - 1e-9
    # Without the least likely of them (and its equals) it would be too little.
    least = min(masses[y] for y in said)
    assert sum(masses[y] for y in said if masses[y] > least * (1 + 1e-6)) < wanted + 1e-9
    assert all(masses[y] <= least * (1 + 1e-6) for y in masses if y not in said)


def test_certainty_is_never_reached():
    """Ten persons and a photo that claims to be sure still leave room for doubt."""
    guide = load_guide()
    cues = [cue("switch_lever", 1.0), cue("side_linkage", 0.0), cue("edge_stripe", 0.0)]
    cues += [saw(guide, s) for s in ("cab_number=310", "axle_magnets=absent", "tender=K")] * 10
    probabilities = posterior(guide, cues).values()
    assert 0.0 < min(probabilities) < max(probabilities) < 1.0


def test_replay_refuses_steps_of_another_guide():
    steps = estimate(load_guide(), [cue("switch_lever", 0.9)]).steps
    with pytest.raises(ValueError, match="hypotheses of this guide"):
        replay(load_guide("brindle"), steps)


def test_hypothesis_ids_and_prior():
    before = prior(load_guide())
    assert list(before)[:3] == ["W1@1931", "W1@1932", "W2@1933"]
    assert list(before)[-1] == "other"
    assert before["other"] == pytest.approx(0.05)
    assert before["W1@1931"] == before["W2@1933"] == pytest.approx(0.95 / 9)


# --- textbook examples of Bayes' rule ---------------------------------------------


def test_taxi_cabs():
    """A. Tversky and D. Kahneman, Evidential impact of base rates (1982): 15 % of the
    cabs are Blue, 85 % Green; a witness who is right in 80 % says Blue: 41 %."""
    rates = replace(SURE, parts={"edge_stripe": PartRates(0.0, 0.0)})
    cabs = [
        variation("Blue", [1931], {"edge_stripe": P}, output=15.0),
        variation("Green", [1931], {"edge_stripe": A}, output=85.0),
    ]
    p = by_variation(posterior(small_guide(cabs, rates=rates), [cue("edge_stripe", 0.8)]))
    assert round(p["Blue"] / (p["Blue"] + p["Green"]), 2) == 0.41


def test_screening():
    """D. M. Eddy, Probabilistic reasoning in clinical medicine (1982), as retold by
    G. Gigerenzer: 1 % are ill; the test finds 80 % of them, and 9.6 % of the healthy
    test positive too: a positive test means 7.8 %."""
    rates = replace(SURE, parts={"switch_lever": PartRates(lost=0.2, added=0.096)})
    people = [
        variation("ill", [1931], {"switch_lever": P}, output=1.0),
        variation("well", [1931], {"switch_lever": A}, output=99.0),
    ]
    p = by_variation(posterior(small_guide(people, rates=rates), [cue("switch_lever", 1.0)]))
    assert round(p["ill"] / (p["ill"] + p["well"]), 3) == 0.078


def test_zadeh_conflict_is_raised_and_the_runner_up_is_not_crowned():
    """L. A. Zadeh (1979; AI Magazine 5 (3), 1984): one doctor is 99 % sure of meningitis,
    the other 99 % of a concussion, and each leaves 1 % to a tumour. Dempster's rule
    then makes the tumour certain."""
    illnesses = [
        variation("meningitis", [1931], numbers=("310",)),
        variation("concussion", [1932], numbers=("777",)),
        variation("tumour", [1933], numbers=("555",)),
    ]
    guide = small_guide(illnesses)
    doctors = [
        Cue("cab_number", P, values=MappingProxyType({"310": 0.99, "555": 0.01})),
        Cue("cab_number", P, values=MappingProxyType({"777": 0.99, "555": 0.01})),
    ]
    answer = estimate(guide, doctors)
    assert [c.kind for c in answer.conflicts] == ["readings"]
    assert "310" in answer.conflicts[0].text
    assert "777" in answer.conflicts[0].text
    p = {c.id: c.p for c in answer.variations}
    assert p["tumour"] < 0.1
    assert p["meningitis"] == pytest.approx(p["concussion"], rel=0.05)
    assert estimate(guide, doctors[:1]).conflicts == ()


def test_zadeh_between_different_parts():
    """The same with two parts that point at two variations and both leave a little to
    a third: the states no variation has are named, and nothing is settled by them."""
    rows = [
        variation("meningitis", [1931], {"switch_lever": P, "side_linkage": A}),
        variation("concussion", [1932], {"switch_lever": A, "side_linkage": P}),
    ]
    answer = estimate(small_guide(rows), [cue("switch_lever", 0.99), cue("side_linkage", 0.99)])
    assert [c.kind for c in answer.conflicts] == ["no_variation"]
    p = {c.id: c.p for c in answer.variations}
    assert p["meningitis"] == pytest.approx(p["concussion"], rel=0.05)
    assert p["other"] > prior(small_guide(rows))["other"]


# --- facts of the trade (common practice, no source) ------------------------------


def test_a_flat_reversing_unit_leaves_no_lever():
    """Common practice, no source: no lever is a year of its own, not a lost lever."""
    guide = load_guide()
    p = by_variation(posterior(guide, [cue("switch_lever", 0.03), cue("edge_stripe", 0.97)]))
    assert p["W3"] + p["W4"] > 0.8


def test_the_same_casting_is_sold_under_two_numbers():
    """Common practice, no source: either number fits, and neither is a changed number."""
    rows = [
        variation("line", [1931], {"switch_lever": P}, numbers=("310", "1310")),
        variation("later", [1932], {"switch_lever": P}, numbers=("316",)),
    ]
    guide = small_guide(rows)
    for number in ("310", "1310"):
        answer = estimate(guide, [cue("switch_lever", 0.97), value("cab_number", number, 0.97)])
        assert answer.variations[0].id == "line"
        assert answer.conflicts == ()


def test_a_feature_lapses_and_returns():
    """Common practice, no source: the lever of 1937 does not make a 1937 engine a 1931 one,
    and no lever in between does not end it."""
    guide = load_guide()
    answer = estimate(guide, [cue("switch_lever", 0.98)])
    p = {c.id: c.p for c in answer.variations}
    assert min(p["W2"], p["W5"]) > 2 * max(p["W3"], p["W4"] / 2)
    assert p["W2"] == pytest.approx(p["W5"], rel=1e-9)


def test_a_tender_suffix_marks_lettering_alone():
    """Common practice, no source."""
    guide = load_guide()
    assert saw(guide, "tender=K-2") == saw(guide, "tender=K")


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.data())
def test_a_tender_never_outweighs_the_engine(data):
    """Common practice, no source: tenders get swapped. Whatever the guide and however
    sure its readings, a tender makes no variation more than so many times likelier."""
    guide = data.draw(guides().filter(lambda g: g.tenders))
    cues = [
        value("tender_axles", data.draw(st.sampled_from("234567")), data.draw(st.floats(0, 1))),
        value("tender_lamps", data.draw(st.sampled_from("012345")), data.draw(st.floats(0, 1))),
        saw(guide, f"tender={data.draw(st.sampled_from([t.id for t in guide.tenders]))}"),
    ]
    (step,) = (s for s in estimate(guide, cues).steps if s.kind == "tender")
    likelihoods = step.likelihoods.values()
    assert max(likelihoods) / min(likelihoods) <= TENDER_MAX_RATIO * (1 + 1e-9)


@pytest.mark.parametrize("id", [v.id for v in load_guide().variations])
@pytest.mark.parametrize("tender", ["K", "L", "M"])
def test_no_swapped_tender_changes_a_variation_clearly_read(id, tender):
    guide = load_guide()
    made = guide.variation(id)
    cues = [cue(name, 0.95 if state is P else 0.05) for name, state in made.expects.items()]
    cues.append(value("cab_number", made.numbers[0], 0.95))
    shape = next(t for t in guide.tenders if t.id == tender)
    cues.append(value("tender_axles", str(shape.axles), 0.99))
    cues.append(value("tender_lamps", str(shape.lamps), 0.99))
    answer = estimate(guide, cues)
    assert answer.variations[0].id == id
    kinds = [c.kind for c in answer.conflicts]
    assert kinds == ([] if tender in made.tenders else ["engine_tender"])
    if kinds:
        text = answer.conflicts[0].text
        assert f"tender {' or '.join(made.tenders)}" in text
        owners = [v.id for v in guide.variations if tender in v.tenders]
        assert f"tender {tender}, sold with {', '.join(owners)}" in text
