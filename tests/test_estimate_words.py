"""How strong a step is called, how figures are misread, and what a person may say."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from guides import (
    A,
    P,
    cue,
    posterior,
    value,
)
from vision.estimate import estimate, replay, saw, strength_words
from vision.estimate.numbers import ALPHABET, reading_likelihood
from vision.estimate.reading import PERSON_RELIABILITY, lamps_shown
from vision.guide import PartRates, load_guide
from vision.records import EvidenceError, State

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
