"""A photo on its side or upside down is told so, and not dated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from conftest import Telltale
from test_locate import ENGINE, FINDER_SIZE, LIMITS, TENDER, Fixed, _maps, _networks
from vision.locate import locate
from vision.locate.turned import TURNED
from vision.network import Networks, load_networks
from vision.photo import open_photo
from vision.pipeline import load_eye
from vision.records import NotFound, Photo, Sighting

DEMO = sorted((Path(__file__).parent.parent / "demo_images").glob("*.jpg"))
ENGINES = [path for path in DEMO if path.stem != "no_engine"]
# Pillow turns the pictures, and telltale by other means.
TURNS = {
    "to the left": Image.Transpose.ROTATE_90,
    "upside down": Image.Transpose.ROTATE_180,
    "to the right": Image.Transpose.ROTATE_270,
}


@pytest.fixture(scope="module")
def networks() -> Networks:
    return load_networks()


def _saved_turned(path: Path, turn: Image.Transpose, folder: Path) -> Path:
    """A copy without EXIF, so that nothing but the picture tells how it was turned."""
    copy = folder / path.name
    with Image.open(path) as image:
        image.convert("RGB").transpose(turn).save(copy, "JPEG", quality=95)
    return copy


def _told(found: Sighting | NotFound) -> bool:
    return isinstance(found, NotFound) and found.reason == TURNED


def test_no_demo_photo_as_it_is_is_told_to_be_turned(networks: Networks) -> None:
    assert not [path.name for path in DEMO if _told(locate(open_photo(path), networks))]


@pytest.mark.slow
@pytest.mark.parametrize("turn", TURNS)
def test_most_demo_photos_that_are_turned_are_told_so(
    networks: Networks, tmp_path: Path, turn: str
) -> None:
    photos = [open_photo(_saved_turned(path, TURNS[turn], tmp_path)) for path in ENGINES]
    told = sum(_told(locate(photo, networks)) for photo in photos)
    assert told / len(photos) >= 0.6


def test_a_photo_upside_down_is_answered_by_one_line_without_reasons(
    telltale: Telltale, tmp_path: Path
) -> None:
    (path,) = (path for path in DEMO if path.stem == "wayfarer_w1")
    copy = _saved_turned(path, TURNS["upside down"], tmp_path)
    code, out, err = telltale("date", copy, eye=load_eye())
    assert (code, err) == (0, "")
    assert out.count("turn it upright") == 1
    assert "310" not in out and "W1" not in out


class TopLit(Fixed):
    """A finder that is as sure of an engine as told where the top of the photo is lit."""

    def __init__(self, lit: float, dark: float) -> None:
        super().__init__(FINDER_SIZE)
        self.looks = 0
        self._lit, self._dark = (_maps(ENGINE, TENDER, score=score) for score in (lit, dark))

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        assert pixels.shape == (FINDER_SIZE[1], FINDER_SIZE[0], 3)
        self.looks += 1
        return {"maps": self._lit if pixels[:8, :200].mean() > 200 else self._dark}


def _top_lit(quarters: int) -> Photo:
    """A photo whose upper third is white, turned by so many quarters."""
    pixels = np.zeros((600, 900, 3), np.uint8)
    pixels[:200] = 255
    turned = np.ascontiguousarray(np.rot90(pixels, quarters))
    return Photo(turned, (turned.shape[1], turned.shape[0]), "0" * 64, "drawn.png")


def _looked(photo: Photo, *, lit: float, dark: float) -> tuple[Sighting | NotFound, int]:
    finder = TopLit(lit, dark)
    poser = _networks(_maps(ENGINE, TENDER))["poser"]
    networks = Networks({"finder": finder, "poser": poser}, fusion=LIMITS, version="fixed")
    return locate(photo, networks), finder.looks


@pytest.mark.parametrize("quarters", [1, 2, 3])
@pytest.mark.parametrize("dark", [0.1, 0.6])
def test_any_turn_is_told_whether_something_was_found_or_not(quarters: int, dark: float) -> None:
    found, _ = _looked(_top_lit(quarters), lit=0.9, dark=dark)
    assert _told(found)


def test_a_sure_finder_does_not_turn_the_photo() -> None:
    found, looks = _looked(_top_lit(0), lit=0.82, dark=0.0)
    assert isinstance(found, Sighting)
    assert looks == 1


@pytest.mark.parametrize(
    ("lit", "dark"),
    [(0.78, 0.72), (0.65, 0.1), (0.1, 0.1)],  # hardly better; better but unsure; nothing at all
)
def test_what_is_not_surely_better_turned_is_left_as_it_is(lit: float, dark: float) -> None:
    found, looks = _looked(_top_lit(2), lit=lit, dark=dark)
    assert not _told(found)
    assert looks > 3
