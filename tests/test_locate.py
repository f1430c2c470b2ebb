"""From network outputs to boxes and regions: known maps in, known places out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from vision.locate import locate
from vision.locate.finder import Glimpse, find
from vision.network import Networks
from vision.records import Box, Heading, NotFound, Photo, Sighting

FINDER_SIZE, POSER_SIZE = (448, 352), (384, 192)
LIMITS = {"locate": {"finder": 0.3, "engine": 0.5, "tender": 0.4}}


class Fixed:
    """A network that always says the same; stands in for onnxruntime, patches nothing."""

    def __init__(self, size: tuple[int, int], **outputs: Any) -> None:
        self.size = size
        self._outputs = {k: np.asarray(v, dtype=np.float32) for k, v in outputs.items()}

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        assert pixels.shape == (self.size[1], self.size[0], 3)
        return self._outputs


def marked(*engines: tuple[Box, float], tender: Box | None = None, at: float = 0.8) -> np.ndarray:
    """Finder maps, in input pixels, that mark boxes at their centres' cells with their scores."""
    maps = np.zeros((12, FINDER_SIZE[1] // 8, FINDER_SIZE[0] // 8), np.float32)
    x = (np.arange(maps.shape[2]) + 0.5) * 8
    y = (np.arange(maps.shape[1]) + 0.5) * 8
    for index, boxes in enumerate((engines, () if tender is None else ((tender, at),))):
        for box, peak in boxes:
            cx, cy = box.centre
            near = np.exp(-(((x - cx) / 12) ** 2)[None, :] - (((y - cy) / 12) ** 2)[:, None])
            score = peak * near / near.max()
            sides = np.stack(
                np.broadcast_arrays(
                    x[None, :] - box.left,
                    y[:, None] - box.top,
                    box.right - x[None, :],
                    box.bottom - y[:, None],
                )
            )
            # Where several boxes are marked each cell tells of the one it speaks for.
            mine = score >= maps[index]
            told = maps[2 + 4 * index : 6 + 4 * index]
            told[:, mine] = np.maximum(sides, 0)[:, mine] / FINDER_SIZE[0]
            maps[index] = np.maximum(maps[index], score)
    return maps


def _maps(engine: Box, tender: Box, *, score: float = 0.9, tender_score: float = 0.8) -> np.ndarray:
    """Finder maps that mark one engine and its tender."""
    return marked((engine, score), tender=tender, at=tender_score)


def _networks(maps: np.ndarray, *, engine: float = 0.95, heading: int = 1) -> Networks:
    corners = np.tile([[0.8, 0.2], [0.3, 0.2], [0.3, 0.4], [0.8, 0.4]], (3, 1))
    poser = Fixed(
        POSER_SIZE,
        corners=corners,
        heading=np.eye(4)[heading],
        sight=[0.9, 0.8, 0.7],
        box=[0.15 / 1.3, 0.15 / 1.3, 1.15 / 1.3, 1.15 / 1.3],
        engine=[engine],
    )
    finder = Fixed(FINDER_SIZE, maps=maps)
    return Networks(networks={"finder": finder, "poser": poser}, fusion=LIMITS, version="fixed")


# Input pixels; the photo is 896 wide, so that one input pixel is two of the photo.
ENGINE, TENDER = Box(100, 80, 300, 160), Box(300, 90, 380, 160)
PHOTO = Photo(np.full((600, 896, 3), 128, np.uint8), (896, 600), "0" * 64, "drawn.png")


def test_marked_boxes_come_back_in_photo_pixels() -> None:
    glimpse = find(PHOTO, _networks(_maps(ENGINE, TENDER)))
    assert glimpse.locomotive.as_tuple() == pytest.approx(ENGINE.scaled(2).as_tuple(), abs=0.5)
    assert glimpse.tender.as_tuple() == pytest.approx(TENDER.scaled(2).as_tuple(), abs=0.5)


def test_an_engine_at_the_edge_of_the_map_is_found_too() -> None:
    box = Box(0, 0, 60, 30)
    glimpse = find(PHOTO, _networks(_maps(box, TENDER)))
    assert glimpse.locomotive.intersection_over_union(box.scaled(2)) > 0.8


class Turning(Fixed):
    """A finder that says something else at every look."""

    def __init__(self, *answers: np.ndarray) -> None:
        super().__init__(FINDER_SIZE)
        self.seen: list[np.ndarray] = []
        self._answers = answers

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        self.seen.append(pixels)
        return {"maps": self._answers[len(self.seen) - 1]}


def _found(*looks: np.ndarray) -> tuple[Glimpse, int]:
    finder = Turning(*looks)
    glimpse = find(PHOTO, Networks({"finder": finder}, fusion=LIMITS, version="fixed"))
    return glimpse, len(finder.seen)


SEEN = Box(150, 100, 250, 140)


@pytest.mark.parametrize(
    ("near", "sharp", "back", "surest"),
    [(0.3, 0.4, 0.8, "back"), (0.3, 0.8, 0.4, "sharp"), (0.3, 0.3, 0.4, "first")],
)
def test_an_unsure_finder_looks_again_and_the_surest_look_counts(
    near: float, sharp: float, back: float, surest: str
) -> None:
    scores = (0.5, near, sharp, back)
    boxes = (ENGINE, SEEN, SEEN, SEEN)
    looks = [_maps(box, TENDER, score=s) for box, s in zip(boxes, scores, strict=True)]
    glimpse, count = _found(*looks)
    assert count == 4
    # Seen from two fifths as far again, shrunk about the middle of the 448 by 352 input.
    edges = zip(SEEN.as_tuple(), (224, 176) * 2, strict=True)
    further = Box(*((edge - middle) * 1.4 + middle for edge, middle in edges))
    expected = {"first": ENGINE, "sharp": SEEN, "back": further}[surest].scaled(2)
    assert glimpse.locomotive.as_tuple() == pytest.approx(expected.as_tuple(), abs=2.0)
    assert glimpse.score == pytest.approx(max(scores))


def test_what_may_be_an_engine_is_looked_at_from_nearer_and_that_may_do() -> None:
    small = Box(200, 100, 240, 116)
    glimpse, count = _found(
        _maps(small, TENDER, score=0.3), _maps(Box(112, 132, 336, 220), TENDER, score=0.9)
    )
    assert count == 2
    # 0.3 of the photo's 896 pixels fill the input's 448, round the middle of what was seen.
    x, y = small.scaled(2).centre
    scale = 0.3 * 896 / 448
    expected = (x - 112 * scale, y - 44 * scale, x + 112 * scale, y + 44 * scale)
    assert glimpse.locomotive.as_tuple() == pytest.approx(expected, abs=1.0)


def test_the_tender_is_the_one_of_the_look_that_shows_it_best() -> None:
    glimpse, _ = _found(
        _maps(ENGINE, TENDER, score=0.5, tender_score=0.8),
        _maps(SEEN, Box(10, 10, 40, 30), score=0.9, tender_score=0.3),
    )
    assert glimpse.tender.as_tuple() == pytest.approx(TENDER.scaled(2).as_tuple(), abs=0.5)
    assert glimpse.tender_score == pytest.approx(0.8)


def test_a_sure_finder_looks_once() -> None:
    finder = Turning(_maps(ENGINE, TENDER, score=0.9))
    find(PHOTO, Networks({"finder": finder}, fusion=LIMITS, version="fixed"))
    assert len(finder.seen) == 1


def test_second_look_gives_regions_heading_and_a_box() -> None:
    sighting = locate(PHOTO, _networks(_maps(ENGINE, TENDER)))
    assert isinstance(sighting, Sighting)
    assert sighting.faces is Heading.RIGHT
    assert sighting.locomotive.as_tuple() == pytest.approx(ENGINE.scaled(2).as_tuple(), abs=1.0)
    # The crop reaches 15 % beyond the box: 0.8 of its width lies at 200 + (0.8 * 1.3 - 0.15) * 400.
    assert sighting.regions["side_rods"][0][0] == pytest.approx(556, abs=1)
    assert sighting.visible["running_board"] == pytest.approx(0.7, abs=1e-6)
    assert sighting.tender is not None


def test_an_unsure_tender_is_not_stated() -> None:
    sighting = locate(PHOTO, _networks(_maps(ENGINE, TENDER, tender_score=0.2)))
    assert isinstance(sighting, Sighting)
    assert sighting.tender is None


@pytest.mark.parametrize(
    ("maps", "engine", "reason"),
    [
        (_maps(ENGINE, TENDER, score=0.1), 0.95, "no steam locomotive was recognised"),
        (_maps(ENGINE, TENDER), 0.05, "not clearly a steam locomotive"),
        (_maps(Box(100, 80, 112, 90), TENDER), 0.95, "pixels wide; move closer"),
    ],
)
def test_not_found_says_why_and_is_false(maps: np.ndarray, engine: float, reason: str) -> None:
    found = locate(PHOTO, _networks(maps, engine=engine))
    assert isinstance(found, NotFound)
    assert not found
    assert reason in found.reason
