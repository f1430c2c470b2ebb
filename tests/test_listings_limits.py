"""Limits that a seller sets to the year: with the year that they name, or without it."""

from __future__ import annotations

import pytest

from answers import photo_of
from listing_files import W, eye
from shapes import engine
from vision.guide import load_guide
from vision.listings.claims import find_claims
from vision.listings.parts import lexicon_of
from vision.listings.plain import plain, vocabulary
from vision.listings.values import Listing, Verdict
from vision.listings.verdicts import Judged, judge
from vision.listings.years import SIDES, find_years
from vision.pipeline import date_item

GUIDE = load_guide("wayfarer")
EDTF = dict(zip(SIDES, ("../1935", "../1936", "1937/..", "1936/.."), strict=True))


def judged(text: str, shows: str) -> Judged:
    answer = date_item([photo_of(engine())], GUIDE, eye({"engine": W[shows]}))
    (item,) = judge(find_claims(Listing("1", "", text), lexicon_of(GUIDE)), answer, GUIDE)
    return item


@pytest.mark.parametrize(
    ("side", "word"), [(side, word) for side in SIDES for word in vocabulary()["years"][side]]
)
def test_every_word_takes_its_year_in_or_leaves_it_out(side: str, word: str) -> None:
    (found,) = find_years(plain(f"{word} 1936"))
    assert found.edtf == EDTF[side]


def test_no_word_sets_two_limits() -> None:
    words = [word for side in SIDES for word in vocabulary()["years"][side]]
    assert len(words) == len(set(words))


@pytest.mark.parametrize("text", ["not until 1936", "nicht bis 1936", "not since 1936"])
def test_a_denied_limit_that_takes_its_year_in_is_no_claim(text: str) -> None:
    assert not find_claims(Listing("1", "", text), lexicon_of(GUIDE))


@pytest.mark.parametrize("text", ["dal 1934 al 1936", "ab 1934 bis 1936", "desde 1934 hasta 1936"])
def test_two_ends_are_a_range(text: str) -> None:
    assert [found.edtf for found in find_years(text)] == ["1934/1936"]


def test_a_limit_beyond_the_years_of_the_guide_is_never_borne_out() -> None:
    first, last = min(GUIDE.years), max(GUIDE.years)
    for text, shows in ((f"after {last}", "W6"), (f"before {first}", "W1")):
        item = judged(text, shows)
        assert item.verdict is Verdict.CANNOT_TELL
        assert item.text == "the guide has no engine of that year"
    assert judged(f"since {last}", "W6").verdict is Verdict.SUPPORTED
    assert judged(f"until {first}", "W1").verdict is not Verdict.CONTRADICTED


def test_a_limit_is_told_in_words() -> None:
    assert judged("before 1937", "W6").text.endswith("the listing says until 1936")
    assert judged("after 1936", "W1").text.endswith("the listing says from 1937 on")
