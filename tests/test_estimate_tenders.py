"""A tender that a person names, and its lettering, beside what the photo shows."""

from dataclasses import replace
from types import MappingProxyType

import pytest

from guides import (
    A,
    P,
    cue,
    posterior,
    small_guide,
    unseen,
    value,
    variation,
)
from vision.estimate import by_variation, estimate, prior, replay, saw
from vision.estimate.factors import TENDER_MAX_RATIO, factors_of
from vision.guide import PartRates, Rates, Tender, load_guide
from vision.records import LETTERING, Cue


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
