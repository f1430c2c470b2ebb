"""The words of an answer: how sure, which years, and what tells nothing."""

from __future__ import annotations

import doctest
from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import vision.report.words
from answers import answer, estimate
from vision.records import Conflict, Cue, State, Step
from vision.report import answer_json
from vision.report.narrowing import (
    favours_in_part,
    favours_in_part_plain,
    tells_nothing,
    tells_nothing_plain,
)
from vision.report.steps import fits_words
from vision.report.words import confidence_words, headline, percent, reading, years_words


@pytest.mark.parametrize(
    ("p", "words"),
    [
        # IPCC guidance note on the treatment of uncertainties (Mastrandrea et al. 2010),
        # table 1, with "extremely likely" and "more likely than not" as in AR5.
        (0.995, "virtually certain"),
        (0.96, "extremely likely"),
        (0.91, "very likely"),
        (0.67, "likely"),
        (0.51, "more likely than not"),
        (0.40, "about as likely as not"),
        (0.32, "unlikely"),
        (0.09, "very unlikely"),
        (0.0, "very unlikely"),
        (1.0, "virtually certain"),
    ],
)
def test_confidence_words_follow_the_published_scale(p: float, words: str) -> None:
    assert confidence_words(p) == words


@given(st.floats(0, 1))
@example(0.005)  # was "0 %": halves round to even
@example(0.995)
def test_percent_claims_certainty_only_where_there_is_one(p: float) -> None:
    text = percent(p)
    assert (text == "100 %") == (p == 1.0)
    assert (text == "0 %") == (p == 0.0)


@pytest.mark.parametrize(
    ("edtf", "words"),
    [
        # Forms of the Library of Congress EDTF specification, levels 0 to 2.
        ("1964", "1964"),
        ("1964/2008", "1964–2008"),
        ("[1667,1668,1670..1672]", "1667, 1668 or 1670–1672"),
        ("{1667,1668,1670..1672}", "1667, 1668 and 1670–1672"),
        ("1984?", "perhaps 1984"),
        ("2004~", "about 2004"),
        ("2004%", "perhaps about 2004"),
        ("201X", "2010s"),
        ("../1985", "until 1985"),
        ("1985/..", "from 1985 on"),
        ("1985~/..", "from about 1985 on"),
        ("[..1760,1762]", "until 1760 or 1762"),
        ("[1667,1760..]", "1667 or from 1760 on"),
    ],
)
def test_years_are_written_for_people(edtf: str, words: str) -> None:
    assert years_words(edtf) == words


def test_likelihoods_by_year_are_told_by_variation() -> None:
    likelihoods = MappingProxyType({"W1@1931": 0.9, "W1@1932": 0.9, "W2@1933": 0.1, "other": 0.5})
    step = Step("cue", "switch_lever", "", likelihoods, "weak support for W1", 4.5, fits=("W1",))
    assert fits_words(step) == "fits W1: weak support for W1"


def test_a_reading_that_no_variation_explains_fits_none() -> None:
    # A number that none of them carries: "fits W1" would be said of the least misfit.
    likelihoods = MappingProxyType({"W1@1931": 0.05, "W2@1933": 0.02, "other": 0.8})
    step = Step("number", "cab_number", "", likelihoods, "")
    assert fits_words(step) == "fits no variation"


def test_examples_in_docstrings() -> None:
    result = doctest.testmod(vision.report.words)
    assert result.attempted > 0
    assert result.failed == 0


def test_text_for_an_engine_of_no_variation() -> None:
    unknown = replace(estimate(), years="XXXX", confidence=0.7)
    told = replace(answer(), estimate=unknown)
    assert headline(told) == ("year unknown", "not in this guide: likely (70 %)")


def test_a_photo_that_tells_nothing_is_not_called_very_likely() -> None:
    """A stated set that is the whole guide says nothing of the picture."""
    one = answer()
    assert one.estimate is not None
    flat = Step("cue", "edge_stripe", "", MappingProxyType({"W1": 0.5, "W2": 0.4, "other": 0.01}))
    telling = replace(flat, likelihoods=MappingProxyType({"W1": 0.5, "W2": 0.1, "other": 0.3}))
    years, words = headline(replace(one, estimate=replace(one.estimate, steps=(flat,))))
    assert years == "not narrowed down"
    assert "all stay possible" in words
    years, words = headline(replace(one, estimate=replace(one.estimate, steps=(flat, telling))))
    assert years == years_words(one.estimate.years)
    against = MappingProxyType({"W1": 0.1, "W2": 0.5, "other": 0.3})
    steps = telling, replace(telling, likelihoods=against)
    years, words = headline(replace(one, estimate=replace(one.estimate, steps=steps)))
    assert years == "not narrowed down"
    assert words.startswith("what is seen speaks for some variations as much as for others")
    sole = replace(one.estimate, steps=(flat,), years="1931")
    assert headline(replace(one, estimate=sole))[1].endswith("the guide has 1931 alone")


def test_what_tells_nothing_is_the_same_in_an_estimate_and_in_its_json() -> None:
    one = answer()
    assert one.estimate is not None
    likelihoods = (
        {"W1": 0.5, "W2": 0.4, "other": 0.01},
        {"W1": 0.5, "W2": 0.1, "other": 0.3},
        # A guide of a single variation has but engines of none of the guide's to tell it from.
        {"W1": 0.5, "other": 0.5},
        {"W1": 0.5, "other": 0.2},
    )
    found = []
    for row in likelihoods:
        step = Step("cue", "edge_stripe", "", MappingProxyType(row))
        for years in ("1934/1936", "XXXX"):
            told = replace(one, estimate=replace(one.estimate, steps=(step,), years=years))
            assert told.estimate is not None
            found.append(tells_nothing(told.estimate))
            plain = answer_json(told)["estimate"]
            assert tells_nothing_plain(plain) is found[-1]
            assert favours_in_part(told.estimate) is favours_in_part_plain(plain)
    assert found == [True, False, False, False, True, False, False, False]


def test_a_part_in_plain_sight_is_called_unclear_not_invisible() -> None:
    hidden = Cue("switch_lever", State.UNSEEN)
    assert reading(hidden) == "not visible"
    assert reading(replace(hidden, in_sight=True)) == "unclear"
    leaning = replace(hidden, in_sight=True, p_present=0.1, clear=0.8)
    assert reading(leaning) == "unclear, perhaps absent (82 %)"
    assert reading(replace(leaning, p_present=0.45)) == "unclear"
    number = Cue("cab_number", State.UNSEEN, values={"316": 0.44, "376": 0.31}, in_sight=True)
    assert reading(number) == "unclear, perhaps 316 (44 %)"
    assert reading(replace(number, values={"316": 0.2, "376": 0.19})) == "unclear"
    assert reading(replace(number, in_sight=False)) == "not visible"
    # A person who looked in vain says nothing of where the part was in the picture.
    assert reading(replace(hidden, source="person")) == "cannot be told"


def test_photos_that_disagree_are_named_beside_the_years() -> None:
    one = answer()
    assert one.estimate is not None
    conflict = Conflict("views", ("edge_stripe",), "photo 1 reads present, photo 2 absent")
    disputed = replace(one.estimate, conflicts=(conflict,))
    assert headline(replace(one, estimate=disputed))[1].endswith("the photos disagree, see below")
    assert "disagree" not in headline(one)[1]
