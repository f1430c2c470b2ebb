"""Drawings on plain paper are told from photos, on pictures that others made as well."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage import data

from vision.features import measure_paper
from vision.locate import locate
from vision.network import Networks, load_networks
from vision.photo import photo_from_bytes
from vision.records import NotFound

DEMO = Path(__file__).parent.parent / "demo_images"


def paper(pixels: np.ndarray) -> tuple[float, float, float]:
    measured = measure_paper(pixels)
    assert [m.name for m in measured] == ["paper_share", "solid_share", "colour_spread"]
    share, solid, spread = (m.value for m in measured)
    return share, solid, spread


def colours(grey: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.repeat(grey[..., None], 3, axis=2))


def test_paper_is_counted_exactly() -> None:
    grey = np.full((40, 80), 230, np.uint8)
    grey[:10] = 20
    grey[10:20] = 205  # more than a tint darker than the paper
    share, _, spread = paper(colours(grey))
    assert share == pytest.approx(0.5)
    assert spread == 0.0


@pytest.mark.parametrize(("wide", "solid"), [(2, 0.0), (4, 0.0), (60, 0.9)])
def test_lines_are_not_solid_and_surfaces_are(wide: int, solid: float) -> None:
    """Upright bars on white: 5 pixels of 240 is what a line may be thick."""
    grey = np.full((120, 240), 250, np.uint8)
    for left in range(10, 231 - wide, max(2 * wide, 12)):
        grey[10:110, left : left + wide] = 40
    share, found, _ = paper(colours(grey))
    assert share > 0.4
    assert found == pytest.approx(solid, abs=0.06)


def test_dark_grounds_are_no_paper() -> None:
    assert paper(colours(np.full((40, 80), 120, np.uint8)))[0] == 0.0


@pytest.mark.parametrize("name", ["camera", "coins", "astronaut", "coffee", "chelsea", "rocket"])
def test_photos_are_not_drawn_on_paper(name: str) -> None:
    """The photographs that come with scikit-image."""
    picture = getattr(data, name)()
    assert paper(picture if picture.ndim == 3 else colours(picture))[0] < 0.4


def test_a_silhouette_is_solid_on_paper() -> None:
    """scikit-image's horse, of one bit a pixel: paper is what is not horse."""
    horse = np.asarray(data.horse())
    light = horse if horse.mean() > 0.5 else ~horse
    share, solid, spread = paper(colours(np.where(light, 255, 0).astype(np.uint8)))
    assert share == pytest.approx(light.mean())
    assert solid > 0.6
    assert spread == 0.0


@pytest.fixture(scope="module")
def networks() -> Networks:
    return load_networks()


def _jpeg(rgb: np.ndarray) -> bytes:
    return cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR))[1].tobytes()


@pytest.mark.parametrize("name", ["wayfarer_w1", "wayfarer_w3", "wayfarer_w6", "brindle_m3"])
def test_an_engine_in_lines_is_no_photo_of_one(name: str, networks: Networks) -> None:
    """Edges by Canny's method, drawn in black on white."""
    picture = cv2.cvtColor(cv2.imread(str(DEMO / f"{name}.jpg")), cv2.COLOR_BGR2RGB)
    assert not isinstance(locate(photo_from_bytes(_jpeg(picture), name), networks), NotFound)
    grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), (5, 5), 1.2)
    lines = 255 - cv2.dilate(cv2.Canny(grey, 40, 110), np.ones((2, 2), np.uint8))
    told = locate(photo_from_bytes(_jpeg(colours(lines)), name), networks)
    assert isinstance(told, NotFound)
    assert "only photos show" in told.reason
