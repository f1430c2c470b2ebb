"""Claims that a tender belongs to its engine, or that all is original.

How sellers write is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from answers import photo_of
from listing_files import HIDDEN, W, by_id, engine_cues, eye, judged, write_photos, write_table
from shapes import engine
from vision.guide import load_guide
from vision.listings.claims import find_claims
from vision.listings.parts import lexicon_of
from vision.listings.values import Kind, Listing, Verdict
from vision.listings.verdicts import Judged, judge
from vision.pipeline import date_item
from vision.records import Cue, State

GUIDE = load_guide("wayfarer")
LEXICON = lexicon_of(GUIDE)
# The engine is W6 by all its parts; its tender is of W1 to W3.
MARRIED = engine_cues(True, True, "red", "4")


def said(text: str) -> list[tuple[Kind, str, str]]:
    return [(c.kind, c.about, c.value) for c in find_claims(Listing("1", "", text), LEXICON)]


def verdicts(text: str, *seen: tuple, **more: bool) -> list[Judged]:
    photos = [photo_of(engine(), f"p{n}.png") for n in range(len(seen))]
    answer = date_item(photos, GUIDE, eye({f"p{n}": cues for n, cues in enumerate(seen)}))
    return list(judge(find_claims(Listing("1", "", text), LEXICON), answer, GUIDE, **more))


@pytest.mark.parametrize(
    "text",
    [
        "original tender",
        "original matching tender",
        "with its correct six-axle tender",
        "matching red tender",
        "tender original",
        "the tender is original to the engine",
        "tender belongs to it",
        "engine and tender belong together",
        "originaler Tender",
        "Originaltender",
        "Tender gehört dazu",
        "zugehöriger Tender",
        "tender d'origine",
        "tender originale",
        "tender original",
        "originele tender",
        "bijbehorende tender",
    ],
)
def test_an_original_tender_is_a_claim_of_its_own(text: str) -> None:
    found = said(text)
    assert (Kind.ORIGINAL, "tender", "original") in found
    assert (Kind.PART, "tender", "present") not in found


@pytest.mark.parametrize(
    "text",
    [
        "with tender",
        "not the original tender",
        "tender not original",
        "tender does not belong to it",
        "tender belongs to another engine",
        "Tender gehört nicht dazu",
        "original box with tender",
        "tender original paint",
        "tender in original condition",
        "no original tender",
        "original tender missing",
        "unlike the one with original tender",
    ],
)
def test_other_words_claim_no_origin(text: str) -> None:
    assert Kind.ORIGINAL not in {kind for kind, _, _ in said(text)}


@pytest.mark.parametrize("text", ["all original", "100 % original", "alles original"])
def test_that_all_is_original_is_a_claim(text: str) -> None:
    assert said(text) == [(Kind.ORIGINAL, "", "original")]
    (item,) = verdicts(text, W["W6"])
    assert item.verdict is Verdict.CANNOT_TELL
    assert "no photo can tell" in item.text
    (item,) = verdicts(text, MARRIED)
    assert "speak against it" in item.text
    assert said(f"not {text}") == []


def test_a_tender_that_does_not_fit_is_never_borne_out() -> None:
    (item,) = verdicts("original tender", MARRIED)
    assert item.verdict is not Verdict.SUPPORTED
    assert "against" in item.text or "do not fit" in item.text
    assert item.p_true is not None and item.p_true < 0.25


def test_a_tender_of_other_years_contradicts_where_all_of_it_is_read_surely() -> None:
    sure = {"tender_axles": "4", "tender_lamps": "0", "cab_number": "322"}
    read = (
        Cue(
            name,
            State.PRESENT,
            value=value,
            confidence=0.99,
            values=MappingProxyType({value: 0.99}),
        )
        for name, value in sure.items()
    )
    seen = (*engine_cues(True, True, "red"), *read)
    (item,) = verdicts("original tender", seen)
    assert item.verdict is Verdict.CONTRADICTED
    assert item.text.startswith("engine and tender in the photos do not fit together")
    for more in ({"one_engine": False}, {}):
        (item,) = verdicts(
            "perhaps original tender" if not more else "original tender", seen, **more
        )
        assert item.verdict is Verdict.CANNOT_TELL


def test_a_photo_never_says_whose_tender_it_is() -> None:
    """It shows the kind: a tender of another engine of the same years looks alike."""
    (item,) = verdicts("original tender", W["W6"])
    assert item.verdict is Verdict.CANNOT_TELL
    assert "no photo can tell" in item.text
    (item,) = verdicts("original tender", HIDDEN)
    assert item.verdict is Verdict.CANNOT_TELL
    assert "no photo shows it well enough" in item.text


@pytest.mark.parametrize("text", ["original tender?", "perhaps original tender"])
def test_a_doubt_or_two_engines_hold_a_reproach(text: str) -> None:
    (item,) = verdicts(text, MARRIED)
    assert item.verdict is Verdict.CANNOT_TELL
    (item,) = verdicts("original tender", MARRIED, one_engine=False)
    assert item.verdict is Verdict.CANNOT_TELL


def test_nothing_makes_up_for_a_tender_that_does_not_fit(telltale: Any, tmp_path: Path) -> None:
    write_photos(tmp_path, ["married.jpg", "own.jpg"])
    rows = [
        {"id": "married", "title": "With lever, boxed", "photos": "married.jpg"},
        {"id": "own", "title": "With lever, boxed", "photos": "own.jpg"},
    ]
    shop = write_table(tmp_path / "shop.csv", rows)
    seen = eye({"married": MARRIED, "own": W["W6"]})
    records = by_id(judged(telltale, shop, eye=seen))
    for id, verdict in (("married", "cannot tell"), ("own", "supported")):
        assert records[id]["claims"][0]["verdict"] == "supported"
        assert records[id]["verdict"] == verdict
    _, out, _ = telltale("listings", shop, "--jobs", 1, eye=seen)
    assert out.count("   not judged from photos: boxed\n") == 2
