"""What makes a picture hard is measured in the finished picture."""

from __future__ import annotations

import numpy as np
import pytest

from tools.render.hardships import hardships
from tools.render.view import MASK_BITS

BOX = [100.0, 80.0, 300.0, 160.0]
TOP = [[110.0, 80.0], [290.0, 80.0], [290.0, 110.0], [110.0, 110.0]]


def drawn(engine: int, ground: int, *, gleam: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """A grey block of an engine on a coloured ground, and its mask."""
    mask = np.zeros((240, 400), np.uint8)
    mask[80:160, 100:300] = MASK_BITS["locomotive"]
    picture = np.full((240, 400, 3), ground, np.uint8)
    picture[:40, :, 0] = 200  # something red above
    picture[80:160, 100:300] = engine
    picture[80:110, 110 : 110 + gleam] = 255
    return picture, mask


@pytest.mark.parametrize(
    ("engine", "ground", "gleam", "met"),
    [
        (30, 40, 0, ["dark before dark"]),
        (30, 140, 0, []),
        (140, 30, 0, []),
        (120, 140, 40, ["glare on the boiler"]),
        (120, 140, 8, []),
    ],
)
def test_an_engine_is_dark_before_dark_or_gleams(
    engine: int, ground: int, gleam: int, met: list[str]
) -> None:
    picture, mask = drawn(engine, ground, gleam=gleam)
    truth = {"locomotive": BOX, "regions": {"boiler_top": TOP}}
    assert hardships(truth, picture, mask) == met


def test_an_engine_is_small_by_the_frame() -> None:
    picture, mask = drawn(120, 140)
    wide = np.concatenate([picture] * 4, axis=1), np.pad(mask, ((0, 0), (0, 1200)))
    truth = {"locomotive": BOX, "regions": {}}
    assert hardships(truth, *wide) == ["engine small"]


@pytest.mark.parametrize("tint", [(0, 0, 0), (20, 8, -12)])
def test_prints_of_one_tint_have_no_colours(tint: tuple[int, int, int]) -> None:
    levels = np.random.default_rng(1).integers(20, 230, (240, 400, 1))
    picture = (levels + np.array(tint)).astype(np.uint8)
    _, mask = drawn(120, 140)
    truth = {"locomotive": BOX, "regions": {}}
    assert "without colours" in hardships(truth, picture, mask)


def test_without_an_engine_nothing_is_hard() -> None:
    picture, mask = drawn(30, 30)
    assert hardships({"locomotive": None}, picture, mask) == []
    assert hardships({"locomotive": BOX}, picture, np.zeros_like(mask)) == []
