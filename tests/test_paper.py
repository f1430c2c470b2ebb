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


def paper(pixels: np.ndarray) -> tuple[float, float]:
    share, spread = measure_paper(pixels)
    assert (share.name, spread.name) == ("paper_share", "colour_spread")
    return share.value, spread.value


def colours(grey: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.repeat(grey[..., None], 3, axis=2))


def test_paper_is_counted_exactly() -> None:
    grey = np.full((40, 80), 230, np.uint8)
    grey[:10] = 20
    grey[10:20] = 205  # more than a tint darker than the paper
    assert paper(colours(grey)) == (pytest.approx(0.5), 0.0)


def test_dark_grounds_are_no_paper() -> None:
    assert paper(colours(np.full((40, 80), 120, np.uint8)))[0] == 0.0


@pytest.mark.parametrize("name", ["camera", "coins", "astronaut", "coffee", "chelsea", "rocket"])
def test_photos_are_not_drawn_on_paper(name: str) -> None:
    """The photographs that come with scikit-image."""
    picture = getattr(data, name)()
    assert paper(picture if picture.ndim == 3 else colours(picture))[0] < 0.4


def test_a_silhouette_is_drawn_on_paper() -> None:
    """scikit-image's horse, of one bit a pixel: paper is what is not horse."""
    horse = np.asarray(data.horse())
    light = horse if horse.mean() > 0.5 else ~horse
    share, spread = paper(colours(np.where(light, 255, 0).astype(np.uint8)))
    assert share == pytest.approx(light.mean())
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
