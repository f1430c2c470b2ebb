"""Labels of renderers that know nothing of the studio, in this project's words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tools.evaluate.targets import TARGETS
from tools.look import read_labels
from tools.others import CHOSEN, gather, relabelled
from vision.records import BINARY_CUES


def theirs(**changes: Any) -> dict[str, Any]:
    known: dict[str, Any] = {
        "file": "wax-1-12_0.jpg",
        "size": [1008, 756],
        "locomotive": [200.0, 300.0, 700.0, 520.0],
        "locomotive_share": 1.0,
        "tender": [20.0, 350.0, 205.0, 520.0],
        "tender_share": 1.0,
        "faces": "right",
        "off_axis_deg": 80.0,
        "wheels": "2-6-0",
        "boiler_top_length_px": 300.0,
        "rods_length_px": 250.0,
        "tender_axles": 3,
        "tender_side_seen": True,
        "cues": {
            "switch_lever": {"state": "present", "distinct_px": 40, "along": 0.5},
            "side_linkage": {"state": "absent", "distinct_px": 300},
            "edge_stripe": {"state": "present", "distinct_px": 900},
        },
    }
    return known | changes


def with_lever(**changes: Any) -> dict[str, Any]:
    cues = theirs()["cues"]
    return theirs(cues=cues | {"switch_lever": cues["switch_lever"] | changes})


def label(known: dict[str, Any]) -> dict[str, Any]:
    ours = relabelled(known)
    assert ours is not None
    return ours


def test_a_cue_is_visible_where_a_picture_differs_from_its_twin() -> None:
    assert label(theirs())["cues"]["switch_lever"]["visible"]
    assert not label(with_lever(distinct_px=14))["cues"]["switch_lever"]["visible"]
    assert label(with_lever(state="absent"))["cues"]["switch_lever"]["visible"]


def test_no_cue_is_visible_on_an_engine_too_small_for_it() -> None:
    small = label(theirs(boiler_top_length_px=60.0, rods_length_px=50.0))
    assert not any(small["cues"][cue]["visible"] for cue in BINARY_CUES)


@pytest.mark.parametrize(("letter", "cue"), list(zip("abc", BINARY_CUES, strict=True)))
def test_a_twin_is_named_as_this_project_names_twins(letter: str, cue: str) -> None:
    ours = label(theirs(file=f"wax-1-12_0{letter}.jpg"))
    assert ours["twin_cue"] == cue
    assert ours["file"] == f"wax-1-12_0t{'abc'.index(letter) + 1}.jpg"
    assert ours["job"] == label(theirs())["job"] == "wax-1-12"


def test_axles_count_where_the_tender_s_side_is_in_sight() -> None:
    assert label(theirs())["axles_visible"]
    for hidden in ({"tender_share": 0.5}, {"tender": None}, {"tender_side_seen": False}):
        assert not label(theirs(**hidden))["axles_visible"]


def test_an_engine_seen_end_on_is_left_out() -> None:
    assert relabelled(theirs(off_axis_deg=30.0)) is None


def test_a_file_of_another_name_is_refused() -> None:
    with pytest.raises(ValueError, match="expected name-1-2_3"):
        relabelled(theirs(file="picture.png"))


def test_gathered_labels_are_those_that_are_looked_at(tmp_path: Path) -> None:
    source, out = tmp_path / "wax", tmp_path / "out"
    source.mkdir()
    files = ("wax-1-12_0.jpg", "wax-1-12_0a.jpg", "wax-1-13_0.jpg")
    lines = [json.dumps(theirs(file=file)) for file in files]
    (source / "labels.jsonl").write_text("\n".join(lines), encoding="utf-8")
    for file in files[:2]:
        (source / file).write_bytes(b"picture")
    assert gather([source], out) == 2  # one is not drawn yet
    found = read_labels(out)
    assert [each["file"] for each in found] == ["wax-1-12_0.jpg", "wax-1-12_0t1.jpg"]
    assert all((out / each["file"]).read_bytes() == b"picture" for each in found)
    assert {each["split"] for each in found} == {"others"}


def test_what_something_was_chosen_by_is_a_set_of_its_own(tmp_path: Path) -> None:
    source, out = tmp_path / "wax", tmp_path / "out"
    source.mkdir()
    (source / "labels.jsonl").write_text(json.dumps(theirs()), encoding="utf-8")
    (source / "wax-1-12_0.jpg").write_bytes(b"picture")
    assert gather([source], out, split=CHOSEN) == 1
    assert read_labels(out)[0]["split"] not in TARGETS
