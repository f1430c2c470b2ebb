"""How an answer is shown: JSON, page, and what every surface says alike."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Context
from html.parser import HTMLParser
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from answers import CUES, answer, no_engine, photo_of, sighting
from shapes import engine
from vision.estimate import estimate as dated
from vision.estimate.strength import six_digits
from vision.guide import load_guide
from vision.page.shown import shown
from vision.records import Answer, Candidate, Conflict, Cue, Estimate, NotFound, State, Step
from vision.report import answer_html, answer_json, terminal_text
from vision.report.words import CAUTIONS


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


def test_conflicts_name_cues_as_the_rest_does() -> None:
    one = answer()
    assert one.estimate is not None
    conflict = Conflict("views", ("edge_stripe",), "edge_stripe: photos differ")
    told = replace(one, estimate=replace(one.estimate, conflicts=(conflict,)))
    for text in (terminal_text(told), answer_html(told)):
        assert "edge stripe: photos differ" in text
        assert "edge_stripe" not in text


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
    words = "Mind the wire. (would leave about 1.3 candidates)"
    assert words in " ".join(terminal_text(told).split())
    assert words in answer_html(told)
    (record,) = answer_json(told)["estimate"]["look_next"]
    assert record["caution"] == "Mind the wire."
    assert "caution" not in answer_json(one)["estimate"]["look_next"][0]


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
    # Of the photo, the guide twice, and the reason.
    assert reader.text.count(hostile) == 4
    assert "1934–1936" in reader.text
    assert page.startswith("<!doctype html>")


def test_without_variations_nothing_breaks() -> None:
    empty = Estimate("1934", 0.9, (Candidate("W1", "1934", 1.0),), (), (), ())
    told: Answer = replace(answer(), estimate=empty, cues=())
    assert "W1 (1934) 100 %" in terminal_text(told)
    assert answer_json(told)["estimate"]["steps"] == []
