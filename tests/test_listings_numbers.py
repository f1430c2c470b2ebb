"""Numbers in sellers' texts: cab numbers, perhaps cab numbers, and none.

How sellers write them is common practice, no source.
"""

from __future__ import annotations

from types import MappingProxyType

import pytest

from answers import photo_of
from listing_files import W, eye
from shapes import engine
from vision.guide import load_guide
from vision.listings.claims import find_claims
from vision.listings.parts import lexicon_of
from vision.listings.values import Claim, Kind, Listing, Verdict
from vision.listings.verdicts import judge
from vision.pipeline import date_item
from vision.records import Cue, State

GUIDE = load_guide("wayfarer")
LEXICON = lexicon_of(GUIDE)
SHOWN = (
    *W["W5"],
    Cue(
        "cab_number",
        State.PRESENT,
        value="316",
        confidence=0.98,
        values=MappingProxyType({"316": 0.98}),
    ),
)


def numbers(text: str, title: str = "") -> list[Claim]:
    found = find_claims(Listing("1", title, text), LEXICON)
    return [claim for claim in found if claim.kind is Kind.NUMBER]


def verdicts(text: str) -> list[Verdict]:
    claims = tuple(numbers(text))
    answer = date_item([photo_of(engine())], GUIDE, eye({"engine": SHOWN}))
    return [item.verdict for item in judge(claims, answer, GUIDE)]


SURE = [
    "No. 322",
    "No.322",
    "Wayfarer No. 322",
    "Wayfarer express, Nr. 322",
    "Wayfarer (No. 322)",
    "This is number 322",
    "Wayfarer No. 322 1938",
    "Wayfarer 1938 No. 322",
    "No. 322, six axle tender",
    "Dampflok Wayfarer 2-8-0 Nr. 322 von 1935",
    "cab number 322",
    "Cab number: 322",
    "running number 322",
    "numbered 322",
    "Wayfarer express, numbered 322",
    "322 on the cab",
    "with 322 painted on its cab sides",
    "Loknummer 322",
    "Lok-Nr. 322",
    "Wayfarer mit Betriebsnummer 322",
    "mit der Nummer 322",
    "nummeriert 322",
    "322 am Führerhaus",
    "numéro de cabine 322",
    "la locomotive porte le numéro 322",
    "numérotée 322",
    "322 sur la cabine",
    "numero di cabina 322",
    "locomotiva numero 322",
    "numerata 322",
    "322 sulla cabina",
    "número de cabina 322",
    "locomotora con el número 322",
    "numerada 322",
    "322 en la cabina",
    "locnummer 322",
    "locomotief nummer 322",
    "genummerd 322",
    "322 op de cabine",
]


@pytest.mark.parametrize("text", SURE)
def test_a_number_beside_its_word_is_a_claim(text: str) -> None:
    assert [(c.value, c.tentative) for c in numbers(text)] == [("322", False)]
    assert verdicts(text) == [Verdict.CONTRADICTED]
    assert verdicts(text.replace("322", "316")) == [Verdict.SUPPORTED]


@pytest.mark.parametrize(
    "text",
    [
        "Wayfarer 322",
        "Wayfarer 322, red stripe",
        "Lok 322",
        "322 express",
        # Whose number it is, nobody says.
        "Inv. Nr. 322",
        "shelf no. 322",
        "we live at No. 322",
        "No. 322 of my collection",
        "No. 322 from the book",
        "tender for cab number 322",
        "formerly cab number 322",
        "my engine number 322",
        "No. 322 stamped on the underside",
        # A number, or none at all.
        "there is no 322 on the cab",
        # The first of a row of lots.
        "No. 322: Wayfarer express",
        "#322 - Wayfarer express",
        # Several engines.
        "No. 322, 310 or other numbers",
    ],
)
def test_a_number_that_may_be_another_supports_and_never_contradicts(text: str) -> None:
    assert [(c.value, c.tentative) for c in numbers(text)] == [("322", True)]
    assert verdicts(text) == [Verdict.CANNOT_TELL]
    assert verdicts(text.replace("322", "316")) == [Verdict.SUPPORTED]


@pytest.mark.parametrize(
    "text",
    [
        "phone 01316 322 310",
        "Call me on 0171 310 322.",
        "call 555-0310 or 0171 310 316",
        "Tel. 310 322",
        "Tel.: 322",
        "Phone number: 322",
        "Telefon: Nr. 322",
        "item 322",
        "item no: 322",
        "Item number (322)",
        "ref. no. 322",
        "Ref: no. 322",
        "Art. Nr. 322",
        "lot 310, 322 watchers",
        "My listing 322 of 400",
        "No. 322 of 400",
        "Wayfarer 322 reviews",
        "my shop has 310 engines and 322 reviews",
        "322 watchers on the cab",
        "weight 322 g",
        "shipping 310 km, asking 322 euro",
        "house no. 310",
        "the box is numbered 322",
        "certificate numbered 322",
        "red 322",
        "not No. 322",
        "is not numbered 322",
        "without cab number 322",
        "nicht Nr. 322",
        "pas le numéro 322",
        "non numerata 322",
        "unlike No. 322",
    ],
)
def test_other_numbers_are_no_claim(text: str) -> None:
    assert numbers(text) == []


def test_of_several_numbers_none_contradicts() -> None:
    found = numbers("No. 310, No. 316 and No. 322 for sale")
    assert [(c.value, c.tentative) for c in found] == [("310", True), ("316", True), ("322", True)]
    assert Verdict.CONTRADICTED not in verdicts("Nr. 310, Nr. 322")


def test_the_sure_word_counts_where_both_are_said() -> None:
    (claim,) = numbers("cab number 322", title="Wayfarer 322")
    assert not claim.tentative
    assert claim.text == "cab number 322"


def test_a_doubt_before_a_colon_is_one_of_the_number() -> None:
    (claim,) = numbers("perhaps cab number: 322")
    assert claim.hedged


def test_what_the_photos_show_is_told_without_a_reproach() -> None:
    claims = tuple(numbers("Wayfarer 322"))
    answer = date_item([photo_of(engine())], GUIDE, eye({"engine": SHOWN}))
    (item,) = judge(claims, answer, GUIDE)
    assert item.text == (
        "the photos show 316; the listing does not say that 322 is the engine's cab number"
    )
