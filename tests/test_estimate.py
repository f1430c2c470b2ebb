"""The argument: against an independent library, textbooks, trade facts and worked cases."""

import json
import math
from dataclasses import replace
from pathlib import Path
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
    small_guide,
    unseen,
    value,
    variation,
)
from network_answer import network_posterior
from vision.estimate import by_variation, estimate, prior, replay, saw, strength_words
from vision.estimate.factors import TENDER_MAX_RATIO, factors_of
from vision.estimate.look import information
from vision.estimate.numbers import ALPHABET, reading_likelihood
from vision.estimate.reading import PERSON_RELIABILITY, lamps_shown
from vision.guide import PartRates, Rates, Tender, builtin_names, load_guide, year_bounds, years_of
from vision.records import COUPLED, LETTERING, Cue, EvidenceError, State

CASES = Path(__file__).parent / "cases"
SURE = Rates(0.001, 0.0, 0.0, 0.0, 0.0)


def posterior(guide, cues):
    return replay(guide, estimate(guide, cues).steps)


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
    said = set(_members(answer.years))
    assert answer.confidence == pytest.approx(sum(masses[y] for y in said), abs=1e-9)
    wanted = 0.9 if other <= 0.1 else 0.9 * (1 - other)
    assert answer.confidence >= wanted - 1e-9
    # Without the least likely of them (and its equals) it would be too little.
    least = min(masses[y] for y in said)
    assert sum(masses[y] for y in said if masses[y] > least * (1 + 1e-6)) < wanted + 1e-9
    assert all(masses[y] <= least * (1 + 1e-6) for y in masses if y not in said)


def _members(text):
    if not text.startswith("["):
        return years_of(text)
    spans = [part.split("..") for part in text[1:-1].split(",")]
    return [y for span in spans for y in range(int(span[0]), int(span[-1]) + 1)]


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


# --- what to look at next ---------------------------------------------------------


def test_information_of_textbook_channels():
    """T. M. Cover and J. A. Thomas, Elements of Information Theory, chapter 7: a fair bit
    through a binary symmetric channel gains 1 - H(p) bits."""
    fair = {"a": 0.5, "b": 0.5}
    gain, left = information(fair, {"a": (1.0, 0.0), "b": (0.0, 1.0)})
    assert (gain, left) == (pytest.approx(1.0), pytest.approx(1.0))
    gain, left = information(fair, {"a": (0.5, 0.5), "b": (0.5, 0.5)})
    assert (gain, left) == (0.0, pytest.approx(2.0))
    crossed = 0.11
    lost = -crossed * math.log2(crossed) - (1 - crossed) * math.log2(1 - crossed)
    gain, _ = information(fair, {"a": (1 - crossed, crossed), "b": (crossed, 1 - crossed)})
    assert gain == pytest.approx(1 - lost)


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.data())
def test_gains_are_ranked_and_no_more_than_is_open(data):
    guide = data.draw(guides())
    answer = estimate(guide, data.draw(evidence(guide)))
    open_bits = -sum(c.p * math.log2(c.p) for c in answer.variations)
    gains = [look.gain_bits for look in answer.look_next]
    assert gains == sorted(gains, reverse=True)
    assert all(0.0 <= gain <= open_bits + 1e-9 for gain in gains)
    for look in answer.look_next:
        assert math.log2(look.candidates_left) == pytest.approx(
            open_bits - look.gain_bits, abs=1e-6
        )


@pytest.mark.parametrize("check", ["axle_magnets", "smoke_unit"])
def test_the_gain_of_a_check_is_what_its_answers_bring_on_average(check):
    """Carried out: entropy before, minus the mean entropy after each answer."""
    guide = load_guide()
    cues = [cue("side_linkage", 0.1), cue("edge_stripe", 0.9)]
    before = estimate(guide, cues)
    gain = next(look.gain_bits for look in before.look_next if look.name == check)

    def bits(estimated):
        return -sum(c.p * math.log2(c.p) for c in estimated.variations)

    factor = next(f for f in factors_of(guide) if f.name == check)
    present = sum(
        c.p * (factor.table[c.id][0] * PERSON_RELIABILITY)
        + c.p * factor.table[c.id][1] * (1 - PERSON_RELIABILITY)
        for c in before.variations
    )
    after = [
        p * bits(estimate(guide, [*cues, saw(guide, f"{check}={state}")]))
        for state, p in (("present", present), ("absent", 1 - present))
    ]
    assert gain == pytest.approx(bits(before) - sum(after), abs=1e-9)


@pytest.mark.parametrize("name", builtin_names())
def test_everything_open_is_suggested_with_an_instruction(name):
    guide = load_guide(name)
    names = {"driving_axles", "switch_lever", "side_linkage", "edge_stripe", "cab_number"}
    names |= set(guide.check_names)
    names |= {"tender_axles", "tender_lamps"} if guide.tenders else {COUPLED}
    looks = estimate(guide, [unseen("switch_lever")]).look_next
    assert {look.name for look in looks} == names
    assert {look.name for look in looks if look.hands_on} == set(guide.check_names)
    cautions = {check.id: check.caution for check in guide.checks}
    assert all(look.caution == cautions.get(look.name, "") for look in looks)
    assert all(look.instruction.endswith("?") for look in looks)
    settled = [saw(guide, f"{check}=present") for check in guide.check_names]
    after = estimate(guide, [*settled, cue("switch_lever", 0.99)]).look_next
    assert {look.name for look in after} == names - set(guide.check_names) - {"switch_lever"}


def lettered(*numbers):
    """Two variations that differ in their number alone."""
    rows = [variation(f"V{i}", [1931 + i], numbers=(n,)) for i, n in enumerate(numbers)]
    return small_guide(rows)


def test_nobody_is_sent_to_photograph_a_number_that_cannot_be_read():
    """Before, `date` advised a photo of "A10", which the reader of figures never tells."""
    guide = lettered("A10", "B10")
    names = {look.name for look in estimate(guide, []).look_next}
    assert "cab_number" not in names
    assert "switch_lever" in names
    assert "cab_number" in {look.name for look in estimate(lettered("10", "20"), []).look_next}
    # Said by a person it counts.
    said = by_variation(posterior(guide, [saw(guide, "cab_number=A10")]))
    assert said["V0"] > 10 * said["V1"]


def test_a_number_that_cannot_be_read_adds_nothing_to_the_gain_of_a_photo():
    """The channel by hand: the photo tells 10 from all else, and A10 from nothing else."""
    guide = lettered("10", "A10", "B10")
    answer = estimate(guide, [])
    (look,) = (n for n in answer.look_next if n.name == "cab_number")
    shares = {c.id: c.p for c in answer.variations}
    (factor,) = (f for f in factors_of(guide) if f.name == "cab_number")
    right = 0.95
    ten = {id: factor.table[id][factor.states.index("10")] for id in shares}
    given_ = {id: (right * t + (1 - right) * (1 - t),) for id, t in ten.items()}
    gain, _ = information(shares, {id: (p, 1 - p) for id, (p,) in given_.items()})
    assert look.gain_bits == pytest.approx(gain, abs=1e-12)


# --- words, numbers, what a person says -------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        # ENFSI Guideline for Evaluative Reporting in Forensic Science (2015); from memory.
        (1, "no support either way"),
        (1.9, "no support either way"),
        (2, "weak support"),
        (9.9, "weak support"),
        (10, "moderate support"),
        (100, "moderately strong support"),
        (1_000, "strong support"),
        (10_000, "very strong support"),
        (1_000_000, "extremely strong support"),
        (1 / 3, "weak support against"),
        (1 / 500, "moderately strong support against"),
    ],
)
def test_strength_words(ratio, words):
    assert strength_words(ratio) == words


def test_strength_of_nothing_is_an_error():
    with pytest.raises(ValueError, match="more than 0"):
        strength_words(0.0)


def test_steps_say_how_strong_and_for_whom():
    steps = estimate(load_guide(), [cue("edge_stripe", 0.02), value("cab_number", "310", 0.98)])
    stripe, number = steps.steps
    assert "as W1, W2, not W3, W4, W5, W6" in stripe.text
    assert stripe.strength == "weak support for W1"
    assert number.strength == "weak support for W1"
    assert stripe.likelihoods["W1@1931"] == stripe.likelihoods["W1@1932"]


def test_misreadings_of_a_number_sum_to_one():
    """Every text of up to three characters, for a number of one: the rest is tiny."""
    texts = [""]
    total = 0.0
    for _ in range(3):
        total += sum(reading_likelihood(text, "7") for text in texts)
        texts = [text + c for text in texts for c in ALPHABET]
    assert total < 1.0
    assert total == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("painted", "likely", "unlikely"),
    [
        ("310", "810", "410"),  # 3 and 8
        ("17", "77", "57"),  # 1 and 7
        ("30", "3O", "3X"),  # 0 and O
        ("316", "315", "312"),  # 6 and 5
        ("316", "318", "312"),  # 6 and 8
        ("322", "32", "3"),  # one figure worn away rather than two
        ("322", "3?2", "332"),  # a figure that could not be read speaks against nothing
    ],
)
def test_look_alikes_and_wear_are_likelier(painted, likely, unlikely):
    assert reading_likelihood(likely, painted) > 3 * reading_likelihood(unlikely, painted)
    assert reading_likelihood(painted, painted) > reading_likelihood(unlikely, painted)


@given(st.integers(0, 5), st.floats(0, 0.5), st.floats(0, 0.5))
def test_lamps_shown_sum_to_one(lamps, lost, added):
    shown = lamps_shown(lamps, PartRates(lost, added), ("0", "1", "2", "3", "4", "5"))
    assert sum(shown.values()) == pytest.approx(1.0)
    assert min(shown.values()) >= 0.0


def test_saw():
    guide = load_guide()
    lever = saw(guide, " switch_lever = absent ")
    assert (lever.name, lever.state, lever.source) == ("switch_lever", A, "person")
    assert lever.confidence == PERSON_RELIABILITY
    assert lever.p_present == pytest.approx(1 - PERSON_RELIABILITY)
    assert saw(guide, "smoke_unit=present").state is P
    assert saw(guide, "axle_magnets=unseen").state is State.UNSEEN
    assert saw(guide, "edge_stripe=Red").value == "red"
    assert saw(guide, "cab_number=322").value == "322"
    assert saw(guide, "driving_axles=2").value == "2"
    assert saw(guide, "tender_axles=6").value == "6"
    assert saw(guide, "tender=other").value == "other"


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("switch_lever", "NAME=STATE"),
        ("=present", "NAME=STATE"),
        ("switch_lever=", "NAME=STATE"),
        ("smoke=present", 'did you mean "smoke_unit"'),
        ("switch_lever=perhaps", "cannot be"),
        ("switch_lever=red", "cannot be"),
        ("edge_stripe=violet", "cannot be"),
        ("cab_number=3-2", "figures or letters"),
        ("tender_lamps=two", "count"),
        ("driving_axles=7", "1, 2, 3, 4, 5, 6 or 8"),
        ("driving_axles=present", "must be a count"),
        ("tender_lettering=presnt", "present"),
        ("tender_lettering=8", "cannot be"),
        ("tender=Q", "no tender"),
    ],
)
def test_saw_what_the_guide_does_not_know(statement, message):
    with pytest.raises(EvidenceError, match=message) as caught:
        saw(load_guide(), statement)
    assert caught.value.exit_code == 21


def test_a_guide_without_tenders_knows_no_tender():
    with pytest.raises(EvidenceError, match="no cue or check"):
        saw(load_guide("brindle"), "tender=K")
    step = estimate(load_guide("brindle"), [value("tender_axles", "4", 0.9)]).steps[0]
    assert step.kind == "unused"
    assert set(step.likelihoods.values()) == {1.0}


def test_a_cue_of_another_guide_is_refused():
    with pytest.raises(EvidenceError, match="bunker_slots"):
        estimate(load_guide(), [saw(load_guide("brindle"), "bunker_slots=present")])


def test_a_correction_supersedes_the_photo_and_says_so():
    guide = load_guide()
    said = saw(guide, "switch_lever=absent")
    corrected = estimate(guide, [cue("switch_lever", 0.99), said])
    assert replay(guide, corrected.steps) == posterior(guide, [said])
    assert [s.kind for s in corrected.steps] == ["cue", "superseded"]
    assert [c.kind for c in corrected.conflicts] == ["readings"]


def w6_with_a_tender_of_six_axles(guide):
    made = guide.variation("W6")
    cues = [cue(name, 0.99 if state is P else 0.01) for name, state in made.expects.items()]
    return [*cues, value("tender_axles", "6", 0.99), unseen("tender_lamps")]


def test_a_named_tender_supersedes_what_the_photo_counts_and_both_conflicts_are_told():
    """Before, K by a person and six axles by the photo cancelled without a word."""
    guide = load_guide("wayfarer")
    photo, said = w6_with_a_tender_of_six_axles(guide), saw(guide, "tender=K")
    answer = estimate(guide, [*photo, said])
    bare = [c for c in photo if not c.name.startswith("tender_")]
    assert replay(guide, answer.steps) == posterior(guide, [*bare, said])
    assert {s.cue for s in answer.steps if s.kind == "superseded"} == {
        "tender_axles",
        "tender_lamps",
    }
    (step,) = (s for s in answer.steps if s.kind == "tender")
    assert (step.text.split(" — ")[0], "against W6" in step.strength) == (
        "tender K, as seen by a person",
        True,
    )
    readings, strange = answer.conflicts
    assert (readings.kind, readings.cues) == ("readings", ("tender", "tender_axles"))
    assert "tender K has 4 axles (person), counted: 6 (photo)" in readings.text
    assert (strange.kind, strange.cues) == ("engine_tender", ("tender",))
    assert "tender K, sold with W1, W2, W3; the engine by itself is W6" in strange.text
    assert estimate(guide, [said, *photo[::-1]]) == answer


@pytest.mark.parametrize(
    ("said", "counted", "kinds"),
    [
        ("M", ("tender_axles", "6"), []),
        ("L", ("tender_axles", "6"), []),
        ("K", ("tender_axles", "4"), []),
        ("K", ("tender_axles", "6"), [("tender", "tender_axles")]),
        ("M", ("tender_axles", "4"), [("tender", "tender_axles")]),
        ("M", ("tender_lamps", "2"), []),
        ("M", ("tender_lamps", "0"), [("tender", "tender_lamps")]),
        # A tender that the guide lacks may have any number of axles.
        ("other", ("tender_axles", "6"), []),
        ("other", ("tender_axles", "5"), []),
        ("unseen", ("tender_axles", "6"), []),
    ],
)
@pytest.mark.parametrize("counted_by", ["photo", "person"])
def test_a_named_tender_is_compared_with_each_count(said, counted, kinds, counted_by):
    """Axles and lamps of the guide's own table; whoever counted them."""
    guide = load_guide("wayfarer")
    name, count = counted
    by = value(name, count, 0.99) if counted_by == "photo" else saw(guide, f"{name}={count}")
    conflicts = estimate(guide, [by, saw(guide, f"tender={said}")]).conflicts
    assert [c.cues for c in conflicts if c.kind == "readings"] == kinds
    open_looks = estimate(guide, [by, saw(guide, f"tender={said}")]).look_next
    assert not any(look.name.startswith("tender") for look in open_looks)


def test_one_count_contradicts_a_named_tender_once_however_many_made_it():
    """The same sentence stood there for each photo, and again for what a person counted."""
    guide = load_guide("wayfarer")
    photos = [value("tender_axles", "6", p) for p in (0.99, 0.97)]
    said = [saw(guide, "tender=K"), saw(guide, "tender_axles=6")]
    for cues in (photos, [*photos, said[1]]):
        (conflict,) = estimate(guide, [*cues, said[0]]).conflicts
        assert conflict.cues == ("tender", "tender_axles")
    both = estimate(guide, [photos[0], value("tender_axles", "2", 0.99), said[0]]).conflicts
    assert sum(c.cues == ("tender", "tender_axles") for c in both) == 2


def two_tenders(first, second, *, rates=None):
    """V1 with tender K and V2 with L, which differ in what the guide says of lettering."""
    tenders = (Tender("K", 4, 0, lettering=first), Tender("L", 4, 0, lettering=second))
    rows = (variation("V1", [1931], tenders=("K",)), variation("V2", [1932], tenders=("L",)))
    return small_guide(rows, tenders=tenders, rates=rates)


LETTERED = Cue(LETTERING, P, confidence=0.95, because="8 characters")


@pytest.mark.parametrize("state", ["present", "absent"])
def test_lettering_of_which_no_tender_says_anything_is_exactly_neutral(state):
    guide = two_tenders(None, None)
    others = [value("tender_axles", "4", 0.9), cue("switch_lever", 0.8)]
    for lettering in (LETTERED, saw(guide, f"{LETTERING}={state}")):
        answer = estimate(guide, [*others, lettering])
        assert replay(guide, answer.steps) == posterior(guide, others)
        (step,) = (s for s in answer.steps if s.cue == LETTERING)
        assert step.kind == "unused" and set(step.likelihoods.values()) == {1.0}
        assert step.text.endswith(
            "the guide says of no tender whether it is lettered, so it tells nothing"
        )
        assert answer.conflicts == estimate(guide, others).conflicts
        assert LETTERING not in {look.name for look in answer.look_next}


def test_lettering_weighs_as_the_guides_rates_say():
    """By hand, over the states of the tender: its own or any of the pool."""
    rates = Rates(parts={LETTERING: PartRates(lost=0.1, added=0.03)})
    guide = two_tenders(True, False, rates=rates)
    p = by_variation(posterior(guide, [LETTERED]))
    weights = {"K": 0.9 * 0.95 + 0.1 * 0.05, "L": 0.03 * 0.95 + 0.97 * 0.05, "other": 0.5}
    (factor,) = (f for f in factors_of(guide) if f.name == "tender")
    by_hand = {
        id: sum(a * weights[s] for a, s in zip(row, factor.states, strict=True))
        for id, row in factor.table.items()
    }
    assert p["V1"] / p["V2"] == pytest.approx(by_hand["V1"] / by_hand["V2"])
    assert 1.0 < p["V1"] / p["V2"] < TENDER_MAX_RATIO
    before = by_variation(prior(guide))
    assert p["V1"] / p["other"] == pytest.approx(
        before["V1"] * by_hand["V1"] / (before["other"] * by_hand["other"])
    )


def test_lettering_that_was_looked_for_in_vain_changes_nothing():
    guide = two_tenders(True, False)
    vain = replace(unseen(LETTERING), in_sight=True)
    assert posterior(guide, [vain]) == posterior(guide, [])
    absent = by_variation(posterior(guide, [saw(guide, f"{LETTERING}=absent")]))
    assert absent["V2"] > absent["V1"]


def test_a_person_corrects_lettering_and_a_named_tender_is_compared_with_it():
    guide = two_tenders(True, False)
    said = saw(guide, f"{LETTERING}=absent")
    answer = estimate(guide, [LETTERED, said])
    assert replay(guide, answer.steps) == posterior(guide, [said])
    assert [s.cue for s in answer.steps if s.kind == "superseded"] == [LETTERING]
    put_aside = estimate(guide, [LETTERED, saw(guide, f"{LETTERING}=unseen")])
    assert replay(guide, put_aside.steps) == posterior(guide, [])
    for id, cues in (("K", []), ("L", [("tender", LETTERING)])):
        named = estimate(guide, [LETTERED, saw(guide, f"tender={id}")])
        assert [c.cues for c in named.conflicts if c.kind == "readings"] == cues
        assert replay(guide, named.steps) == posterior(guide, [saw(guide, f"tender={id}")])


def test_a_look_at_the_lettering_is_suggested_where_it_would_tell():
    guide = two_tenders(True, False)
    looks = {look.name: look.gain_bits for look in estimate(guide, []).look_next}
    assert looks[LETTERING] > 0.01 > looks["tender_axles"]
    seen = estimate(guide, [LETTERED]).look_next
    assert LETTERING not in {look.name for look in seen}


def test_tenders_that_a_suffix_parts_share_all_but_lettering():
    """Common practice, no source: counts leave K and K-2 even, lettering does not."""
    tenders = (Tender("K", 4, 1, lettering=False), Tender("K-2", 4, 1, lettering=True))
    rows = (variation("V1", [1931], tenders=("K",)), variation("V2", [1932], tenders=("K-2",)))
    guide = small_guide(rows, tenders=tenders)
    counted = [value("tender_axles", "4", 0.99), value("tender_lamps", "1", 0.9)]
    even = by_variation(posterior(guide, counted))
    assert even["V1"] == pytest.approx(even["V2"])
    lettered = by_variation(posterior(guide, [*counted, LETTERED]))
    assert lettered["V2"] > 1.5 * lettered["V1"]
    assert saw(guide, "tender=K-2").value == "K-2" and saw(guide, "tender=K-3").value == "K"


def test_a_count_that_is_hardly_sure_contradicts_no_named_tender():
    guide = load_guide("wayfarer")
    halves = MappingProxyType({"4": 0.48, "6": 0.5})
    counted = Cue("tender_axles", P, value="6", confidence=0.5, values=halves)
    assert estimate(guide, [counted, saw(guide, "tender=K")]).conflicts == ()


def test_who_cannot_tell_takes_the_photos_reading_back_and_is_not_asked_again():
    guide = load_guide()
    other = cue("edge_stripe", 0.9)
    said = saw(guide, "switch_lever=unseen")
    vain = estimate(guide, [cue("switch_lever", 0.8), other, said])
    assert replay(guide, vain.steps) == posterior(guide, [other])
    assert [s.kind for s in vain.steps] == ["cue", "unseen", "superseded"]
    assert vain.conflicts == ()
    open_looks = [
        look.name for look in estimate(guide, [cue("switch_lever", 0.8), other]).look_next
    ]
    assert [look.name for look in vain.look_next if look.name == "switch_lever"] == []
    assert "switch_lever" in open_looks
    vain_check = estimate(guide, [other, saw(guide, "axle_magnets=unseen")])
    assert "axle_magnets" not in [look.name for look in vain_check.look_next]
    assert vain_check.years == estimate(guide, [other]).years


def test_conflict_stories_follow_the_rates_of_the_guide():
    """The same strange tender: a marriage where tenders wander, another story where not."""

    def stories(swapped):
        rows = [
            variation("V1", [1931], {"switch_lever": P}, tenders=("K",)),
            variation("V2", [1932], {"switch_lever": A}, tenders=("M",)),
        ]
        kinds = (Tender("K", 4, 0), Tender("M", 6, 2))
        guide = small_guide(rows, rates=Rates(tender_swapped=swapped), tenders=kinds)
        cues = [cue("switch_lever", 0.97), value("tender_axles", "6", 0.97)]
        (conflict,) = estimate(guide, [*cues, value("tender_lamps", "2", 0.97)]).conflicts
        return conflict.text.partition("Stories: ")[2].split("; ")[0]

    assert stories(0.3).startswith("a tender from another engine")
    assert stories(0.01).startswith("the engine is V2 after all")


# --- worked cases as data ---------------------------------------------------------


def cases(name):
    return json.loads((CASES / f"{name}.json").read_text(encoding="utf-8"))


def case_cues(case, guide):
    cues = [saw(guide, statement) for statement in case.get("saw", ())]
    for name, read in case["cues"].items():
        if read == "unseen":
            cues.append(unseen(name))
        elif isinstance(read, float):
            cues.append(cue(name, read))
        elif isinstance(read[0], str):
            cues.append(value(name, read[0].upper(), read[1]))
        else:
            cues.append(cue(name, read[0], values=MappingProxyType(read[1])))
    return cues


def judge(case):
    guide = load_guide(case["guide"])
    cues = case_cues(case, guide)
    answer = estimate(guide, cues * case.get("repeat", 1))
    if "first" in case:
        assert answer.variations[0].id == case["first"]
    if "years" in case:
        assert answer.years == case["years"]
    if "holds_years" in case:
        assert set(case["holds_years"]) <= set(_members(answer.years))
    if "conflicts" in case:
        assert [c.kind for c in answer.conflicts] == case["conflicts"]
    if case.get("same_as_once"):
        assert answer.variations == estimate(guide, cues).variations
    if answer.years[0].isdigit():
        assert None not in year_bounds(answer.years)


@pytest.mark.parametrize("case", cases("positive"), ids=lambda c: c["name"])
def test_positive_cases(case):
    judge(case)


@pytest.mark.parametrize("case", cases("negative"), ids=lambda c: c["name"])
def test_negative_cases(case):
    judge(case)


@pytest.mark.parametrize("case", cases("known_failures"), ids=lambda c: c["name"])
@pytest.mark.xfail(strict=True, raises=AssertionError, reason="see `why` in the case")
def test_known_failures(case):
    judge(case)
