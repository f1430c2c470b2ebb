"""Mended: where an answer contradicted itself, counted twice, or hid what it knew."""

from __future__ import annotations

import json
from dataclasses import replace
from types import MappingProxyType

import pytest

from answers import answer, photo_of
from guides import cue, small_guide, value, variation
from shapes import engine
from vision.estimate import estimate, saw
from vision.estimate import strength as in_estimate
from vision.guide import Tender, load_guide
from vision.records import LETTERING, Answer, Candidate, Conflict, Cue, Estimate, State, Step
from vision.report import answer_html, answer_json, draw_overlay, terminal_text
from vision.report import words as in_report
from vision.report.narrowing import all_years_open, all_years_open_plain
from vision.report.overlay import overlay_words
from vision.report.rival import rival_words
from vision.report.rows import cue_rows
from vision.report.steps import bearing, fits_words, why_unused
from vision.report.strip import SURE_SHARE, strip_lines
from vision.report.under import BY_ENGINE, STRANGE_TENDER
from vision.report.words import headline

P, A = State.PRESENT, State.ABSENT
GUIDE = load_guide()


def answer_of(cues: list[Cue], **more: object) -> Answer:
    """An answer over the built-in guide whose estimate is the real one."""
    return replace(answer(), cues=tuple(cues), estimate=estimate(GUIDE, cues), **more)  # type: ignore[arg-type]


def flat(text: str) -> str:
    return " ".join(text.split())


# --- a state of no variation -------------------------------------------------------


@pytest.mark.parametrize("by_hand", [False, True])
def test_five_axles_fit_no_variation_in_text_and_json_alike(by_hand: bool) -> None:
    axles = saw(GUIDE, "tender_axles=5") if by_hand else value("tender_axles", "5", 0.99)
    told = answer_of([axles])
    (step,) = answer_json(told)["estimate"]["steps"]
    assert step["text"].endswith("as no variation was made")
    for text in (terminal_text(told), answer_html(told)):
        assert "fits no variation" in text
        assert "fits every variation" not in text


def test_six_axles_still_fit_those_that_have_them() -> None:
    assert "fits W3, W4, W5, W6" in terminal_text(answer_of([value("tender_axles", "6", 0.99)]))


# --- the nearest rival -------------------------------------------------------------

# What the guide gives W4 and W5 alike, and the lever, in which alone they differ.
ALIKE = [cue("side_linkage", 0.01), cue("edge_stripe", 0.99), value("cab_number", "316", 0.95)]
LEVER = cue("switch_lever", 0.995)


def lever_step(told: Answer) -> Step:
    assert told.estimate is not None
    return next(step for step in told.estimate.steps if step.cue == "switch_lever")


def test_the_cue_that_decides_is_said_to_decide() -> None:
    without = estimate(GUIDE, ALIKE)
    assert [c.id for c in without.variations[:2]] == ["W4", "W5"]
    told = answer_of([LEVER, *ALIKE])
    assert told.estimate is not None
    assert [c.id for c in told.estimate.variations[:2]] == ["W5", "W4"]
    step = lever_step(told)
    assert step.strength == "no support either way"
    assert rival_words(step, told.estimate) == "decides between W5 and W4 (moderate support)"
    assert bearing(step, told.estimate) == "for"
    text = terminal_text(told)
    assert "  + switch lever  present" in text
    for page in (text, answer_html(told)):
        assert "decides between W5 and W4 (moderate support)" in flat(page)


def test_the_rival_is_a_new_key_and_no_number_changes() -> None:
    told = answer_of([LEVER, *ALIKE])
    steps = {step["cue"]: step for step in answer_json(told)["estimate"]["steps"]}
    lever = steps["switch_lever"]
    assert lever["rival"] == "decides between W5 and W4 (moderate support)"
    assert lever["strength"] == "no support either way"
    assert lever["likelihoods"] == pytest.approx(dict(lever_step(told).likelihoods), rel=1e-5)
    # What W4 and W5 have alike tells nothing between them.
    assert "rival" not in steps["edge_stripe"]
    json.dumps(answer_json(told), allow_nan=False)


def of_two(first: float, rival: float, ratio: float, whole: float | None) -> tuple[Step, Estimate]:
    """A step worth `ratio` between A and B, and `whole` between A and all others."""
    likelihoods = MappingProxyType({"A": ratio * 0.01, "B": 0.01, "C": 0.01, "other": 0.5})
    step = Step("cue", "side_linkage", "", likelihoods, ratio=whole, leader="A")
    left = 1.0 - first - rival
    ranked = (Candidate("A", "1931", first), Candidate("other", "XXXX", left))
    ranked += (Candidate("B", "1932", rival),)
    return step, Estimate("1931", first, ranked, (step,), (), ())


@pytest.mark.parametrize(
    ("first", "ratio", "whole", "words", "sign"),
    [
        # By hand: 0.6 / 5 < 0.3, so that B would lead without the step; 0.6 / 1.9 > 0.3.
        (0.6, 5.0, 1.0, "decides between A and B (weak support)", "for"),
        (0.6, 1.9, 1.0, "", "neutral"),
        # 0.69 / 2.2 > 0.3: it tells them apart, but settles nothing.
        (0.69, 2.2, 1.9, "weak support for A over B", "for"),
        (0.69, 2.2, 2.0, "", "for"),
        (0.6, 0.05, 0.6, "moderate support for B over A", "against"),
        (0.6, 0.05, 0.05, "", "against"),
        (0.6, 5.0, None, "", "neutral"),
    ],
)
def test_a_step_against_the_nearest_rival(
    first: float, ratio: float, whole: float | None, words: str, sign: str
) -> None:
    step, found = of_two(first, 0.3, ratio, whole)
    assert rival_words(step, found) == words
    assert bearing(step, found) == sign
    assert (words in fits_words(step, found)) if words else "over B" not in fits_words(step, found)


@pytest.mark.parametrize("name", ["W2 against us", "no support either way", "A: B"])
def test_a_sign_is_no_matter_of_what_a_variation_is_called(name: str) -> None:
    """A variation called "W2 against us" had the sign for against at what speaks for it."""
    parts = {"switch_lever": P, "side_linkage": A}
    other = variation("W3", [1932], {"switch_lever": A, "side_linkage": P})
    guide = small_guide([variation(name, [1931], parts), other])
    found = estimate(guide, [cue("switch_lever", 0.999), cue("side_linkage", 0.8)])
    assert found.variations[0].id == name
    steps = {step.cue: step for step in found.steps}
    for part, sign in (("switch_lever", "for"), ("side_linkage", "against")):
        assert steps[part].strength.endswith(f"support {sign} {name}")
        assert bearing(steps[part]) == bearing(steps[part], found) == sign


def test_why_nothing_is_made_of_a_cue_is_told_whole() -> None:
    lettered = Cue(LETTERING, P, confidence=0.9)
    found = estimate(small_guide([variation("A", [1931], {"switch_lever": P})]), [lettered])
    (step,) = found.steps
    assert why_unused(lettered, found) == step.why != ""
    assert step.text.endswith(f": {step.why}")


@pytest.mark.parametrize("name", ["switch_lever", "side_linkage", "edge_stripe"])
def test_the_text_of_a_step_and_the_report_have_one_notion_of_what_fits(name: str) -> None:
    """At 68 % a step read "as W3, W4, W5, W6, not W1, W2" and the report "fits every variation"."""
    for percent in range(1, 100):
        (step,) = estimate(GUIDE, [cue(name, percent / 100)]).steps
        said = step.text.rpartition(" — as ")[2].partition(", not ")[0]
        words = fits_words(step).partition(":")[0]
        assert words == f"fits {'every variation' if said.startswith('every') else said}"


def test_a_variation_of_which_the_guide_says_nothing_fits_whatever_is_read() -> None:
    told = [variation("A", [1931], {"switch_lever": P}), variation("B", [1932], {})]
    (step,) = estimate(small_guide(told), [cue("switch_lever", 0.01)]).steps
    assert step.fits == ("B",)
    assert step.text.endswith("as B may have been made, not A")
    (step,) = estimate(small_guide(told), [cue("switch_lever", 0.99)]).steps
    assert step.fits == ("A", "B")


def test_there_is_no_rival_where_none_of_the_guide_leads_or_it_has_one_alone() -> None:
    step, found = of_two(0.6, 0.3, 5.0, 10.0)
    outside = replace(found, variations=(found.variations[1], *found.variations[::2]))
    alone = replace(found, variations=found.variations[:2])
    assert rival_words(step, outside) == rival_words(step, alone) == ""


# --- readings that agree -----------------------------------------------------------


def test_equal_counts_over_five_tenders_do_not_exclude_each_other() -> None:
    kinds = tuple(Tender(id, 4, 0) for id in "KLMNO")
    rows = [variation("V1", [1931], tenders=("K",)), variation("V2", [1932], tenders=("L",))]
    guide = small_guide(rows, tenders=kinds)
    photo, said = value("tender_axles", "4", 0.99), saw(guide, "tender_axles=4")
    assert estimate(guide, [photo, said]).conflicts == ()
    assert estimate(guide, [photo, photo]).conflicts == ()


def test_counts_that_differ_still_exclude_each_other() -> None:
    cues = [value("tender_axles", "4", 0.99), saw(GUIDE, "tender_axles=6")]
    found = [c.text for c in estimate(GUIDE, cues).conflicts if c.kind == "readings"]
    assert len(found) == 1
    assert "6 (person) and 4 (photo)" in found[0]


# --- said twice --------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement", ["cab_number=322", "switch_lever=absent", "edge_stripe=red", "tender_axles=6"]
)
def test_what_a_person_says_twice_counts_once(statement: str) -> None:
    said = saw(GUIDE, statement)
    once, twice = estimate(GUIDE, [said]), estimate(GUIDE, [said, saw(GUIDE, statement)])
    assert twice == once
    told = replace(answer(), cues=(said, said), estimate=twice)
    assert terminal_text(told).count("as you say") == 1


def test_two_photos_that_read_the_same_are_still_two() -> None:
    read = value("cab_number", "322", 0.9)
    once, twice = estimate(GUIDE, [read]), estimate(GUIDE, [read, read])
    assert twice.variations[0].p > once.variations[0].p


# --- colours that differ -----------------------------------------------------------


def test_both_colours_are_told_where_they_are_what_differs() -> None:
    photo = cue("edge_stripe", 0.99, values=MappingProxyType({"cream": 0.97, "red": 0.03}))
    conflicts = estimate(GUIDE, [photo, saw(GUIDE, "edge_stripe=red")]).conflicts
    (text,) = (c.text for c in conflicts if c.kind == "readings")
    assert "present, red (person) and present, cream (photo)" in text


def test_no_colour_is_told_where_presence_is_what_differs() -> None:
    photo = cue("edge_stripe", 0.99, values=MappingProxyType({"cream": 0.97, "red": 0.03}))
    conflicts = estimate(GUIDE, [photo, saw(GUIDE, "edge_stripe=absent")]).conflicts
    (text,) = (c.text for c in conflicts if c.kind == "readings")
    assert "absent (person) and present (photo)" in text


# --- set aside by hand -------------------------------------------------------------


def test_a_reading_taken_back_is_one_row_and_said_to_be_set_aside() -> None:
    told = answer_of([LEVER, *ALIKE, saw(GUIDE, "switch_lever=unseen")])
    text = terminal_text(told)
    why = text.partition("Why")[2].partition("What to look at next")[0]
    assert why.count("switch lever") == 1
    assert "? switch lever  cannot be told\n      set aside by hand: present (over 99 %)" in why
    # It stands where the photo's reading would.
    assert why.index("switch lever") < why.index("side linkage")
    page = answer_html(told)
    assert page.count(">switch lever</th>") == 1
    assert "set aside by hand: present (over 99 %) in the photo" in page


def test_counts_of_a_tender_that_is_named_are_set_aside_under_it() -> None:
    """Before, the photo's axles stood beside the tender as if both counted."""
    axles = Cue("tender_axles", State.PRESENT, value="6", confidence=0.99, because="six wheels")
    told = answer_of([*ALIKE, axles, saw(GUIDE, "tender=K")])
    text = terminal_text(told)
    assert text.count("tender axles  ") == 0
    why = text.partition("Why")[2].partition("What does not")[0]
    assert "set aside by hand: tender axles 6 (99 %) in the photo" in why
    assert "tender        K (as you say)" in why
    assert "tender axles 6 (99 %) in the photo" in answer_html(told)
    both = answer_of([*ALIKE, axles, saw(GUIDE, "tender=K"), saw(GUIDE, "tender_axles=4")])
    assert "set aside by hand: 6 (99 %) in the photo" in terminal_text(both)


def test_a_reading_taken_back_is_marked_so_on_the_picture() -> None:
    told = answer_of([LEVER, *ALIKE, saw(GUIDE, "switch_lever=unseen")])
    words = overlay_words(told.photos[0], told, 0)
    assert "switch lever: present (over 99 %), set aside by hand" in words
    assert words.count("set aside") == 1


def test_every_word_keeps_a_row_where_nothing_is_set_aside() -> None:
    cues = [LEVER, *ALIKE, saw(GUIDE, "axle_magnets=present")]
    assert cue_rows(answer_of(cues)) == tuple((c, ()) for c in cues)
    # A photo that showed nothing had nothing to set aside.
    hidden = Cue("switch_lever", State.UNSEEN, because="out of the picture")
    said = saw(GUIDE, "switch_lever=absent")
    assert cue_rows(answer_of([hidden, said])) == ((said, ()),)


# --- years that are not narrowed down ----------------------------------------------


def test_the_whole_span_of_a_guide_is_not_called_likely() -> None:
    # A part that is hard to see favours some variations, but leaves every year open.
    found = estimate(GUIDE, [cue("switch_lever", 0.7)])
    assert found.years == "1931/1939"
    told = replace(answer(), cues=(cue("switch_lever", 0.7),), estimate=found)
    years, words = headline(told)
    assert years == "not narrowed down"
    assert words == "the years of the guide, 1931–1939, all stay possible"
    assert "likely" not in terminal_text(told)
    assert all_years_open_plain(answer_json(told)["estimate"])


def test_years_that_are_fewer_are_stated() -> None:
    found = estimate(GUIDE, [LEVER, *ALIKE])
    assert not all_years_open(found)
    assert headline(replace(answer(), estimate=found))[0] == "1937"


@pytest.mark.parametrize(
    ("stated", "spans", "open_"),
    [
        ("1931/1933", ("1931", "1932/1933"), True),
        ("1931/1932", ("1931", "1932/1933"), False),
        ("[1931,1935]", ("1931", "1935"), True),
        # Nothing to narrow down: one variation, or one year.
        ("1931/1933", ("1931/1933",), False),
        ("1931", ("1931", "1931"), False),
        ("XXXX", ("1931", "1932"), False),
    ],
)
def test_all_years_of_a_guide(stated: str, spans: tuple[str, ...], open_: bool) -> None:
    ranked = tuple(Candidate(f"V{i}", span, 0.1) for i, span in enumerate(spans))
    found = Estimate(stated, 0.9, (*ranked, Candidate("other", "XXXX", 0.1)), (), (), ())
    assert all_years_open(found) is open_
    assert all_years_open_plain(answer_json(replace(answer(), estimate=found))["estimate"]) is open_


# --- a strange tender on the picture -----------------------------------------------


def test_a_strange_tender_is_a_line_on_the_strip() -> None:
    one = answer(photo_of(engine()))
    assert one.estimate is not None
    conflict = Conflict("engine_tender", ("tender_axles",), "tender K; the engine is W4")
    strange = replace(one, estimate=replace(one.estimate, conflicts=(conflict,)))
    line = f"{STRANGE_TENDER}; {BY_ENGINE}"
    assert line in [text for text, _, _ in strip_lines(strange, ())]
    # A conflict of another kind is told in the report alone.
    assert line not in [text for text, _, _ in strip_lines(one, ())]
    plain, marked = (draw_overlay(told.photos[0], told, 0) for told in (one, strange))
    # One line, as high as the one that says how sure the answer is.
    high = max(plain.shape[1], 1280) * SURE_SHARE * 1.3
    assert marked.shape[0] - plain.shape[0] == pytest.approx(high, abs=2)


# --- one way to write a percentage -------------------------------------------------


def test_every_surface_writes_a_percentage_alike() -> None:
    assert in_report.percent is in_estimate.percent
    assert [in_report.percent(p) for p in (0.007, 0.993, 0.004, 0.996)] == [
        "1 %",
        "99 %",
        "under 1 %",
        "over 99 %",
    ]
    (step,) = estimate(GUIDE, [cue("switch_lever", 0.993)]).steps
    assert step.text.startswith("switch_lever present (99 %)")
