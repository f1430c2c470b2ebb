"""What to look at next: what a look would bring, ranked."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guides import (
    EXAMPLES,
    cue,
    evidence,
    guides,
    posterior,
    small_guide,
    unseen,
    variation,
)
from vision.estimate import by_variation, estimate, saw
from vision.estimate.factors import factors_of
from vision.estimate.look import information
from vision.estimate.reading import PERSON_RELIABILITY
from vision.guide import builtin_names, load_guide
from vision.records import COUPLED

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
