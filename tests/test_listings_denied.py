"""What a denial in a seller's text is about: the part, its colour, or a version that has it.

How sellers write is common practice, no source.
"""

from __future__ import annotations

import pytest

from answers import photo_of
from listing_files import W, engine_cues, eye
from shapes import engine
from vision.guide import load_guide
from vision.listings.claims import find_claims
from vision.listings.parts import lexicon_of
from vision.listings.values import Kind, Listing, Verdict
from vision.listings.verdicts import Judged, judge
from vision.pipeline import date_item

GUIDE = load_guide("wayfarer")
LEXICON = lexicon_of(GUIDE)
FOR, AGAINST, OPEN = Verdict.SUPPORTED, Verdict.CONTRADICTED, Verdict.CANNOT_TELL
CREAM, RED, BARE = W["W3"], W["W6"], W["W1"]


def said(text: str) -> set[tuple[str, str]]:
    found = find_claims(Listing("1", "", text), LEXICON)
    return {(c.about, c.value) for c in found if c.kind is not Kind.CONDITION}


def judged(text: str, seen: tuple) -> list[Judged]:
    answer = date_item([photo_of(engine())], GUIDE, eye({"engine": seen}))
    return list(judge(find_claims(Listing("1", "", text), LEXICON), answer, GUIDE))


def verdicts(text: str, seen: tuple) -> list[Verdict]:
    return [item.verdict for item in judged(text, seen)]


@pytest.mark.parametrize(
    "text",
    [
        "not the red stripe version",
        "This isn't the red stripe version.",
        "no red stripe",
        "no red-stripe version",
        "without red stripe",
        "stripe is not red",
        "red stripe missing",
        "ohne roten Streifen",
        "nicht der rote Streifen",
        "Streifen nicht rot",
        "sans filet rouge",
        "pas le filet rouge",
        "filet pas rouge",
        "senza filetto rosso",
        "sin ribete rojo",
        "zonder rode bies",
        "niet de rode bies",
    ],
)
def test_a_denied_colour_leaves_room_for_another(text: str) -> None:
    assert said(text) == {("edge_stripe", "not red")}
    assert verdicts(text, CREAM) == verdicts(text, BARE) == [FOR]
    assert verdicts(text, RED) == [AGAINST]
    assert verdicts(text, engine_cues(True, True, None)) == [OPEN]


def test_a_denied_colour_is_told_as_denied() -> None:
    (item,) = judged("not the red stripe version", RED)
    assert item.text == "the edge stripe looks red in the photos; the listing says not red"
    (item,) = judged("not the red stripe version", CREAM)
    assert item.text.startswith("edge stripe not red: the photos agree")


def test_a_colour_that_the_guide_lacks_is_never_held_against_its_denial() -> None:
    """Cream is what some call white; and which other colour one is, no photo is read for."""
    assert verdicts("not the white stripe", CREAM) == [OPEN]
    assert verdicts("no blue stripe", engine_cues(True, True, "green")) == [OPEN]
    assert verdicts("no blue stripe", CREAM) == [FOR]


@pytest.mark.parametrize(
    "text",
    [
        "not the version with the red stripe",
        "isn't the model with lever",
        "nicht die Version mit rotem Streifen",
        "pas la version avec filet rouge",
        "non la versione con leva",
        "niet de uitvoering met rode bies",
        "not working lever",
    ],
)
def test_a_denied_version_claims_no_part(text: str) -> None:
    assert said(text) == set()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("no stripe", {("edge_stripe", "absent")}),
        ("red stripe", {("edge_stripe", "present"), ("edge_stripe", "red")}),
        ("not red but cream stripe", {("edge_stripe", "present"), ("edge_stripe", "cream")}),
        ("version with red stripe", {("edge_stripe", "present"), ("edge_stripe", "red")}),
        ("nicht getestet Hebel vorhanden", {("switch_lever", "present")}),
        ("Hebel nicht vorhanden", {("switch_lever", "absent")}),
        ("il ne manque pas de levier", {("switch_lever", "present")}),
        ("non manca la leva", {("switch_lever", "present")}),
    ],
)
def test_other_denials_are_read_as_before(text: str, expected: set[tuple[str, str]]) -> None:
    assert said(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "not from 1934",
        "Not made in 1935",
        "This is not a 1934 engine",
        "was never built in 1934",
        "isn't from the 1930s",
        "not from 1934 to 1936",
        "neither from 1934 nor from 1935",
        "not from 1934 or 1936",
        "not from 1934 or from 1936",
        "nicht von 1934",
        "nicht aus dem Jahr 1934",
        "weder von 1934 noch von 1935",
        "kein Modell von 1934",
        "pas de 1934",
        "non del 1934",
        "no es de 1934",
        "niet uit 1934",
        "definitely not a W3",
        "isn't W3",
        "not a W3 or a W4",
        "neither W3 nor W4",
        "keine W3",
        "pas la W3",
        "non è la W3",
        "no es la variación W3",
        "niet de W3",
    ],
)
def test_a_denied_year_or_variation_claims_nothing(text: str) -> None:
    assert said(text) == set()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("no later than 1937", "../1937"),
        ("not later than 1937", "../1937"),
        ("made no later than 1937", "../1937"),
        ("not after 1937", "../1937"),
        ("nicht später als 1937", "../1937"),
        ("pas plus tard que 1937", "../1937"),
        ("non oltre il 1937", "../1937"),
        ("no más tarde de 1937", "../1937"),
        ("niet later dan 1937", "../1937"),
        ("not earlier than 1932", "1932/.."),
        ("no earlier than 1932", "1932/.."),
        ("not made before 1932", "1932/.."),
        ("nicht vor 1932", "1932/.."),
        ("pas avant 1932", "1932/.."),
        ("non prima del 1932", "1932/.."),
        ("no antes de 1932", "1932/.."),
        ("niet eerder dan 1932", "1932/.."),
    ],
)
def test_a_denied_limit_is_the_limit_on_the_other_side(text: str, value: str) -> None:
    (claim,) = find_claims(Listing("1", "", text), LEXICON)
    assert (claim.kind, claim.value) == (Kind.YEAR, value)
    assert claim.text == text.removeprefix("made ")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("no damage to the engine from 1934", "1934"),
        ("not mint engine from 1934", "1934"),
        ("not from 1934, 1936", "1936"),
        ("im Mai 1934", "1934"),
        ("noch von 1934", "1934"),
        ("W3 not W4", "W3"),
        ("not tested W3", "W3"),
    ],
)
def test_a_denial_of_something_else_leaves_year_and_variation(text: str, value: str) -> None:
    assert {v for _, v in said(text)} == {value}
