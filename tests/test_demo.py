"""The demo photos: what they are said to be, the same from path and bytes, and read right."""

from __future__ import annotations

import hashlib
import io
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from vision.guide import load_guide
from vision.photo import open_photo, photo_from_bytes
from vision.pipeline import date_item, load_eye
from vision.records import Answer, Box, NotFound, Sighting, State
from vision.report import answer_json

FOLDER = Path(__file__).parent.parent / "demo_images"
MANIFEST: list[dict[str, Any]] = json.loads((FOLDER / "manifest.json").read_text("utf-8"))
BY_NAME = {entry["file"]: entry for entry in MANIFEST}
ENGINES = [
    name
    for name, entry in BY_NAME.items()
    if entry["truth"]["kind"] == "locomotive" and name != "top_cut_off.jpg"
]
MOST_BYTES = 400_000


@cache
def _dated(name: str) -> Answer:
    guide = load_guide(BY_NAME[name]["truth"]["guide"] or "wayfarer")
    return date_item([open_photo(FOLDER / name)], guide, load_eye())


def test_manifest_and_folder_hold_the_same_photos() -> None:
    assert {path.name for path in FOLDER.glob("*.jpg")} == set(BY_NAME)


@pytest.mark.parametrize("name", BY_NAME)
def test_hash_size_and_licence(name: str) -> None:
    content = (FOLDER / name).read_bytes()
    assert hashlib.sha256(content).hexdigest() == BY_NAME[name]["sha256"]
    assert len(content) < MOST_BYTES
    assert BY_NAME[name]["licence"] == "Apache-2.0"


def test_every_variation_of_both_guides_is_shown() -> None:
    for guide in ("wayfarer", "brindle"):
        shown = {e["truth"]["variation"] for e in MANIFEST if e["truth"]["guide"] == guide}
        assert shown == {v.id for v in load_guide(guide).variations}


@pytest.mark.parametrize("name", ["wayfarer_w3.jpg", "brindle_m4.jpg"])
def test_path_and_bytes_give_the_same_answer(name: str) -> None:
    guide = load_guide(BY_NAME[name]["truth"]["guide"])
    photo = photo_from_bytes((FOLDER / name).read_bytes(), str(FOLDER / name))
    assert answer_json(date_item([photo], guide, load_eye())) == answer_json(_dated(name))


@pytest.mark.parametrize("name", ENGINES)
def test_the_engine_is_found(name: str) -> None:
    sighting = _dated(name).sightings[0]
    assert isinstance(sighting, Sighting)
    truth = Box(*BY_NAME[name]["truth"]["locomotive"])
    assert sighting.locomotive.intersection_over_union(truth) >= 0.5
    assert sighting.faces.value == BY_NAME[name]["truth"]["faces"]


@pytest.mark.parametrize("name", ENGINES)
def test_no_cue_is_stated_wrongly_with_confidence(name: str) -> None:
    """Doubt may be said, but not a wrong state at 0.9 or more."""
    truth = BY_NAME[name]["truth"]["cues"]
    for cue in _dated(name).cues:
        if cue.name in truth and cue.state is not State.UNSEEN and cue.confidence >= 0.9:
            assert cue.state.value == truth[cue.name], cue


@pytest.mark.parametrize("name", [name for name in ENGINES if BY_NAME[name]["truth"]["guide"]])
def test_the_true_variation_stays_a_candidate(name: str) -> None:
    truth = BY_NAME[name]["truth"]
    estimate = _dated(name).estimate
    assert estimate is not None
    likely = {candidate.id for candidate in estimate.variations if candidate.p >= 0.05}
    assert truth["variation"] in likely


def test_a_cut_off_top_shows_no_lever_present_or_absent() -> None:
    """A picture whose top is cut off shows no lever, absent or present."""
    answer = _dated("top_cut_off.jpg")
    if isinstance(answer.sightings[0], NotFound):
        assert answer.estimate is None
        return
    lever = next(cue for cue in answer.cues if cue.name == "switch_lever")
    assert lever.state is State.UNSEEN


def _oriented(pixels: np.ndarray, orientation: int) -> bytes:
    """A PNG stored so that EXIF `orientation` turns it upright (CIPA DC-008, tag 0x0112)."""
    undo = {
        1: lambda p: p,
        2: lambda p: p[:, ::-1],
        3: lambda p: p[::-1, ::-1],
        4: lambda p: p[::-1],
        5: lambda p: p.transpose(1, 0, 2),
        6: lambda p: np.rot90(p, 1),
        7: lambda p: p.transpose(1, 0, 2)[::-1, ::-1],
        8: lambda p: np.rot90(p, -1),
    }[orientation]
    image = Image.fromarray(np.ascontiguousarray(undo(pixels)))
    exif = Image.Exif()
    exif[0x0112] = orientation
    stream = io.BytesIO()
    image.save(stream, "PNG", exif=exif, compress_level=1)
    return stream.getvalue()


def test_all_eight_orientations_give_the_same_answer() -> None:
    guide, eye = load_guide("wayfarer"), load_eye()
    with Image.open(FOLDER / "wayfarer_w5.jpg") as image:
        pixels = np.asarray(image.convert("RGB").resize((600, 450)))
    answers = []
    for orientation in range(1, 9):
        photo = photo_from_bytes(_oriented(pixels, orientation), "turned.png")
        answer = answer_json(date_item([photo], guide, eye))
        answer.pop("photos")
        answers.append(answer)
    assert answers[0]["sighting"] is not None
    assert all(answer == answers[0] for answer in answers[1:])
