"""What a listing claims, and where in its text."""

from __future__ import annotations

import pytest
from edtf import parse_edtf
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.guide import load_guide
from vision.listings.claims import MOST_CHARACTERS, find_claims
from vision.listings.parts import lexicon_of
from vision.listings.plain import clauses, plain, vocabulary
from vision.listings.values import Claim, Kind, Listing
from vision.listings.years import find_years

LEXICON = lexicon_of(load_guide("wayfarer"))
TANK = lexicon_of(load_guide("brindle"))


def claims(text: str, lexicon=LEXICON) -> list[Claim]:
    return list(find_claims(Listing("1", "", text), lexicon))


def said(text: str, lexicon=LEXICON) -> set[tuple[str, str]]:
    return {
        (c.about or c.kind.value, c.value)
        for c in claims(text, lexicon)
        if c.kind is not Kind.CONDITION
    }


# --- years ------------------------------------------------------------------------

YEARS = [
    ("1934", "1934", 0),
    ("made in 1934.", "1934", 0),
    ("'34–36", "1934/1936", 0),
    ("’34", "1934", 0),
    ("1934-36", "1934/1936", 0),
    ("1934/35", "1934/1935", 0),
    ("1934 — 1936", "1934/1936", 0),
    ("1934 to 1936", "1934/1936", 0),
    ("1934 bis 1936", "1934/1936", 0),
    ("de 1934 à 1936", "1934/1936", 0),
    ("mid 30s", "1933~/1937~", 0),
    ("mid-1930s", "1933~/1937~", 0),
    ("early '30s", "1930~/1934~", 0),
    ("late thirties", None, 0),
    ("the 1930s", "193X", 0),
    ("Mitte der 30er Jahre", "1933~/1937~", 0),
    ("années 30", "193X", 0),
    ("anni '30", "193X", 0),
    ("c. 1935", "1935~", 2),
    ("c1935", "1935~", 2),
    ("ca. 1935", "1935~", 2),
    ("circa 1934-36", "1934~/1936~", 1),
    ("um 1935", "1935~", 2),
    ("vers 1935", "1935~", 2),
    ("1935?", "1935?", 2),
    ("pre-1935", "../1934", 0),
    ("after 1936", "1937/..", 0),
    ("since 1936", "1936/..", 0),
    ("1934 or 1935", "1934/1935", 0),
    ("1931 or 1934", "[1931,1934]", 0),
    ("１９３４年", "1934", 0),
    ("１９３４", "1934", 0),
    ("١٩٣٤", "1934", 0),
    ("१९३४", "1934", 0),
    ("1934 mm", None, 0),
    ("€1934", None, 0),
    ("1934 EUR", None, 0),
    ("1934.50", None, 0),
    ("19345", None, 0),
    ("item 1-1934-2", None, 0),
]


@pytest.mark.parametrize(("text", "edtf", "leeway"), YEARS)
def test_years_and_ranges(text: str, edtf: str | None, leeway: int) -> None:
    found = [(y.edtf, y.leeway) for y in find_years(plain(text))]
    assert found == ([] if edtf is None else [(edtf, leeway)])


@pytest.mark.parametrize("edtf", sorted({edtf for _, edtf, _ in YEARS if edtf}))
def test_years_are_edtf_and_cover_what_the_edtf_library_says(edtf: str) -> None:
    """The library edtf reads ISO 8601-2; its bounds are those of the years claimed."""
    text = next(text for text, e, _ in YEARS if e == edtf)
    (found,) = find_years(plain(text))
    parsed = parse_edtf(edtf)
    if edtf.startswith("["):
        assert [int(str(part)) for part in parsed.objects] == list(found.years)
        return
    if not edtf.startswith(".."):
        assert parsed.lower_strict()[0] == found.years[0]
    if not edtf.endswith(".."):
        assert parsed.upper_strict()[0] == found.years[-1]


@pytest.mark.parametrize(
    "text",
    [
        "restored in 1985",
        "The makers (est. 1920)",
        "bought in 1970",
        "catalogue of 1937",
        "copyright 1995",
        "unlike the 1934 one",
        "fits engines from 1931 to 1939",
        "not 1934",
        "No. 1934",
    ],
)
def test_years_of_other_things_are_no_claim(text: str) -> None:
    assert not [c for c in claims(text) if c.kind is Kind.YEAR]


# --- parts ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("with the extra rods", {("side_linkage", "present")}),
        ("white edge", {("edge_stripe", "present"), ("edge_stripe", "white")}),
        ("the stripe is painted red", {("edge_stripe", "present"), ("edge_stripe", "red")}),
        ("stripe in cream", {("edge_stripe", "present"), ("edge_stripe", "cream")}),
        ("missing lever", {("switch_lever", "absent")}),
        ("lever missing", {("switch_lever", "absent")}),
        ("the lever is gone", {("switch_lever", "absent")}),
        ("the lever is not present", {("switch_lever", "absent")}),
        ("lever not missing", {("switch_lever", "present")}),
        ("not missing its lever", {("switch_lever", "present")}),
        ("no lever or linkage", {("switch_lever", "absent"), ("side_linkage", "absent")}),
        ("no tender", {("tender", "absent")}),
        ("without tender but with lever", {("tender", "absent"), ("switch_lever", "present")}),
        ("no box, with lever", {("switch_lever", "present")}),
        ("no box with lever", {("switch_lever", "present")}),
        ("six-axle tender", {("tender_axles", "6")}),
        ("12-wheel tender", {("tender_axles", "6")}),
        ("tender with two rear lamps", {("tender_lamps", "2")}),
        ("type K tender", {("tender", "K")}),
        ("no rust on the lever", {("switch_lever", "present")}),
        ("no repairs to the linkage", {("side_linkage", "present")}),
        ("no sign of a lever", {("switch_lever", "absent")}),
        ("not the original lever", set()),
        ("no tender lamps", set()),
        ("lever present tender missing", {("switch_lever", "present"), ("tender", "absent")}),
        ("lever and tender missing", {("switch_lever", "absent"), ("tender", "absent")}),
        ("lever knob missing", {("switch_lever", "present")}),
        ("lever is sadly missing", {("switch_lever", "absent")}),
        ("ohne Hebel", {("switch_lever", "absent")}),
        ("Hebel fehlt", {("switch_lever", "absent")}),
        ("roter Streifen", {("edge_stripe", "present"), ("edge_stripe", "red")}),
        ("sans tender", {("tender", "absent")}),
        ("senza leva", {("switch_lever", "absent")}),
        ("no axle magnets", {("axle_magnets", "absent")}),
        ("variation W3", {("variation", "W3")}),
        ("rust on one edge", set()),
        ("the lever of another engine; see also the linkage", {("switch_lever", "present")}),
        ("nice engine, leverage your collection", set()),
        ("other engines have the linkage", set()),
    ],
)
def test_parts_and_negations(text: str, expected: set[tuple[str, str]]) -> None:
    assert said(text) == expected


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("Wayfarer No. 316", ["316"]),
        ("Wayfarer 316 express", ["316"]),
        ("cab number 999", ["999"]),
        ("No. 999", []),
        ("lot 310", []),
        ("310 g", []),
        ("310 EUR", []),
        ("€ 310", []),
        ("weighs 310g", []),
        ("3100", []),
        ("310 mm long", []),
        ("not 316", []),
        ("Loknummer ３１６", ["316"]),
    ],
)
def test_cab_numbers(text: str, numbers: list[str]) -> None:
    assert [c.value for c in claims(text) if c.kind is Kind.NUMBER] == numbers


def test_a_short_number_needs_a_sign_before_it() -> None:
    assert ("cab_number", "7") not in said("7 photos, 12 bids, 7 in stock", TANK)
    assert ("cab_number", "7") in said("tank engine no. 7", TANK)


def test_a_doubtful_claim_is_marked() -> None:
    found = claims("maybe 1937. With linkage. Lever?")
    assert [(c.value, c.hedged) for c in found] == [
        ("1937", True),
        ("present", False),
        ("present", True),
    ]
    assert [c.hedged for c in claims("made in May 1934")] == [False]
    assert [c.hedged for c in claims("I think the lever is there")] == [True]


def test_a_claim_said_twice_counts_once_and_its_opposite_too() -> None:
    assert [c.value for c in claims("with lever. Lever fine. Later: no lever.")] == [
        "present",
        "absent",
    ]


@settings(deadline=None)
@given(st.text(max_size=200), st.text(max_size=200))
def test_every_claim_stands_where_it_says(title: str, description: str) -> None:
    listing = Listing("1", f"{title} 1934 no lever", f"cream edge {description}, c. 1935")
    for claim in find_claims(listing, LEXICON):
        text = getattr(listing, claim.span.field)
        assert text[claim.span.start : claim.span.end] == claim.text != ""


@settings(deadline=None)
@given(st.text())
def test_plain_text_keeps_its_length(text: str) -> None:
    assert len(plain(text)) == len(text)
    assert all(0 <= a < b <= len(text) for a, b in clauses(plain(text)))


def test_no_word_stands_for_two_parts_or_two_colours() -> None:
    for kind in ("parts", "colours"):
        words = [word for synonyms in vocabulary()[kind].values() for word in synonyms]
        assert len(words) == len(set(words))
        assert all(word == plain(word) for word in words)


def test_hostile_text_takes_no_time() -> None:
    """No pattern may grow much worse than the text."""
    import time

    for text in (
        "no ",
        "'3",
        "1934-",
        "a",
        "not missing ",
        "no lever ",
        "mid ",
        "two axle tender ",
    ):
        begun = time.monotonic()
        claims(text * (MOST_CHARACTERS // len(text)))
        assert time.monotonic() - begun < 5
