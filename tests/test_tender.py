"""The tender's counter: what it says of a tender and of its mirror image."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy import stats

from vision.cues.tender import _SURE, TenderLooks, count, counted, look_at_tender
from vision.locate import locate
from vision.network import Networks, load_networks
from vision.photo import photo_from_bytes
from vision.records import Box, Sighting

DEMO = Path(__file__).parent.parent / "demo_images"


@pytest.mark.parametrize("name", ["wayfarer_w1", "wayfarer_w5", "wayfarer_w4_swapped_tender"])
def test_a_tender_in_a_mirror_has_as_many_axles(name: str) -> None:
    """Turning a picture over leaves the count of what is in it (geometry)."""
    networks = load_networks()
    photo = photo_from_bytes((DEMO / f"{name}.jpg").read_bytes(), name)
    sighting = locate(photo, networks)
    assert isinstance(sighting, Sighting)
    assert sighting.tender is not None
    box, width = sighting.tender, photo.size[0]
    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(photo.pixels[:, ::-1])).save(stream, "PNG")
    turned = photo_from_bytes(stream.getvalue(), "turned")
    there = Box(width - box.right, box.top, width - box.left, box.bottom)
    plain, mirrored = count(photo, box, networks), count(turned, there, networks)
    if max(*plain.axles, *mirrored.axles) < _SURE:  # both looked at both
        assert mirrored.axles == pytest.approx(plain.axles, abs=0.02)
        assert mirrored.lamps == pytest.approx(plain.lamps, abs=0.02)
    assert np.argmax(mirrored.axles) == np.argmax(plain.axles)
    assert sum(plain.axles) == pytest.approx(1.0)


class _Counter:
    """Says that the side is narrow and where its corners are; keeps what it was shown."""

    size, margin = (256, 160), (16, 12)
    corners = np.array([[0.2, 0.25], [0.55, 0.1], [0.5, 0.9], [0.25, 0.7]], np.float32)

    def __init__(self, corners: np.ndarray | None = None) -> None:
        self.corners = type(self).corners if corners is None else corners
        self.shown: list[np.ndarray] = []

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        self.shown.append(pixels)
        axles = [0.0, 0.0, 0.9, 0.1, 0.0, 0.0, 0.0] if len(self.shown) == 3 else [0, 0, 0.3, 0.7]
        return {
            "axles": np.array([*axles, *[0.0] * (7 - len(axles))], np.float32),
            "lamps": np.array([1.0, 0.0, 0.0], np.float32),
            "countable": np.array([0.9, 0.0], np.float32),
            "corners": np.stack([self.corners, self.corners]),
        }


def test_a_narrow_side_is_straightened_as_opencv_does_it() -> None:
    counter = _Counter()
    networks = Networks({"tender": counter}, {}, "1")  # type: ignore[dict-item]
    shade = np.add.outer(np.linspace(0, 120, 600), np.linspace(0, 120, 800)).astype(np.uint8)
    stream = io.BytesIO()
    Image.fromarray(np.stack([shade] * 3, 2)).save(stream, "PNG")
    photo = photo_from_bytes(stream.getvalue(), "made")
    box = Box(100, 80, 500, 400)
    looks = look_at_tender(photo, box, networks)
    assert looks.mirrored is not None and looks.side is not None
    assert looks.rear is None  # it cannot be counted anyway
    padded = box.padded(0.12)
    span = np.array([padded.width, padded.height])
    there = (np.array([padded.left, padded.top]) + counter.corners * span).astype(np.float32)
    target = np.array([[16, 12], [240, 12], [240, 148], [16, 148]], np.float32)
    matrix = cv2.getPerspectiveTransform(there, target)
    expected = cv2.warpPerspective(photo.pixels, matrix, (256, 160))
    gap = np.abs(expected[10:-10, 10:-10].astype(int) - counter.shown[2][10:-10, 10:-10])
    assert gap.max() <= 2


def test_a_wide_side_is_straightened_where_its_axles_are_unsure() -> None:
    wide = np.array([[0.1, 0.2], [0.9, 0.1], [0.9, 0.9], [0.1, 0.8]], np.float32)
    stream = io.BytesIO()
    Image.fromarray(np.full((600, 800, 3), 90, np.uint8)).save(stream, "PNG")
    photo = photo_from_bytes(stream.getvalue(), "made")
    networks = Networks({"tender": _Counter(wide)}, {}, "1")  # type: ignore[dict-item]
    looks = look_at_tender(photo, Box(100, 80, 500, 400), networks)
    assert looks.mirrored is not None and looks.side is not None and looks.rear is None


def test_looks_at_one_tender_are_joined_by_their_geometric_mean() -> None:
    """Against SciPy's: of the box and its mirror image first, then with the straightened side."""
    rng = np.random.default_rng(2)
    said = [
        {
            "axles": rng.dirichlet(np.full(7, 2.0)).astype(np.float32),
            "lamps": rng.dirichlet(np.full(3, 2.0)).astype(np.float32),
            "countable": rng.uniform(0, 1, 2).astype(np.float32),
        }
        for _ in range(4)
    ]
    counts = counted(TenderLooks(*said))
    for name, face in (("axles", said[2]), ("lamps", said[3])):
        both = stats.gmean(np.stack([said[0][name], said[1][name]]).astype(float), axis=0)
        mean = stats.gmean(np.stack([both / both.sum(), face[name]]).astype(float), axis=0)
        assert getattr(counts, name) == pytest.approx(mean / mean.sum(), abs=1e-4)
    alone = counted(TenderLooks(said[0], None, None, None))
    assert alone.lamps == pytest.approx(said[0]["lamps"], abs=1e-4)
