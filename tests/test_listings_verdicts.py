"""Claims against what photos show: borne out, contradicted, or left open."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from answers import FakeEye, photo_of
from guides import variation
from listing_files import HIDDEN, W, engine_cues, eye, part, with_confidence
from shapes import engine
from vision.estimate.argument import by_variation, prior
from vision.guide import load_guide
from vision.listings.claims import find_claims
from vision.listings.parts import lexicon_of
from vision.listings.ranking import Weights, cheapness, qualities, value, wanted_share
from vision.listings.values import Kind, Listing, Verdict
from vision.listings.verdicts import Judged, judge, overall
from vision.pipeline import date_item
from vision.records import BINARY_CUES, Answer, Cue, State

GUIDE = load_guide("wayfarer")
LEXICON = lexicon_of(GUIDE)
FOR, AGAINST, OPEN = Verdict.SUPPORTED, Verdict.CONTRADICTED, Verdict.CANNOT_TELL


def answer(*views: tuple[Cue, ...] | None) -> Answer:
    names = [f"p{n}.png" for n in range(len(views))]
    seen = {f"p{n}": cues for n, cues in enumerate(views)}
    photos = [replace(photo_of(engine(), n), sha256=n.ljust(64, "0")) for n in names]
    return date_item(photos, GUIDE, eye(seen))


def judged(text: str, *views: tuple[Cue, ...] | None, **more: bool) -> list[Judged]:
    claims = find_claims(Listing("1", text), LEXICON)
    return list(judge(claims, answer(*views) if views else None, GUIDE, **more))


def verdicts(text: str, *views: tuple[Cue, ...] | None) -> list[Verdict]:
    return [item.verdict for item in judged(text, *views)]


@pytest.mark.parametrize(
    ("text", "shows", "expected"),
    [
        ("with lever", "W6", FOR),
        ("no lever", "W6", AGAINST),
        ("no lever", "W3", FOR),
        ("with lever", "W3", AGAINST),
        ("with linkage", "W4", AGAINST),
        ("red stripe", "W6", FOR),
        ("red stripe", "W3", AGAINST),
        # White is what people call cream.
        ("white edge", "W3", FOR),
        ("1938", "W6", FOR),
        ("1931", "W6", AGAINST),
        ("c. 1937", "W6", FOR),
        ("c. 1936", "W6", FOR),
        ("1930s", "W6", OPEN),
        ("1925", "W6", OPEN),
        ("no. 322", "W6", FOR),
        ("no. 310", "W6", AGAINST),
        ("W6", "W6", FOR),
        ("W1", "W6", AGAINST),
        ("six-axle tender", "W6", FOR),
        ("four-axle tender", "W6", AGAINST),
        ("no tender", "W6", AGAINST),
        ("type K tender", "W6", AGAINST),
        ("with smoke unit", "W6", OPEN),
        ("mint, boxed", "W6", OPEN),
    ],
)
def test_verdicts(text: str, shows: str, expected: Verdict) -> None:
    assert set(verdicts(text, W[shows])) >= {expected}
    assert verdicts(text, W[shows])[0] is expected


@pytest.mark.parametrize("shows", W)
def test_the_truth_is_never_contradicted(shows: str) -> None:
    """Every variation of the guide, told as the guide has it."""
    own = GUIDE.variation(shows)
    parts = [
        f"{'with' if own.expects[n] is State.PRESENT else 'no'} {n.replace('_', ' ')}"
        for n in BINARY_CUES
    ]
    text = f"{shows} {own.years[0]}, no. {own.numbers[0]}, {', '.join(parts)}"
    found = judged(text, W[shows])
    assert len(found) == 6
    assert AGAINST not in [item.verdict for item in found]
    assert overall(tuple(found)) is FOR


@pytest.mark.parametrize(
    "text",
    [
        "with lever",
        "no lever",
        "1931",
        "1938",
        "W6",
        "no. 310",
        "red stripe",
        "no tender",
        "six-axle tender",
    ],
)
def test_what_no_photo_shows_is_left_open(text: str) -> None:
    assert set(verdicts(text, HIDDEN)) == {OPEN}
    assert set(verdicts(text)) == {OPEN}
    assert set(verdicts(text, None)) == {OPEN}


def test_what_a_part_says_alone_and_what_all_says_stand_both_where_they_part() -> None:
    """The lever looks rather absent, all else is of a variation that has one."""
    unsure = (part("switch_lever", State.ABSENT, 0.75), *W["W6"][1:])
    (item,) = judged("no lever", unsure)
    assert item.verdict is OPEN
    low, high = re.search(r"\((.*) to (.*) that it is so\)", item.text).groups()  # type: ignore[union-attr]
    assert int(re.sub(r"\D", "", low)) < 20
    assert 65 < int(re.sub(r"\D", "", high)) < 80
    (alike,) = judged("W6", (part("switch_lever", State.PRESENT, 0.6),))
    assert " to " not in alike.text


def test_an_unseen_part_is_left_open_however_sure_the_rest() -> None:
    """All else says W6, which has the lever; but no photo shows it missing or there."""
    hidden = engine_cues(None, True, "red", "6")
    assert verdicts("no lever", hidden) == [OPEN]


@settings(deadline=None)
@given(
    st.floats(0.5, 1.0),
    st.sampled_from(["with lever", "no lever", "red stripe", "no linkage", "1931", "no. 310"]),
    st.sampled_from(sorted(W)),
)
def test_a_contradiction_is_at_least_95_per_cent_sure(sure: float, text: str, shows: str) -> None:
    for item in judged(text, with_confidence(W[shows], sure)):
        if item.verdict is AGAINST:
            assert item.p_true is not None and item.p_true <= 0.05
            assert item.ratio is not None and item.ratio <= 0.1


@pytest.mark.parametrize(("sure", "expected"), [(0.94, OPEN), (0.96, AGAINST)])
def test_a_part_read_at_94_per_cent_is_not_enough(sure: float, expected: Verdict) -> None:
    assert verdicts("with lever", with_confidence(W["W3"], sure)) == [expected]


def test_the_ratio_of_a_part_is_the_odds_of_its_reading() -> None:
    """A calibrated probability of 0.99 at even prior odds is a likelihood ratio of 99."""
    (item,) = judged("with lever", W["W6"])
    assert item.ratio == pytest.approx(99.0)


def test_the_ratio_of_a_year_is_posterior_odds_over_prior_odds() -> None:
    """Bayes' rule in odds form, worked from the answer alone."""
    (item,) = judged("1938", W["W6"])
    # An engine of no variation is of 1938 in one of the guide's nine years.
    true = {"W6": 1.0, "other": 1 / 9}

    def mass(shares) -> float:
        return math.fsum(p * true.get(id, 0.0) for id, p in shares.items())

    after = mass({c.id: c.p for c in answer(W["W6"]).estimate.variations})
    before = mass(by_variation(prior(GUIDE)))
    assert item.ratio == pytest.approx((after / (1 - after)) / (before / (1 - before)), rel=1e-6)
    assert item.p_true == pytest.approx(after)


@pytest.mark.parametrize("text", ["maybe no lever", "no lever?", "I think 1931"])
def test_what_the_seller_does_not_claim_is_not_contradicted(text: str) -> None:
    (item,) = judged(text, W["W6"])
    assert item.verdict is OPEN
    assert "does not say" in item.text


def test_photos_that_disagree_contradict_nothing() -> None:
    mixed = (part("switch_lever", State.PRESENT), *W["W6"][1:])
    other = (part("switch_lever", State.ABSENT), *W["W6"][1:])
    assert AGAINST not in verdicts("no lever", mixed, other)
    # A very clear photo against a doubtful one bears a contradiction out, both together.
    clear = replace(part("switch_lever", State.PRESENT), p_present=0.998, confidence=0.998)
    doubtful = replace(part("switch_lever", State.ABSENT), p_present=0.3, confidence=0.7)
    assert AGAINST in verdicts("no lever", (clear, *W["W6"][1:]), (doubtful, *W["W6"][1:]))
    (item,) = judged("no linkage", mixed, other, one_engine=False)
    assert item.verdict is OPEN
    assert "two engines" in item.text


@pytest.mark.parametrize("text", ["1938", "W6"])
def test_photos_of_two_engines_bear_out_no_year_and_no_variation(text: str) -> None:
    assert judged(text, W["W6"])[0].verdict is FOR
    (item,) = judged(text, W["W6"], one_engine=False)
    assert item.verdict is OPEN
    assert "two engines" in item.text


def test_words_are_careful() -> None:
    (item,) = judged("with linkage", W["W4"])
    assert item.text == "the photos show no side linkage; the listing says there is one"
    for text in ("no lever", "red edge", "1931", "W1", "no. 310", "six-axle tender"):
        for item in judged(text, W["W3"]):
            for word in ("false", "lie", "wrong", "fake", "fraud", "mislead", "seller"):
                assert word not in item.text


def test_a_verdict_names_the_photo_and_the_region() -> None:
    (item,) = judged("no lever", HIDDEN, W["W6"])
    assert item.photo == 1
    assert item.where is not None
    assert item.region is not None


# --- ranking ----------------------------------------------------------------------


def test_wanted_is_the_posterior_of_the_wanted() -> None:
    shares = {c.id: c.p for c in answer(W["W6"]).estimate.variations}
    assert wanted_share(shares, GUIDE, ["W6"]) == pytest.approx(shares["W6"])
    assert wanted_share(shares, GUIDE, []) == pytest.approx(1 - shares["other"])
    assert wanted_share({}, GUIDE, ["W6"]) == pytest.approx(by_variation(prior(GUIDE))["W6"])


def test_a_tender_of_other_years_does_not_belong() -> None:
    own, _ = qualities(answer(W["W6"]), GUIDE)
    strange, _ = qualities(answer(engine_cues(True, True, "red", "4")), GUIDE)
    unseen, _ = qualities(answer(engine_cues(True, True, "red")), GUIDE)
    assert own > 0.9
    assert strange < 0.25
    assert unseen == 0.5


def test_an_engine_that_shows_its_parts_is_more_complete() -> None:
    full = qualities(answer(W["W6"]), GUIDE)[1]
    bare = qualities(answer(engine_cues(None, True, "red", "6")), GUIDE)[1]
    assert 1 >= full > bare > 0
    assert qualities(None, GUIDE) == (0.5, 0.0)


def test_cheapness_compares_within_a_currency_only() -> None:
    assert cheapness(
        [(10, "EUR"), (20, "EUR"), (30, "EUR"), (5, "GBP"), (None, "EUR"), (1, "")]
    ) == [1, 0.5, 0, 0.5, 0.5, 0.5]
    assert cheapness([(10, "EUR"), (10, "EUR")]) == [0.5, 0.5]


shares = st.floats(0, 1)


@settings(deadline=None)
@given(shares, shares, shares, shares, st.floats(0, 5), st.floats(0, 5), st.floats(0.1, 5))
def test_value_is_a_share_and_rises_with_each_quality(w, t, c, ch, a, b, d) -> None:
    weights = Weights(wanted=d, together=a, complete=b, cheap=a)
    parts = {"wanted": w, "together": t, "complete": c, "cheap": ch}
    worth = value(parts, weights)
    assert 0 <= worth <= 1 + 1e-12
    for name in parts:
        assert value(parts | {name: 1.0}, weights) >= worth - 1e-12
    assert value(parts | {"wanted": 0.0}, weights) == 0


@pytest.mark.parametrize(
    "bad",
    [
        {"wanted": -1},
        {"cheap": math.nan},
        dict.fromkeys(("wanted", "together", "complete", "cheap"), 0),
    ],
)
def test_weights_that_cannot_be(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="weight"):
        Weights(**bad)


def test_a_guide_without_tenders_or_numbers_is_no_trouble() -> None:
    from guides import small_guide

    guide = small_guide(
        [
            variation("A1", (1930,), {"switch_lever": State.PRESENT}),
            variation("A2", (1931,), {"switch_lever": State.ABSENT}),
        ]
    )
    claims = find_claims(
        Listing("1", "A1 1930, with lever, no tender, number 310, red edge"), lexicon_of(guide)
    )
    found = judge(
        claims, date_item([photo_of(engine())], guide, FakeEye({"engine": W["W1"]})), guide
    )
    assert {i.claim.kind for i in found} >= {Kind.YEAR, Kind.VARIATION, Kind.PART, Kind.COLOUR}
