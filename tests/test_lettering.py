"""Lettering on the tender's side: drawn sides with and without it, and hidden ones."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from shapes import encoded
from vision.cues import read_cues, read_lettering
from vision.cues.tender import TenderLooks
from vision.locate import locate
from vision.network import load_networks
from vision.photo import photo_from_bytes
from vision.records import LETTERING, PHOTO_CUES, Box, Cue, Photo, Sighting, State

DEMO = Path(__file__).parent.parent / "demo_images"
# Where `drawn` has the side, from the tank's top to the rails.
SIDE = ((100.0, 80.0), (540.0, 80.0), (540.0, 280.0), (100.0, 280.0))
TENDER = Box(90.0, 70.0, 550.0, 285.0)


def drawn(text: str = "", *, at: int = 145) -> Photo:
    """A tender square from the side: a tank with rivets, six wheels, and a text."""
    image = Image.new("RGB", (640, 360), "lightgray")
    draw = ImageDraw.Draw(image)
    draw.rectangle((100, 80, 540, 215), fill=(20, 60, 40))
    for x in range(112, 535, 24):
        draw.ellipse((x - 2, 205, x + 2, 209), fill=(60, 100, 80))
    for x in range(140, 520, 68):
        draw.ellipse((x - 28, 222, x + 28, 278), fill="dimgray", outline="black", width=4)
    font = ImageFont.load_default(40)
    draw.text((320, at), text, fill=(240, 220, 160), font=font, anchor="mm")
    return photo_from_bytes(encoded(image), "drawn")


def looks(*, countable: float = 0.99, side: object = SIDE) -> TenderLooks:
    said = {"countable": np.array([countable, 0.0], np.float32)}
    return TenderLooks(said, None, None, None, side_at=side)  # type: ignore[arg-type]


def read(photo: Photo, **more: object) -> Cue:
    return read_lettering(photo, TENDER, looks(**more), load_networks())  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["NORTHERN", "TARN & DALE", "W R"])
def test_letters_on_the_side_are_seen_where_they_are(text: str) -> None:
    cue = read(drawn(text))
    assert (cue.name, cue.state, cue.value) == (LETTERING, State.PRESENT, None)
    assert 0.5 < cue.confidence < 1.0
    assert cue.where is not None
    assert cue.where.left > 150 and cue.where.right < 490
    assert 115 < cue.where.top < 145 < cue.where.bottom < 175


def test_a_side_without_letters_is_unseen_and_never_absent() -> None:
    """Its false friends, rivets and wheels in a row, are there."""
    cue = read(drawn())
    assert cue.state is State.UNSEEN and cue.in_sight
    assert cue.because == "no lettering made out on the tender's side"
    assert not cue.speaks and cue.confidence == 0.0


def test_one_character_is_no_lettering() -> None:
    assert read(drawn("W")).state is State.UNSEEN


def test_letters_beside_the_wheels_are_not_on_the_tank() -> None:
    assert read(drawn("NORTHERN", at=250)).state is State.UNSEEN


def test_a_hidden_or_small_side_gives_unseen_and_why() -> None:
    photo = drawn("NORTHERN")
    turned = read(photo, countable=0.3)
    assert (turned.state, turned.in_sight) == (State.UNSEEN, False)
    assert "turned away" in turned.because
    assert read(photo, side=None).because == turned.because
    x, y = SIDE[0]
    small = tuple((x + (a - x) * 0.18, y + (b - y) * 0.18) for a, b in SIDE)
    assert "too small" in read(photo, side=small).because
    folded = (SIDE[0], SIDE[2], SIDE[1], SIDE[3])
    assert read(photo, side=folded).because == "no lettering made out on the tender's side"


def test_an_engine_without_a_tender_shows_none_and_the_order_is_kept() -> None:
    networks = load_networks()
    photo = photo_from_bytes((DEMO / "wayfarer_w6.jpg").read_bytes(), "w6")
    sighting = locate(photo, networks)
    assert isinstance(sighting, Sighting)
    cues = {cue.name: cue for cue in read_cues(photo, sighting, networks)}
    assert tuple(cues) == PHOTO_CUES
    assert cues[LETTERING].state is State.PRESENT  # by its casting, see tools/locomotive/demo.py
    assert sighting.tender is not None and cues[LETTERING].where is not None
    assert sighting.tender.intersection_over_union(cues[LETTERING].where) > 0
    alone = read_cues(photo, replace(sighting, tender=None), networks)
    (cue,) = (cue for cue in alone if cue.name == LETTERING)
    assert (cue.state, cue.because) == (State.UNSEEN, "no tender is in the picture")
