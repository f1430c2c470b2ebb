"""The tender's counter: what it says of a tender and of its mirror image."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from vision.cues.tender import _SURE, count
from vision.locate import locate
from vision.network import load_networks
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
