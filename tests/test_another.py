"""Another engine in the picture: told where it surely is, and nothing else is taken for one."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from answers import answer, photo_of, sighting
from shapes import engine
from test_locate import ENGINE, FINDER_SIZE, LIMITS, PHOTO, POSER_SIZE, TENDER, Fixed, marked
from vision.guide import load_guide
from vision.locate import locate
from vision.locate.another import with_own_tender
from vision.locate.poser import is_coupled
from vision.network import Networks, load_networks
from vision.page.shown import shown
from vision.photo import open_photo
from vision.pipeline.look import Look, look_from_text, look_to_text
from vision.records import Box, NotFound, Sighting
from vision.report import answer_html, answer_json, draw_overlay, terminal_text
from vision.report.another import another_words, place_words
from vision.report.overlay import overlay_words

DEMO = Path(__file__).parent.parent / "demo_images"
# In the finder's input, whose pixels are two of the photo: far from ENGINE, and off its line.
AWAY = Box(250, 250, 350, 300)


class Eyes(Fixed):
    """Two networks that answer one call after the other from a list, and count."""

    def __init__(self, size: tuple[int, int], *answers: dict[str, np.ndarray]) -> None:
        super().__init__(size)
        self._answers, self.calls = answers, 0

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        self.calls += 1
        return self._answers[self.calls - 1]


def nearer(box: Box, *, score: float = 0.9) -> np.ndarray:
    """The map of the look from nearer at a box: twice its width across, the box in the middle.

    Three tenths of the picture's width at least are looked at.
    """
    scale = max(2 * box.width, 0.3 * FINDER_SIZE[0]) / FINDER_SIZE[0]
    half = box.width / scale / 2, box.height / scale / 2
    x, y = FINDER_SIZE[0] / 2, FINDER_SIZE[1] / 2
    middle = Box(x - half[0], y - half[1], x + half[0], y + half[1])
    return marked((middle, score), tender=Box(10, 10, 60, 40), at=0.1)


def seen(
    box: Box, *, faint: float = 0.2, score: float = 0.9, engine: float = 0.95
) -> tuple[Sighting, int]:
    """What is seen of ENGINE and TENDER with a peak at another box, and in how many looks."""
    finder = Eyes(
        FINDER_SIZE,
        {"maps": marked((ENGINE, 0.9), (box, faint), tender=TENDER)},
        {"maps": nearer(box, score=score)},
    )
    corners = np.tile([[0.2, 0.2], [0.8, 0.2], [0.8, 0.8], [0.2, 0.8]], (3, 1))
    whole = {"corners": corners, "heading": np.eye(4)[0], "sight": np.ones(3)}
    whole["box"] = np.array([0.15, 0.15, 1.15, 1.15]) / 1.3
    looks = [whole | {"engine": np.array([p], np.float32)} for p in (0.95, engine)]
    poser = Eyes(POSER_SIZE, *looks)
    networks = Networks({"finder": finder, "poser": poser}, fusion=LIMITS, version="fixed")
    found = locate(PHOTO, networks)
    assert isinstance(found, Sighting)
    return found, finder.calls


def test_another_engine_is_told_where_it_stands() -> None:
    found, looks = seen(AWAY)
    assert looks == 2
    assert found.another is not None
    assert found.another.as_tuple() == pytest.approx(AWAY.scaled(2).as_tuple(), abs=3.0)


def test_another_engine_changes_nothing_else() -> None:
    alone, looks = seen(AWAY, faint=0.0)
    assert looks == 1
    assert alone.another is None
    assert replace(seen(AWAY)[0], another=None) == alone


@pytest.mark.parametrize(
    ("faint", "score", "engine"), [(0.02, 0.9, 0.95), (0.2, 0.5, 0.95), (0.2, 0.9, 0.6)]
)
def test_another_engine_must_be_surely_seen_by_every_look(
    faint: float, score: float, engine: float
) -> None:
    assert seen(AWAY, faint=faint, score=score, engine=engine)[0].another is None


@pytest.mark.parametrize(
    "box",
    [
        Box(120, 80, 280, 160),  # a second peak on the engine itself
        Box(230, 78, 330, 160),  # its cab and the front of the tender
        TENDER,
        Box(390, 92, 446, 162),  # coupled to the tender
        Box(14, 82, 92, 160),  # coupled to the front
    ],
)
def test_parts_of_the_engine_and_what_is_coupled_to_it_are_no_other(box: Box) -> None:
    assert seen(box)[0].another is None


@pytest.mark.parametrize(
    ("box", "words"),
    [
        (Box(0, 50, 30, 144), "to the left of"),
        (Box(205, 50, 260, 144), "to the right of"),
        (Box(10, 0, 260, 40), "above"),
        (Box(10, 150, 260, 170), "below"),
        (Box(0, 0, 10, 45), "to the left of"),  # 30 pixels aside and 5 above
    ],
)
def test_the_side_is_that_of_the_wider_gap(box: Box, words: str) -> None:
    assert place_words(box, Box(40, 50, 200, 144)) == words


OTHER = Box(230.0, 10.0, 310.0, 60.0)
SAID = (
    "Another engine is in the picture, to the right of the one that is dated: "
    "crop the photo to it to date that one."
)


def test_every_surface_says_that_there_is_another_engine() -> None:
    one = answer()
    two = replace(one, sightings=(replace(sighting(), another=OTHER),))
    assert another_words(one) == []
    assert another_words(two) == [SAID]
    assert SAID in " ".join(terminal_text(two).split())
    assert SAID in answer_html(two)
    guide = load_guide("wayfarer")
    assert SAID in shown(two, guide)["notes"]
    assert SAID not in shown(one, guide)["notes"]
    assert "another engine, not dated" in overlay_words(two.photos[0], two, 0)
    assert "nother engine" not in terminal_text(one) + answer_html(one)


def test_in_the_json_it_is_one_box_more_and_nothing_else() -> None:
    one = answer()
    two = replace(one, sightings=(replace(sighting(), another=OTHER),))
    record = answer_json(two)
    assert record["sighting"].pop("another") == [230.0, 10.0, 310.0, 60.0]
    assert record == answer_json(one)


def test_of_several_photos_the_one_is_named_that_shows_it() -> None:
    photo = photo_of(engine())
    both = (NotFound("dark"), replace(sighting(), another=OTHER))
    two = replace(answer(photo), photos=(photo, photo), sightings=both)
    assert another_words(two) == [SAID.replace("the picture", "photo 2")]


def test_a_thin_box_is_drawn_round_it() -> None:
    photo = photo_of(engine())
    one = answer(photo)
    two = replace(one, sightings=(replace(sighting(), another=OTHER),))
    changed = np.any(draw_overlay(photo, one, 0) != draw_overlay(photo, two, 0), axis=2)
    # 320 pixels are drawn on 1280: its left edge is at 920, and crossed in the middle.
    crossed = np.flatnonzero(changed[120:160, 900:940].any(axis=0)) + 900
    # A line, white on white, of a dark casing on either side.
    assert 917 <= crossed.min() < 920 < crossed.max() <= 923
    # Nothing is drawn over the other engine itself but what stands on its outline.
    assert not changed[90:190, 980:1180].any()


def test_what_was_seen_of_it_is_kept() -> None:
    for another in (None, OTHER):
        look = Look(
            "ab" * 32, (320, 180), 1, None, (), replace(sighting(), another=another), (), 0, None
        )
        assert look_from_text(look_to_text(look)) == look


def test_all_that_was_seen_is_kept() -> None:
    """How surely the tender was seen was lost on the way."""
    seen = replace(sighting(), another=OTHER, tender_score=0.47)
    assert not [f.name for f in fields(seen) if getattr(seen, f.name) is None]
    look = Look(
        "ab" * 32, (320, 180), 1, "2021-03-09", ("x",), seen, answer().cues, 7, (5, 6), b"a"
    )
    text = look_to_text(look)
    assert look_from_text(text) == look
    before = json.loads(text)
    del before["sighting"]["tender_score"]
    old = look_from_text(json.dumps(before))  # as looks of this format were written so far
    assert old == replace(look, sighting=replace(seen, tender_score=None))


def side_by_side(one: str, other: str, path: Path) -> tuple[Sighting, int]:
    """What is seen of two demo photos in one picture, and how wide the left one is."""
    left, right = (Image.open(DEMO / name) for name in (one, other))
    both = Image.new("RGB", (left.width + right.width, left.height))
    both.paste(left, (0, 0))
    both.paste(right, (left.width, 0))
    both.save(path)
    found = locate(open_photo(path), load_networks())
    assert isinstance(found, Sighting)
    return found, left.width


def test_two_photos_side_by_side_show_two_engines(tmp_path: Path) -> None:
    truth = {e["file"]: e["truth"] for e in json.loads((DEMO / "manifest.json").read_text())}
    names = ("brindle_m2.jpg", "brindle_m3.jpg")
    found, across = side_by_side(*names, tmp_path / "both.png")
    assert found.another is not None
    boxes = [Box(*truth[name]["locomotive"]) for name in names]
    moved = Box(*(e + across * (i % 2 == 0) for i, e in enumerate(boxes[1].as_tuple())))
    drawn = sorted([found.locomotive, found.another], key=lambda box: box.left)
    for got, box in zip(drawn, (boxes[0], moved), strict=True):
        assert got.intersection_over_union(box) > 0.8


def test_the_tender_of_another_engine_is_not_taken_for_its_own(tmp_path: Path) -> None:
    """A tank engine beside an engine with a tender, in two photos laid side by side."""
    found, across = side_by_side("wayfarer_w5.jpg", "brindle_m3.jpg", tmp_path / "both.png")
    assert found.locomotive.left > across
    assert found.tender is None


@pytest.mark.parametrize(
    ("tender", "own"),
    [
        (Box(210.0, 60.0, 300.0, 120.0), True),
        (Box(190.0, 60.0, 300.0, 120.0), True),
        (Box(240.0, 60.0, 330.0, 120.0), True),  # uncoupled
        (Box(255.0, 60.0, 345.0, 120.0), False),
        (Box(0.0, 60.0, 45.0, 120.0), False),
        (Box(110.0, 175.0, 190.0, 215.0), False),
    ],
)
def test_a_tender_stands_close_to_its_engine(tender: Box, own: bool) -> None:
    assert is_coupled(tender, Box(100.0, 40.0, 200.0, 120.0)) is own


@pytest.mark.parametrize(("gap", "own"), [(50.0, True), (10.0, False)])
def test_a_tender_between_two_engines_is_that_of_the_nearer(gap: float, own: bool) -> None:
    engine, tender = Box(100.0, 40.0, 200.0, 120.0), Box(230.0, 60.0, 300.0, 120.0)
    left = tender.right + gap
    another = Box(left, 40.0, left + 100.0, 120.0)
    both = replace(sighting(), locomotive=engine, tender=tender, another=another)
    assert with_own_tender(both).tender == (tender if own else None)
    assert with_own_tender(replace(both, another=None)).tender == tender


def test_one_engine_alone_or_mirrored_in_the_shelf_is_one(tmp_path: Path) -> None:
    networks = load_networks()
    entries = json.loads((DEMO / "manifest.json").read_text())
    mirrored = 0
    for entry in entries:
        found = locate(open_photo(DEMO / entry["file"]), networks)
        assert isinstance(found, NotFound) or found.another is None, entry["file"]
        if found and entry["truth"].get("locomotive") and mirrored < 4:
            picture = Image.open(DEMO / entry["file"])
            foot = int(entry["truth"]["locomotive"][3])
            above = picture.crop((0, 0, picture.width, foot))
            polish = Image.blend(ImageOps.flip(above), Image.new("RGB", above.size, "#3c3228"), 0.3)
            shelf = Image.new("RGB", (picture.width, 2 * foot))
            shelf.paste(above, (0, 0))
            shelf.paste(polish, (0, foot))
            shelf.save(tmp_path / "shelf.png")
            image = locate(open_photo(tmp_path / "shelf.png"), networks)
            assert isinstance(image, Sighting), entry["file"]
            assert image.another is None, entry["file"]
            mirrored += 1
    assert mirrored == 4
