"""Conflicts: each is raised, and each likely story is told with its own probability."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from answers import FakeEye, photo_of, sighting
from guides import EXAMPLES, A, P, cue, evidence, guides, small_guide, value, variation
from shapes import corners, engine
from vision.estimate import estimate
from vision.guide import Guide, PartRates, Rates, load_guide
from vision.pipeline import date_item
from vision.records import PERHAPS_SEVERAL, Conflict, Cue, Heading, NotFound, Photo, Sighting, State

EXPRESS = load_guide()


def stories(conflict: Conflict) -> dict[str, str]:
    told = conflict.text.partition("Stories: ")[2].split("; ")
    found = [re.fullmatch(r"(.*) \(((?:over |under )?\d+ %)\)", story) for story in told]
    assert all(found), conflict.text
    return {match[1]: match[2] for match in found if match}


def only(guide: Guide, *cues: Cue) -> Conflict:
    (conflict,) = estimate(guide, cues).conflicts
    return conflict


# --- what item by item goes wrong with old toys (common practice, no source) ---------


def test_a_replaced_part_and_a_repaint() -> None:
    """Neither lever nor stripe: W1 and W2 have the lever, W3 and W4 the stripe."""
    conflict = only(EXPRESS, cue("switch_lever", 0.03), cue("edge_stripe", 0.03))
    assert conflict.kind == "no_variation"
    told = stories(conflict)
    assert "switch_lever lost or replaced" in told
    assert "repainted, the stripe lost" in told


def test_a_reproduction_and_a_variation_that_the_guide_lacks() -> None:
    conflict = only(EXPRESS, cue("switch_lever", 0.03), cue("edge_stripe", 0.03))
    told = stories(conflict)
    assert "a reproduction, or put together from several engines" in told
    assert "a variation that the guide lacks" in told


def test_a_number_of_other_years_features() -> None:
    cues = [cue("switch_lever", 0.97), cue("edge_stripe", 0.02), value("cab_number", "322", 0.96)]
    conflict = only(EXPRESS, *cues)
    assert conflict.kind == "number"
    assert "322 (of W6)" in conflict.text
    assert "the cab number was changed" in stories(conflict)


def test_a_stripe_of_no_named_colour_belongs_to_a_number_or_not() -> None:
    """A bug: a stripe whose colour no photo named was never in any conflict."""
    conflict = only(EXPRESS, cue("edge_stripe", 0.97), value("cab_number", "310", 0.96))
    assert conflict.kind == "number"
    assert conflict.cues == ("cab_number", "edge_stripe")
    assert "edge_stripe present" in conflict.text
    assert "repainted, the stripe added or recoloured" in stories(conflict)
    named = value("cab_number", "316", 0.96)
    assert estimate(EXPRESS, [cue("edge_stripe", 0.97), named]).conflicts == ()


def test_a_marriage_of_engine_and_tender() -> None:
    cues = [cue("switch_lever", 0.03), cue("side_linkage", 0.03), cue("edge_stripe", 0.97)]
    cues += [value("tender_axles", "4", 0.97), value("tender_lamps", "0", 0.97)]
    conflict = only(EXPRESS, *cues)
    assert conflict.kind == "engine_tender"
    assert "which was sold with tender L" in conflict.text
    assert next(iter(stories(conflict))) == "a tender from another engine, a marriage of two"


# --- their probabilities -----------------------------------------------------------


def test_stories_by_hand() -> None:
    """One variation, made with the lever; lost in 20 %, nothing else outside but 10 %
    others and 5 % reproductions, which have it or not, evenly. It is surely gone (up to
    0.0001): lost 0.85 * 0.2 = 0.17, lacking 0.05, reproduction 0.025, of 0.245."""
    rates = Rates(0.10, 0.05, parts={"switch_lever": PartRates(lost=0.2, added=0.0)})
    guide = small_guide([variation("V1", [1931], {"switch_lever": P})], rates=rates)
    told = stories(only(guide, cue("switch_lever", 0.0)))
    assert told == {
        "switch_lever lost or replaced": "69 %",
        "a variation that the guide lacks": "20 %",
        "a reproduction, or put together from several engines": "10 %",
        "misread": "under 1 %",
    }


@pytest.mark.parametrize(("lost", "first"), [(0.3, "switch_lever lost"), (0.001, "misread")])
def test_the_likely_story_is_a_matter_of_the_guides_rates(lost: float, first: str) -> None:
    rates = Rates(0.001, 0.0, parts={"switch_lever": PartRates(lost=lost, added=0.0)})
    guide = small_guide([variation("V1", [1931], {"switch_lever": P})], rates=rates)
    assert next(iter(stories(only(guide, cue("switch_lever", 0.05))))).startswith(first)


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.data())
def test_every_conflict_tells_stories_that_can_be_weighed(data: st.DataObject) -> None:
    guide = data.draw(guides())
    for conflict in estimate(guide, data.draw(evidence(guide))).conflicts:
        if conflict.kind == "readings":
            continue
        told = stories(conflict)
        shares = [float(re.sub(r"[^\d]", "", share)) for share in told.values()]
        # "over 99 %" and "under 1 %" are bounds; the rest is ranked.
        assert shares == sorted(shares, reverse=True)
        assert "a variation that the guide lacks" in told
        assert "a reproduction, or put together from several engines" in told


# --- photos that contradict each other ---------------------------------------------


def test_two_sides_that_contradict_each_other_are_told_and_not_averaged_away() -> None:
    """L. A. Zadeh, On the validity of Dempster's rule of combination of evidence (1979);
    AI Magazine 5 (3), 1984: sources that are each sure and exclude each other must be
    reported. Here two sides of one engine, one with the lever, one without."""

    class Eye(FakeEye):
        def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
            left = photo.name == "left.png"
            lever = Cue(
                "switch_lever",
                State.PRESENT if left else State.ABSENT,
                p_present=0.99 if left else 0.01,
                confidence=0.99,
            )
            faces = Heading.LEFT if left else Heading.RIGHT
            return replace(sighting(), faces=faces), (lever,)

    photos = [photo_of(engine(), "left.png"), photo_of(corners(320, 180), "right.png")]
    answer = date_item(photos, EXPRESS, Eye())
    assert answer.estimate is not None
    assert [c.kind for c in answer.estimate.conflicts] == [PERHAPS_SEVERAL, "views"]
    assert "one is wrong, or they show two engines" in answer.estimate.conflicts[1].text
    (fused,) = answer.cues
    assert fused.p_present == pytest.approx(0.5)
    nothing = estimate(EXPRESS, []).variations
    assert {c.id: c.p for c in answer.estimate.variations} == pytest.approx(
        {c.id: c.p for c in nothing}, abs=0.02
    )


def test_states_that_no_variation_left_open_raise_nothing() -> None:
    rows = [variation("V1", [1931], {"switch_lever": P}), variation("V2", [1932], {})]
    assert estimate(small_guide(rows), [cue("switch_lever", 0.01)]).conflicts == ()
    strict = [variation("V1", [1931], {"switch_lever": P, "side_linkage": A})]
    assert len(estimate(small_guide(strict), [cue("switch_lever", 0.01)]).conflicts) == 1
