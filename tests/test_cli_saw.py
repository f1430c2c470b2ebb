"""`telltale date --saw`: one thing said of each part, and of which photos."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from conftest import Telltale
from vision.cli.date import EACH_OF_THEM
from vision.records import EvidenceError


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("cab_number=310", "cab_number=322"),
        ("switch_lever=present", "switch_lever=absent"),
        ("switch_lever=present", "switch_lever=unseen"),
        ("edge_stripe=red", "edge_stripe=cream"),
        ("tender=K", "tender=L"),
        ("axle_magnets=absent", "axle_magnets=present"),
    ],
)
def test_two_things_said_of_one_part_are_refused(
    telltale: Telltale, photo: Path, one: str, other: str
) -> None:
    code, out, err = telltale("date", photo, "--saw", one, "--saw", other)
    assert (code, out) == (EvidenceError.exit_code, "")
    assert err.count("\n") == 1 and one in err and other in err


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("cab_number=310", "cab_number = 310"),
        ("edge_stripe=present", "edge_stripe=red"),
        ("tender=K", "tender_axles=4"),
        ("switch_lever=absent", "side_linkage=present"),
    ],
)
def test_what_can_both_be_so_is_taken(
    telltale: Telltale, photo: Path, one: str, other: str
) -> None:
    code, _, err = telltale("date", photo, "--saw", one, "--saw", other)
    assert (code, err) == (0, "")


def test_what_was_seen_is_told_to_be_put_on_each_photo(telltale: Telltale, photo: Path) -> None:
    said = ("--saw", "axle_magnets=present")
    code, out, err = telltale("date", photo, photo, *said, "--json")
    assert (code, err) == (0, f"telltale: {EACH_OF_THEM}\n")
    for line in out.splitlines():
        by_hand = [c for c in json.loads(line)["cues"] if c.get("source") == "person"]
        assert [c["name"] for c in by_hand] == ["axle_magnets"]
    # Of one photo, of one engine, or with nothing said, there is nothing to tell.
    for arguments in ((photo, *said), (photo, photo, "--together", *said), (photo, photo)):
        assert telltale("date", *arguments)[2] == ""
