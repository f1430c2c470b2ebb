"""Several photos of one answer: numbered, and each marked with what it reads otherwise."""

from __future__ import annotations

from dataclasses import replace

import pytest

from answers import LOCOMOTIVE, FakeEye, answer, photo_of
from browser import SIZES, WORDS, Open, answered, photo, snap, violations
from guides import cue, value
from page_server import running
from shapes import engine
from test_report import Reader
from vision.guide import load_guide
from vision.page.shown import shown
from vision.pipeline import date_item
from vision.records import Answer, Box
from vision.report import answer_html, draw_overlay, terminal_text
from vision.report.overlay import overlay_words
from vision.report.strip import strip_lines
from vision.report.views import photo_names, read_otherwise
from vision.report.words import MORE_THAN_ONE, SORT_PHOTOS, headline, next_looks

GUIDE = load_guide()
CAB = Box(160.0, 60.0, 196.0, 90.0)


def readings(number: str, axles: str, stripe: float, confidence: float) -> tuple:
    return (
        cue("edge_stripe", stripe, because="the edge"),
        value("tender_axles", axles, confidence, where=LOCOMOTIVE, because="wheels"),
        value("cab_number", number, confidence, where=CAB, because=f"{number} reads"),
    )


# By the guide's table a W1 (310, four axles, no stripe) and a W6 (322, six axles, a stripe).
VIEWS = {"a": readings("310", "4", 0.01, 0.97), "b": readings("322", "6", 0.99, 0.99)}


def two_engines() -> Answer:
    photos = [photo_of(engine(), "a.png"), photo_of(engine(220, 320), "b.png")]
    photos[1] = replace(photos[1], sha256="cd" * 32)
    return date_item(photos, GUIDE, FakeEye(VIEWS))


def test_several_engines_are_the_headline_and_nothing_is_asked_of_them() -> None:
    told = two_engines()
    assert headline(told) == (MORE_THAN_ONE, SORT_PHOTOS)
    assert told.estimate is not None and told.estimate.look_next
    assert next_looks(told.estimate) == ()
    for text in (terminal_text(told), answer_html(told)):
        assert MORE_THAN_ONE in text
        assert "not narrowed down" not in text
        assert "What to look at next" not in text
    page = shown(told, GUIDE)
    assert page["looks"] == []
    assert page["as_one"] is True
    assert strip_lines(told, ())[0][0] == MORE_THAN_ONE


def test_one_engine_is_not_told_to_be_taken_as_one() -> None:
    assert shown(answer(photo_of(engine())), GUIDE)["as_one"] is False


def test_photos_have_their_numbers_in_text_and_html() -> None:
    told = two_engines()
    assert photo_names(told) == ["photo 1: a.png", "photo 2: b.png"]
    assert terminal_text(told).splitlines()[:2] == photo_names(told)
    reader = Reader()
    reader.feed(answer_html(told))
    assert "photo 1: a.png" in reader.text and "photo 1 of 2: " in reader.text
    # One photo needs none.
    assert photo_names(answer()) == ["engine.png"]
    assert "photo 1" not in terminal_text(answer()) + answer_html(answer(photo_of(engine())))


def test_each_photo_is_marked_with_its_own_reading_where_they_disagree() -> None:
    told = two_engines()
    best = {cue.name: cue.photo for cue in told.cues}
    assert best["cab_number"] == 1
    (number,) = (c for c in read_otherwise(told, 0) if c.name == "cab_number")
    assert number.value == "310" and number.where == CAB
    assert "cab_number" not in [c.name for c in read_otherwise(told, 1)]
    words = [overlay_words(p, told, k) for k, p in enumerate(told.photos)]
    assert "cab number: 310 (97 %), in this photo" in words[0]
    assert "322" in words[1] and "310" not in words[1]


def test_the_reading_is_drawn_on_its_photo() -> None:
    told = two_engines()
    alone = replace(told, views=())
    with_it, without = (draw_overlay(one.photos[0], one, 0) for one in (told, alone))
    height, width = (round(1280 * 180 / 320), 1280)
    # The cab number's outline, at 4 pixels of the picture to one of the photo.
    left, top = int(CAB.left * 4), int(CAB.top * 4)
    changed = (with_it[:height, :width] != without[:height, :width]).any(axis=2)
    assert changed[top - 3 : top + 4, left : int(CAB.right * 4)].any(axis=0).mean() > 0.9


@pytest.mark.parametrize("said", [(), (value("cab_number", "310", 0.98, source="person"),)])
def test_what_agrees_is_marked_once(said: tuple) -> None:
    photos = [photo_of(engine(), "a.png"), photo_of(engine(220, 320), "b.png")]
    told = date_item(photos, GUIDE, FakeEye({"a": VIEWS["a"], "b": VIEWS["a"]}), said)
    assert [read_otherwise(told, k) for k in (0, 1)] == [(), ()]


@SIZES
def test_the_page_numbers_its_photos_and_marks_what_they_read(
    open_page: Open, size: tuple[int, int]
) -> None:
    with running(FakeEye(VIEWS)) as port:
        page = open_page(port, size)
        snap(page, photo("a.png"), photo("b.png", engine(220, 320)), field="#choose")
        assert answered(page) == MORE_THAN_ONE
        assert page.inner_text("h2:has(+ .candidates)") == WORDS["candidates_as_one"]
        assert page.locator(".look").count() == 0
        assert WORDS["looks_several"] in page.inner_text("#answer")
        captions = page.locator("figcaption").all_inner_texts()
        assert captions[0].startswith("Photo 1 of 2")
        assert "3 here: cab number: 310 (97 %)" in captions[0]
        assert captions[1].startswith("Photo 2 of 2") and "cab number" not in captions[1]
        # The number stands on both photos, at what each of them reads.
        for figure in page.locator("figure").all():
            assert "3" in figure.locator("svg text").all_text_contents()
        assert violations(page) == []
