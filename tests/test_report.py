"""How an answer is shown: JSON, text, page."""

from __future__ import annotations

import doctest
import json
import re
from dataclasses import replace
from decimal import Context
from html.parser import HTMLParser
from types import MappingProxyType

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import vision.report.words
from answers import CUES, answer, estimate, no_engine, photo_of, sighting
from shapes import engine
from vision.estimate import estimate as dated
from vision.estimate.strength import six_digits
from vision.guide import load_guide
from vision.page.shown import shown
from vision.records import Answer, Candidate, Conflict, Cue, Estimate, NotFound, State, Step
from vision.report import answer_html, answer_json, terminal_text
from vision.report.narrowing import tells_nothing, tells_nothing_plain
from vision.report.steps import fits_words
from vision.report.words import CAUTIONS, confidence_words, headline, percent, reading, years_words


def test_json_has_the_documented_shape() -> None:
    record = answer_json(answer())
    assert list(record) == ["photos", "sighting", "cues", "estimate", "versions"]
    assert record["photos"] == [{"path": "engine.png", "sha256": "ab" * 32, "size": [320, 180]}]
    assert record["sighting"] == {
        "locomotive": [40.0, 50.0, 200.0, 144.0],
        "tender": [206.0, 80.0, 290.0, 144.0],
        "faces": "left",
        "score": 0.981235,
        "regions": {
            "boiler_top": [[40.0, 40.0], [170.0, 40.0], [170.0, 72.0], [40.0, 72.0]],
            "side_rods": [[54.0, 112.0], [166.0, 112.0], [166.0, 144.0], [54.0, 144.0]],
            "running_board": [[40.0, 106.0], [200.0, 106.0], [200.0, 112.0], [40.0, 112.0]],
        },
    }
    assert record["cues"][0] == {
        "name": "switch_lever",
        "state": "absent",
        "p_present": 0.0312346,
        "confidence": 0.968765,
        "where": [40.0, 40.0, 170.0, 72.0],
        "because": "no thin upright part between chimney and cab",
    }
    assert record["cues"][3]["value"] == "4"
    assert "p_present" not in record["cues"][3]
    assert record["cues"][2]["p_present"] is None
    keys = ["years", "confidence", "variations", "steps", "conflicts", "look_next"]
    assert list(record["estimate"]) == keys
    assert record["estimate"]["variations"][0] == {"id": "W3", "years": "1934", "p": 0.6}
    assert record["versions"] == {"telltale": "0", "guide": "test 1", "model": "none"}


def test_json_is_one_line_of_standard_json() -> None:
    text = json.dumps(answer_json(answer()), allow_nan=False)
    assert "\n" not in text
    assert json.loads(text) == answer_json(answer())


def test_json_of_a_photo_without_an_engine() -> None:
    record = answer_json(no_engine())
    assert record["sighting"] is None
    assert record["not_found"] == "nothing like a locomotive"
    assert record["cues"] == []
    assert record["estimate"] is None


def test_json_of_several_photos_says_which_photo_a_box_is_in() -> None:
    one = answer()
    several = replace(
        one,
        photos=one.photos * 2,
        sightings=(NotFound("dark"), sighting()),
        cues=(replace(CUES[0], photo=1),),
    )
    record = answer_json(several)
    assert record["sighting"] == record["sightings"][1]
    assert record["sightings"][0] == {"not_found": "dark"}
    assert record["cues"][0]["photo"] == 1


def test_no_probability_is_written_as_0_or_1() -> None:
    """Before, four decimals: what no photo can rule out was written as `"p": 0.0`."""
    one = answer()
    assert one.estimate is not None
    rare = (Candidate("W3", "1934", 1 - 4.2e-9), Candidate("W4", "1935/1936", 4.2123456e-9))
    told = replace(
        one,
        sightings=(replace(sighting(), score=1.0),),
        cues=(
            replace(CUES[0], p_present=1.0, confidence=1.0),
            Cue("edge_stripe", State.UNSEEN, p_present=0.00003, clear=1e-9),
            Cue("cab_number", State.UNSEEN, values={"310": 0.00002}, in_sight=True),
        ),
        estimate=replace(one.estimate, confidence=1 - 1e-12, variations=rare),
    )
    record = json.loads(json.dumps(answer_json(told), allow_nan=False))
    assert [v["p"] for v in record["estimate"]["variations"]] == [0.999999, 4.21235e-09]
    assert record["estimate"]["confidence"] == 0.999999
    assert record["sighting"]["score"] == 0.999999
    lever, stripe, number = record["cues"]
    assert (lever["p_present"], lever["confidence"]) == (0.999999, 0.999999)
    assert (stripe["p_present"], number["may_be"]) == (3e-05, {"310": 2e-05})
    # Nothing is stated of what is unseen, so that there is nothing to be sure of.
    assert (stripe["confidence"], number["confidence"]) == (0.0, 0.0)


@given(st.floats(0.0, 1.0))
def test_a_probability_is_written_with_six_significant_digits(p: float) -> None:
    written = six_digits(p)
    assert 0.0 < written < 1.0
    # Decimal of the standard library rounds by itself; halves may go either way.
    rounded = float(Context(prec=6).create_decimal(p))
    if 1e-12 <= rounded < 1.0:
        assert written == pytest.approx(rounded, rel=1e-12)


def test_small_likelihoods_survive_so_that_steps_can_be_replayed() -> None:
    step = Step("cue", "switch_lever", "", MappingProxyType({"W1": 1.23456789e-6, "W2": 0.5}))
    one = answer()
    assert one.estimate is not None
    record = answer_json(replace(one, estimate=replace(one.estimate, steps=(step,))))
    assert record["estimate"]["steps"][0]["likelihoods"] == {"W1": 1.23457e-6, "W2": 0.5}


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
    ],
)
def test_years_are_written_for_people(edtf: str, words: str) -> None:
    assert years_words(edtf) == words


def test_the_years_come_first_in_the_text() -> None:
    lines = terminal_text(answer()).splitlines()
    assert lines[0] == "engine.png"
    assert "1934–1936" in lines[2]
    assert "very likely (93 %)" in lines[2]
    assert lines[4] == "  W3 (1934) 60 %, W4 (1935–1937) 30 %, not in this guide 10 %"


def test_every_cue_is_told_and_unseen_is_never_called_absent() -> None:
    text = terminal_text(answer())
    assert "  . switch lever      absent (97 %)" in text
    assert "  + side linkage      present (91 %)" in text
    assert "fits every variation: weak support for W3" in text
    assert "  ? edge stripe       not visible\n      glare along the running board" in text
    assert "  . tender axles      4 (88 %)" in text


@pytest.mark.parametrize(
    ("strength", "sign"),
    [("weak support for W3", "+"), ("moderate support against W3", "-"), ("", ".")],
)
def test_the_sign_agrees_with_the_words(strength: str, sign: str) -> None:
    one = answer()
    assert one.estimate is not None
    steps = (replace(one.estimate.steps[1], strength=strength),)
    text = terminal_text(replace(one, estimate=replace(one.estimate, steps=steps)))
    assert f"  {sign} side linkage" in text


def test_likelihoods_by_year_are_told_by_variation() -> None:
    likelihoods = MappingProxyType({"W1@1931": 0.9, "W1@1932": 0.9, "W2@1933": 0.1, "other": 0.5})
    step = Step("cue", "switch_lever", "", likelihoods, "weak support for W1")
    assert fits_words(step) == "fits W1: weak support for W1"


def test_a_reading_that_no_variation_explains_fits_none() -> None:
    # A number that none of them carries: "fits W1" would be said of the least misfit.
    likelihoods = MappingProxyType({"W1@1931": 0.05, "W2@1933": 0.02, "other": 0.8})
    step = Step("number", "cab_number", "", likelihoods, "")
    assert fits_words(step) == "fits no variation"


def test_a_percentage_is_never_parted_from_its_sign() -> None:
    for width in range(40, 100):
        for line in terminal_text(answer(), width=width).splitlines():
            assert not line.strip().startswith("%")
            assert "\u00a0" not in line


def test_conflicts_name_cues_as_the_rest_does() -> None:
    one = answer()
    assert one.estimate is not None
    conflict = Conflict("views", ("edge_stripe",), "edge_stripe: photos differ")
    told = replace(one, estimate=replace(one.estimate, conflicts=(conflict,)))
    for text in (terminal_text(told), answer_html(told)):
        assert "edge stripe: photos differ" in text
        assert "edge_stripe" not in text


def test_a_cue_that_a_person_corrected_is_shown_as_set_aside() -> None:
    said = Cue("side_linkage", State.ABSENT, confidence=0.98, source="person")
    one = answer()
    assert one.estimate is not None
    even = MappingProxyType(dict.fromkeys(("W3", "W4", "other"), 1.0))
    weighed = replace(one.estimate.steps[1], strength="weak support against W3")
    steps = (weighed, Step("superseded", "side_linkage", "", even))
    told = replace(one, cues=(*CUES, said), estimate=replace(one.estimate, steps=steps))
    text = terminal_text(told)
    assert text.count("side linkage") == 1
    assert "  - side linkage      absent (as you say)" in text
    assert "      set aside by hand: present (91 %) in the photo" in text


def test_lettering_says_what_the_guide_makes_of_it_on_every_surface() -> None:
    """The built-in guide says of no tender whether it is lettered."""
    guide = load_guide("wayfarer")
    told = replace(answer(), estimate=dated(guide, CUES))
    why = "the guide says of no tender whether it is lettered, so it tells nothing"
    lines = terminal_text(told, width=120).splitlines()
    at = lines.index("  . tender lettering  present (95 %)")
    assert [line.strip() for line in lines[at + 1 : at + 3]] == [
        "8 characters made out in a line on the tender's side",
        why,
    ]
    assert f"{why}<" in answer_html(told)
    (row,) = (row for row in shown(told, guide)["cues"] if row["name"] == "tender_lettering")
    assert row["told"][-1] == why and row["speaks"] == "neutral"
    assert [c["saw"].partition("=")[2] for c in row["choices"]] == ["present", "absent", "unseen"]
    (cue,) = (cue for cue in answer_json(told)["cues"] if cue["name"] == "tender_lettering")
    assert (cue["state"], cue["confidence"]) == ("present", 0.95) and "value" not in cue
    tenders = tuple(replace(tender, lettering=True) for tender in guide.tenders)
    weighed = replace(told, estimate=dated(replace(guide, tenders=tenders), CUES))
    assert "the guide says of no tender" not in terminal_text(weighed, width=120)


def test_cautions_come_once_and_only_with_a_check_by_hand() -> None:
    text = terminal_text(answer())
    for caution in CAUTIONS:
        assert " ".join(text.split()).count(caution) == 1
    one = answer()
    assert one.estimate is not None
    photos_only = tuple(look for look in one.estimate.look_next if not look.hands_on)
    without = replace(one, estimate=replace(one.estimate, look_next=photos_only))
    assert "Before you touch it" not in terminal_text(without)
    assert "Before you touch it" not in answer_html(without)


def test_a_checks_own_caution_stands_beside_it() -> None:
    one = answer()
    assert one.estimate is not None
    look = replace(one.estimate.look_next[0], caution="Mind the wire.", candidates_left=1.34)
    told = replace(one, estimate=replace(one.estimate, look_next=(look,)))
    words = "Mind the wire. (0.61 bits expected; about 1.3 candidates left)"
    assert words in " ".join(terminal_text(told).split())
    assert words in answer_html(told)
    (record,) = answer_json(told)["estimate"]["look_next"]
    assert record["caution"] == "Mind the wire."
    assert "caution" not in answer_json(one)["estimate"]["look_next"][0]


def test_examples_in_docstrings() -> None:
    result = doctest.testmod(vision.report.words)
    assert result.attempted > 0
    assert result.failed == 0


def test_text_without_an_engine() -> None:
    text = terminal_text(no_engine())
    assert "no locomotive found" in text
    assert "nothing like a locomotive" in text
    assert "Why" not in text


def test_text_for_an_engine_of_no_variation() -> None:
    unknown = replace(estimate(), years="XXXX", confidence=0.7)
    told = replace(answer(), estimate=unknown)
    assert headline(told) == ("year unknown", "not in this guide: likely (70 %)")


@given(st.integers(40, 120), st.text(min_size=0, max_size=200))
def test_lines_keep_to_the_width(width: int, because: str) -> None:
    words = " ".join(word[:20] for word in because.split())
    told = replace(answer(), cues=(replace(CUES[0], because=words), *CUES[1:]))
    lines = terminal_text(told, width=width).split("\n")
    assert max(len(line) for line in lines[1:]) <= width


def test_bold_changes_nothing_but_two_codes() -> None:
    plain, bold = terminal_text(answer()), terminal_text(answer(), bold=True)
    assert "\x1b" not in plain
    assert re.sub(r"\x1b\[\d*m", "", bold) == plain


class Reader(HTMLParser):
    """Collects text and tags, and complains of tags that do not close."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        outside = [value or "" for name, value in attrs if name in ("src", "href")]
        assert all(value.startswith("data:image/jpeg;base64,") for value in outside)
        if tag not in ("meta", "br", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_page_is_whole_escaped_and_alone() -> None:
    hostile = '<script>alert("x")</script>&amp;'
    told = replace(answer(photo_of(engine(), hostile)), versions={"guide": hostile})
    told = replace(told, cues=(replace(CUES[0], because=hostile),))
    reader = Reader()
    page = answer_html(told)
    reader.feed(page)
    reader.close()
    assert reader.open == []
    assert "script" not in reader.tags
    assert reader.text.count(hostile) == 3
    assert "1934–1936" in reader.text
    assert page.startswith("<!doctype html>")


def test_without_variations_nothing_breaks() -> None:
    empty = Estimate("1934", 0.9, (Candidate("W1", "1934", 1.0),), (), (), ())
    told: Answer = replace(answer(), estimate=empty, cues=())
    assert "W1 (1934) 100 %" in terminal_text(told)
    assert answer_json(told)["estimate"]["steps"] == []


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


def test_what_tells_nothing_is_the_same_in_an_estimate_and_in_its_json() -> None:
    one = answer()
    assert one.estimate is not None
    likelihoods = (
        {"W1": 0.5, "W2": 0.4, "other": 0.01},
        {"W1": 0.5, "W2": 0.1, "other": 0.3},
        # A guide of a single variation has nothing to tell it from.
        {"W1": 0.5, "other": 0.5},
    )
    found = []
    for row in likelihoods:
        step = Step("cue", "edge_stripe", "", MappingProxyType(row))
        for years in ("1934/1936", "XXXX"):
            told = replace(one, estimate=replace(one.estimate, steps=(step,), years=years))
            assert told.estimate is not None
            found.append(tells_nothing(told.estimate))
            assert tells_nothing_plain(answer_json(told)["estimate"]) is found[-1]
    assert found == [True, False, False, False, False, False]


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
