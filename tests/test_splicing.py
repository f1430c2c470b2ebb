"""Boiler tops stretched and made of two: what is known of them moves along with the pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from tools.train.splicing import Tops, spliced, stretched  # noqa: E402

ROWS, COLS = 32, 224


def _tops(columns: list[float], levers: list[bool]) -> Tops:
    """Crops with one bright column each, and that marked as a lever where there is one."""
    count = len(columns)
    pixels = torch.zeros(count, 3, ROWS, COLS)
    place = torch.zeros(count, 1, ROWS, COLS)
    for k, (column, lever) in enumerate(zip(columns, levers, strict=True)):
        near = (torch.arange(COLS) + 0.5 - column).abs() < 2
        pixels[k, :, :, near] = 1.0
        if lever:
            place[k, :, :, near] = 1.0
    state = torch.tensor(levers, dtype=torch.float32)
    ends = torch.tensor([[16.0, COLS - 16.0]] * count)
    own = torch.tensor(columns)
    return Tops(pixels, place, state, torch.ones(count), ends, own, state)


def _generator(seed: int) -> torch.Generator:
    generator = torch.Generator()
    generator.manual_seed(seed)
    return generator


@pytest.mark.parametrize("seed", range(5))
def test_a_stretched_top_shows_its_lever_where_it_is_asked_for(seed: int) -> None:
    columns = [float(c) for c in np.linspace(20, COLS - 20, 16)]
    out = stretched(_tops(columns, [True] * 16), _generator(seed), share=1.0)
    x = torch.arange(COLS) + 0.5
    bright = out.pixels[:, 0].sum(1)
    middle = (bright * x).sum(1) / bright.sum(1)
    assert middle.numpy() == pytest.approx(out.own.numpy(), abs=0.6)
    assert torch.allclose(out.pixels[:, :1], out.place, atol=1e-5)
    assert float((out.own - torch.tensor(columns)).abs().max()) > 3.0  # something moved
    assert bool((out.ends[:, 0] < out.ends[:, 1]).all())


def test_none_is_stretched_where_none_is_wanted() -> None:
    tops = _tops([60.0, 100.0], [True, False])
    out = stretched(tops, _generator(1), share=0.0)
    assert torch.allclose(out.pixels, tops.pixels, atol=1e-4)
    assert out.own.numpy() == pytest.approx(tops.own.numpy(), abs=0.01)


def test_a_place_beyond_the_crop_or_unknown_stays_so() -> None:
    tops = _tops([60.0, 100.0, 140.0], [False] * 3)
    places = torch.tensor([-20.0, COLS + 9.0, torch.nan])
    out = stretched(replace(tops, own=places), _generator(3), share=1.0)
    assert torch.equal(out.own.nan_to_num(-1.0), places.nan_to_num(-1.0))


@pytest.mark.parametrize("seed", range(8))
def test_a_spliced_top_says_what_its_two_halves_show(seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns = [float(c) for c in rng.uniform(30, COLS - 30, 24)]
    tops = _tops(columns, [k % 2 == 0 for k in range(24)])
    out = spliced(tops, _generator(seed), share=1.0)
    changed = (out.pixels != tops.pixels).flatten(1).any(1)
    assert 4 < int(changed.sum()) < 24  # and those whose lever the seam would cut are left
    assert torch.equal(out.present > 0.5, out.place.amax((1, 2, 3)) > 0.5)
    x = torch.arange(COLS) + 0.5
    for k in range(24):
        if not bool(out.own[k].isfinite()):
            continue
        near = (x - out.own[k]).abs() < 1.5
        assert bool((out.pixels[k, 0][:, near] == 1).all())  # the casting's place, be it empty
        assert bool((out.place[k, 0][:, near] > 0.5).all()) == bool(out.held[k] > 0.5)


def test_what_cannot_be_seen_is_not_spliced() -> None:
    tops = _tops([60.0, 100.0, 140.0, 80.0], [True, False, True, False])
    hidden = replace(tops, visible=torch.zeros(4))
    assert torch.equal(spliced(hidden, _generator(2), share=1.0).pixels, tops.pixels)
