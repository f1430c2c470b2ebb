"""The made listings say what the labels say, and their figures are counted right."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listing_files import write_photos
from tools.listings_made import KINDS, made_listing, make, read_engines
from tools.listings_set import table, tally
from vision.guide import load_guide
from vision.records import BINARY_CUES, State

GUIDE = load_guide("wayfarer")


def label(job: int, view: int, variation: str, hidden: tuple[str, ...] = ()) -> dict[str, Any]:
    """One picture's label, as `tools.render` writes it, of an engine as made."""
    expects = GUIDE.variation(variation).expects
    return {
        "file": f"g-{job}_{view}.jpg",
        "kind": "locomotive",
        "job": job,
        "variation": {"guide": "wayfarer", "id": variation},
        "cues": {c: {"state": expects[c].value, "visible": c not in hidden} for c in BINARY_CUES},
    }


@pytest.fixture
def pictures(tmp_path: Path) -> Path:
    labels = [
        label(0, 0, "W1"),
        label(0, 1, "W1", ("switch_lever",)),
        label(1, 0, "W6"),
        label(2, 0, "W4", ("edge_stripe",)),
    ]
    (tmp_path / "labels-guide-00.jsonl").write_text(
        "\n".join(map(json.dumps, labels)), encoding="utf-8"
    )
    write_photos(tmp_path, [x["file"] for x in labels])
    return tmp_path


def test_every_claim_is_as_true_as_the_labels_say(pictures: Path) -> None:
    engines = read_engines(pictures)
    assert [len(e.labels) for e in engines] == [2, 1, 1]
    random = np.random.default_rng(1)
    for _ in range(300):
        for kind in KINDS:
            engine = engines[int(random.integers(len(engines)))]
            made = made_listing(engine, kind, GUIDE, random)
            if made is None:
                continue
            shown, claims = made
            assert [c.true for c in claims].count(False) <= 1
            if kind == "wrong":
                assert [c.true for c in claims].count(False) == 1
            for claim in claims:
                if claim.about == "year":
                    fits = int(claim.value) in GUIDE.variation(engine.variation).years
                    assert fits is claim.true
                else:
                    assert (engine.state(claim.about) is State(claim.value)) is claim.true
                    assert shown.shows(claim.about) is (kind != "undecidable")


def test_tables_and_truth_belong_together(pictures: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    truth = make(pictures, out, 30, 0)
    with (out / "wayfarer" / "listings.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["id"] for row in rows] == list(truth)
    assert [t["kind"] for t in truth.values()] == list(KINDS) * 10
    for row in rows:
        assert all((out / "wayfarer" / name).is_file() for name in row["photos"].split("|"))
    assert make(pictures, tmp_path / "again", 30, 0) == truth
    assert make(pictures, tmp_path / "other", 30, 1) != truth


def record(id: str, verdict: str, *claims: tuple[str, str, str]) -> dict[str, Any]:
    told = [{"about": a, "kind": "part", "value": v, "verdict": w} for a, v, w in claims]
    return {"id": id, "verdict": verdict, "claims": told}


def test_the_figures_are_counted_right() -> None:
    truth = {
        "a": {"kind": "true", "altered": False, "claims": [["switch_lever", "present", True]]},
        "b": {
            "kind": "true",
            "altered": False,
            "claims": [["switch_lever", "present", True], ["year", "1934", True]],
        },
        "c": {"kind": "wrong", "altered": False, "claims": [["switch_lever", "absent", False]]},
        "d": {"kind": "wrong", "altered": False, "claims": [["switch_lever", "absent", False]]},
        "e": {
            "kind": "undecidable",
            "altered": False,
            "claims": [["switch_lever", "absent", False]],
        },
    }
    figures = tally(
        [
            record("a", "supported", ("switch_lever", "present", "supported")),
            record("b", "contradicted", ("switch_lever", "present", "contradicted")),
            record("c", "contradicted", ("switch_lever", "absent", "contradicted")),
            record("d", "supported", ("switch_lever", "absent", "supported")),
            record("e", "cannot tell", ("switch_lever", "absent", "cannot tell")),
        ],
        truth,
    )
    assert figures == {
        "claims read from the text": [5, 6],
        "contradictions found": [1, 2],
        "contradictions found: engine as made": [1, 2],
        "contradictions found: switch_lever": [1, 2],
        "false contradictions, by listing": [1, 2],
        "true claims contradicted": [1, 3],
        "true claims supported": [1, 3],
        "true years contradicted: engine as made": [0, 1],
        "undecidable left undecided": [1, 1],
        "wrong claims supported": [1, 2],
    }
    assert "| contradictions found | 50.0% | 9.5% to 90.5% | 1 of 2 |" in table(figures)
