"""A lens that is sharp at one distance, against the thin lens of textbooks."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from tools.focus import disc_radius, out_of_focus
from tools.render.lens import through_lens

PITCH = 1.4e-6  # metres of the sensor for one pixel


@pytest.mark.parametrize("distance", [0.2, 0.35, 0.5, 0.9, 4.0, 1e6])
def test_discs_are_those_of_the_lens_equation(distance: float) -> None:
    """1/v = 1/f - 1/d; the cone behind the lens is cut where the sensor is (Hecht, "Optics")."""
    focal, aperture, focus = 5.6e-3, 3.1e-3, 0.5
    sensor = 1.0 / (1.0 / focal - 1.0 / focus)
    image = 1.0 / (1.0 / focal - 1.0 / distance)
    cone = aperture * (sensor - image) / image
    got = disc_radius(
        np.float32([distance]), focus=focus, aperture=aperture, focal_px=sensor / PITCH
    )
    assert 2.0 * got[0] * PITCH == pytest.approx(cone, rel=1e-4, abs=1e-9)


def test_at_the_hyperfocal_distance_the_surroundings_are_just_sharp() -> None:
    """H = f^2 / (N c) + f: focused there, infinity is blurred to c (handbook formula)."""
    focal, number, circle = 50e-3, 8.0, 30e-6
    hyperfocal = focal**2 / (number * circle) + focal
    sensor = 1.0 / (1.0 / focal - 1.0 / hyperfocal)
    got = disc_radius(
        np.float32([np.inf]), focus=hyperfocal, aperture=focal / number, focal_px=sensor / PITCH
    )
    assert 2.0 * got[0] * PITCH == pytest.approx(circle, rel=1e-3)


def _noise() -> np.ndarray:
    return np.random.default_rng(3).uniform(0.0, 2.0, (60, 80, 3)).astype(np.float32)


def test_what_is_sharp_stays_as_it_is() -> None:
    light = _noise()
    assert np.array_equal(out_of_focus(light, np.full((60, 80), 0.3, np.float32)), light)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_one_colour_stays_one_colour_whatever_the_distances(side: float) -> None:
    radius = np.linspace(0.0, 1.4 * side, 80, dtype=np.float32)[None].repeat(60, axis=0)
    out = out_of_focus(np.full((60, 80, 3), 0.7, np.float32), radius)
    assert out == pytest.approx(0.7, abs=1e-4)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_point_becomes_a_disc_of_its_light(side: float) -> None:
    light = np.zeros((300, 300, 3), np.float32)
    light[150, 150] = 5.0
    out = out_of_focus(light, np.full((300, 300), 4.0 * side, np.float32))
    assert float(out[..., 0].sum()) == pytest.approx(5.0, rel=1e-3)
    rows, cols = np.nonzero(out[..., 0] > 1e-4)
    assert 7 <= np.ptp(rows) <= 11
    assert 7 <= np.ptp(cols) <= 11
    area = (out[..., 0] > 0.5 * out.max()).sum()
    assert area == pytest.approx(np.pi * 4.0**2, rel=0.35)


def test_what_lies_behind_never_spills_over_what_is_sharp() -> None:
    light, radius = np.zeros((300, 300, 3), np.float32), np.full((300, 300), 5.0, np.float32)
    light[:, :150], radius[:, 150:] = 3.0, 0.0
    out = out_of_focus(light, radius)
    assert np.array_equal(out[:, 150:], light[:, 150:])
    assert out[:, :150] == pytest.approx(3.0, abs=1e-4)


def test_what_lies_before_spreads_over_what_is_sharp() -> None:
    light, radius = np.zeros((300, 300, 3), np.float32), np.zeros((300, 300), np.float32)
    light[:, :150], radius[:, :150] = 3.0, -5.0
    out = out_of_focus(light, radius)[150, :, 0]
    assert out[151] == pytest.approx(1.4, abs=0.4)
    assert out[140] == pytest.approx(3.0, abs=1e-4)
    assert out[160] == pytest.approx(0.0, abs=1e-6)
    assert np.all(np.diff(out) <= 1e-6)


def test_sizes_must_agree() -> None:
    with pytest.raises(ValueError, match="expected"):
        out_of_focus(_noise(), np.zeros((60, 79), np.float32))


class Seen:
    """What `through_lens` asks of a view: a slope that recedes, with an engine standing on it."""

    size, fov = (320, 240), 12.0

    def __init__(self, *, lever: bool) -> None:
        rows = np.arange(240, dtype=np.float32)[:, None]
        self.depth = np.repeat(0.4 + (239.0 - rows) / 240.0, 320, axis=1).astype(np.float32)
        self.engine = np.zeros((240, 320), bool)
        self.engine[96:200, 40:280] = True
        self.engine[84:96, 160:164] = lever
        self.hits, self.stage = self, self
        self.parts = (SimpleNamespace(owner="locomotive"),)

    def pixels_of(self, chosen: np.ndarray) -> np.ndarray:
        return self.engine & bool(chosen[0])


def test_twins_are_photographed_alike_and_the_engine_sharply() -> None:
    light = np.random.default_rng(3).uniform(0.0, 2.0, (240, 320, 3)).astype(np.float32)
    changed = 0
    for seed in range(20):
        views = [Seen(lever=lever) for lever in (False, True)]
        one, two = (through_lens(np.random.default_rng(seed), light, view) for view in views)
        kept = [np.abs(shown - light).max(axis=2) < 1e-6 for shown in (one, two)]
        # Somewhere on the engine both are as sharp as the light itself.
        assert (kept[0] & kept[1] & views[0].engine).any()
        assert (kept[0] == kept[1]).mean() > 0.85
        changed += not kept[0].all()
    assert 10 <= changed < 20
