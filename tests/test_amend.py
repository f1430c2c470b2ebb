"""A fit of which only some is made anew."""

from __future__ import annotations

from typing import Any

from tools.calibrate.amend import amended

OLD, NEW = 1.0, 2.0


def fusion(value: float, span: tuple[int, int]) -> dict[str, Any]:
    both = {"seen": value, "present": value, "seen_at_least": value}
    cues = ("switch_lever", "side_linkage")
    return {
        "cues": {cue: dict(both) for cue in cues},
        "driving_axles": value,
        "fitted": {
            "n": int(value),
            "scenes": int(value),
            "date": "2000-01-01",
            "rules": {},
            "series": {"held-1": list(span)},
            "cues": {cue: {"seen": value, "present": value, "stated": value} for cue in cues},
        },
    }


def test_what_is_not_named_stays_and_scenes_of_both_count_as_used() -> None:
    before = fusion(OLD, (0, 9))
    out = amended(before, fusion(NEW, (5, 20)), ["side_linkage"])
    assert out["cues"]["side_linkage"]["seen"] == NEW
    assert out["cues"]["switch_lever"]["present"] == out["driving_axles"] == OLD
    assert out["fitted"]["series"] == {"held-1": [0, 20]}
    assert out["fitted"]["again"][-1]["only"] == ["side_linkage"]
    assert before == fusion(OLD, (0, 9))  # nothing of it is changed


def test_whether_a_part_can_be_seen_may_be_kept() -> None:
    only = ["side_linkage", "driving_axles"]
    out = amended(fusion(OLD, (0, 9)), fusion(NEW, (5, 20)), only, keep_seen=True)
    assert out["cues"]["side_linkage"] == {"seen": OLD, "present": NEW, "seen_at_least": OLD}
    assert out["fitted"]["cues"]["side_linkage"] == {"seen": OLD, "present": NEW, "stated": OLD}
    assert out["driving_axles"] == NEW
    assert out["fitted"]["again"][-1]["keep_seen"] is True


def test_of_earlier_fits_what_has_been_made_anew_is_struck_out() -> None:
    first = amended(fusion(OLD, (0, 9)), fusion(NEW, (0, 9)), ["switch_lever", "side_linkage"])
    second = amended(first, fusion(3.0, (0, 9)), ["side_linkage"])
    third = amended(second, fusion(4.0, (0, 9)), ["switch_lever"])
    assert [fit["only"] for fit in second["fitted"]["again"]] == [
        ["switch_lever"],
        ["side_linkage"],
    ]
    assert [fit["only"] for fit in third["fitted"]["again"]] == [["side_linkage"], ["switch_lever"]]
