"""A cab number that the guide lacks: what is printed is what weighs, and it is told of."""

from __future__ import annotations

import doctest
from dataclasses import replace

import pytest

import vision.estimate.saying
from answers import LOCOMOTIVE, answer, photo_of
from guides import cue, value
from shapes import engine
from vision.estimate import estimate, saw
from vision.estimate.conflicts import MOST_CONFLICTS
from vision.estimate.numbers import reading_likelihood, unlisted_likelihood
from vision.guide import load_guide
from vision.records import Answer, Cue
from vision.report import answer_html, answer_json, terminal_text
from vision.report.overlay import overlay_words
from vision.report.steps import fits_words, weighed_reading

GUIDE = load_guide()


def read(number: str, sure: float = 0.97) -> Answer:
    cues = (value("cab_number", number, sure),)
    return replace(answer(), cues=cues, estimate=estimate(GUIDE, cues))


def by_hand(number: str, sure: float = 0.97) -> dict[str, float]:
    """Bayes' rule by the channel alone, each of the guide's numbers and none as likely."""
    fits = {listed: reading_likelihood(number, listed) for listed in ("310", "316", "322")}
    fits["unlisted"] = unlisted_likelihood(number)
    return {state: sure * fit / sum(fits.values()) for state, fit in fits.items()}


@pytest.mark.parametrize("number", ["15", "7", "12", "16", "5512", "99"])
def test_the_percentage_printed_is_the_one_that_weighs(number: str) -> None:
    """15 read at 97 % weighed 3 to 1 against the guide, where 7 at 97 % weighed 26 to 1."""
    told = read(number)
    assert told.estimate is not None
    _, sure = weighed_reading(told.cues[0], told.estimate)
    shares = by_hand(number)
    assert sure == pytest.approx(max(shares.values()), rel=0.03)
    (step,) = told.estimate.steps
    weight = {id: step.likelihoods[id] for id in ("W1@1931", "W4@1935", "W6@1938", "other")}
    if max(shares, key=lambda state: shares[state]) == "unlisted":
        # "other" carries an unlisted number in nine engines of ten; the rest is blunders.
        assert weight["other"] == pytest.approx(0.9 * sure, abs=0.03)
        assert weight["W4@1935"] == pytest.approx(0.9 * shares["316"], abs=0.05)


def test_what_a_number_may_be_misread_is_said_on_every_surface() -> None:
    told = read("15")
    assert told.estimate is not None
    (step,) = answer_json(told)["estimate"]["steps"]
    assert step["text"] == (
        "cab_number 15 (77 %), or 316 misread (20 %) — as no variation was made"
    )
    assert step["taken_for"] == pytest.approx(by_hand("15"), rel=1e-5)
    assert answer_json(told)["cues"][0]["confidence"] == 0.97
    assert fits_words(told.estimate.steps[0]).startswith(
        "fits no variation, unless it is 316 misread (20 %)"
    )
    text = " ".join(terminal_text(told).split())
    assert "15 (77 %)" in text and "97 %" not in text
    assert "15 (77\u00a0%)" in answer_html(told)
    marked = replace(told, cues=(replace(told.cues[0], where=LOCOMOTIVE),))
    assert "cab number: 15 (77 %)" in overlay_words(photo_of(engine()), marked, 0)


def test_a_number_that_is_taken_for_one_of_the_guide_says_so() -> None:
    told = read("16")
    assert told.estimate is not None
    assert weighed_reading(told.cues[0], told.estimate)[0] == "16, taken for 316"
    assert "fits W3, W4, W5" in fits_words(told.estimate.steps[0])
    assert not told.estimate.conflicts
    assert "31, taken for 310 or 316" in " ".join(terminal_text(read("31")).split())


@pytest.mark.parametrize("number", ["310", "316", "322"])
def test_a_number_of_the_guide_is_told_as_before(number: str) -> None:
    told = read(number)
    assert told.estimate is not None
    assert weighed_reading(told.cues[0], told.estimate) == (number, 0.97)
    assert "taken_for" not in answer_json(told)["estimate"]["steps"][0]


@pytest.mark.parametrize("number", ["15", "7", "12", "99", "5512", "3"])
@pytest.mark.parametrize("more", [[], [cue("switch_lever", 0.01), cue("edge_stripe", 0.99)]])
def test_a_surely_read_number_of_no_variation_never_fits_together(
    number: str, more: list[Cue]
) -> None:
    found = estimate(GUIDE, [value("cab_number", number, 0.97), *more])
    lacked = [c for c in found.conflicts if c.kind == "number"]
    assert [c.cues for c in lacked] == [("cab_number",)]
    assert lacked[0].text.startswith(f"cab_number {number}: no variation has this. Stories: ")


def test_it_is_told_even_where_three_other_things_do_not_fit() -> None:
    parts = {"driving_axles": "2", "axle_magnets": "present", "smoke_unit": "present"}
    parts |= {"switch_lever": "absent", "edge_stripe": "absent"}
    odd = [saw(GUIDE, f"{name}={state}") for name, state in parts.items()]
    found = estimate(GUIDE, [*odd, value("cab_number", "15", 0.82)])
    assert len(found.conflicts) > MOST_CONFLICTS
    assert found.conflicts[-1].cues == ("cab_number",)


def test_what_is_not_surely_read_or_legible_is_no_conflict() -> None:
    for unsure in (value("cab_number", "15", 0.7), value("cab_number", "1?", 0.97)):
        assert not estimate(GUIDE, [unsure]).conflicts
    assert estimate(GUIDE, [saw(GUIDE, "cab_number=15")]).conflicts


def test_the_examples() -> None:
    found = doctest.testmod(vision.estimate.saying)
    assert found.attempted and not found.failed
