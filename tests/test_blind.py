"""Sheets for a reader who does not know the truth, and the comparison with them."""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from sklearn.metrics import balanced_accuracy_score

import made_looks
from tools import blind
from tools.evaluate import reader
from tools.evaluate.numbers import NAME
from tools.looks import judge, read_looks
from tools.render.view import MASK_BITS
from vision.records import Cue, State

LEVER = "switch_lever"
REGION = [[60.0, 100.0], [260.0, 100.0], [260.0, 140.0], [60.0, 140.0]]


def _label(number: int, job: int) -> dict[str, Any]:
    cue = {"state": ("present", "absent")[number % 2], "visible": number % 5 != 0}
    return {
        "file": f"held-2-{job:06d}_{number}.jpg",
        "kind": "locomotive",
        "job": job,
        "regions": dict.fromkeys(("boiler_top", "side_rods", "running_board"), REGION),
        "cues": {LEVER: {**cue, "along": 0.25}, "side_linkage": cue, "edge_stripe": cue},
        "cab_number": str(100 + number),
        "cab_number_px": 20.0 if number % 3 else 8.0,
        "cab_number_visible": True,
    }


@pytest.fixture
def pictures(tmp_path: Path) -> Path:
    folder = tmp_path / "pictures"
    folder.mkdir()
    labels = [_label(n, job=n // 4) for n in range(80)]
    rng = np.random.default_rng(0)
    mask = np.zeros((240, 320), np.uint8)
    mask[110:130, 200:240] = MASK_BITS[NAME]
    for label in labels:
        path = folder / label["file"]
        cv2.imwrite(str(path), rng.integers(0, 255, (240, 320, 3), dtype=np.uint8))
        cv2.imwrite(str(path.with_suffix(".mask.png")), mask)
    (folder / "labels-0.jsonl").write_text("".join(json.dumps(k) + "\n" for k in labels))
    return folder


def test_the_key_tells_the_truth_of_parts_that_can_be_seen(
    pictures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "blind"
    words = ["--pictures", str(pictures), "--out", str(out), "--each", "10", "--examples", "4"]
    monkeypatch.setattr(sys, "argv", ["blind", *words])
    blind.main()
    key = json.loads((out / "key.json").read_text())
    labels = {label["file"]: label for label in (_label(n, n // 4) for n in range(80))}
    assert Counter(told["what"] for told in key.values())[LEVER] == 10
    assert len({(told["file"], told["what"]) for told in key.values()}) == len(key)
    for told in key.values():
        label = labels[told["file"]]
        if told["what"] == NAME:
            assert told["truth"] == label["cab_number"]
            assert label["cab_number_px"] >= 12
        else:
            assert told["truth"] == label["cues"][told["what"]]["state"]
            assert label["cues"][told["what"]]["visible"]
    for what in (LEVER, NAME):
        engines = Counter(
            labels[told["file"]]["job"] for told in key.values() if told["what"] == what
        )
        assert max(engines.values()) <= 2
    assert {path.name for path in out.glob("*lever*")} == {
        "switch_lever_0.png",
        "examples_switch_lever_0.png",
    }


def test_the_arrow_points_at_the_levers_place(pictures: Path) -> None:
    label = _label(1, 0)
    plain, marked = (blind.tile(pictures, label, what) for what in ("side_linkage", LEVER))
    assert plain is not None
    assert marked is not None
    below = marked[plain.shape[0] :]
    columns = np.nonzero((below == (0, 255, 255)).all(axis=2).any(axis=0))[0]
    # The region is 200 pixels long with a tenth shown at either end; the lever a quarter along.
    expected = plain.shape[1] * (20 + 0.25 * 200) / 240
    assert columns.mean() == pytest.approx(expected, abs=4)


def test_shares_are_those_of_another_library(tmp_path: Path) -> None:
    looks = read_looks([made_looks.write(made_looks.looks(300, empty=0.0), tmp_path / "l.gz")])
    judged = {look.file: judge(look, made_looks.fusion()) for look in looks}
    seen = [k for k in judged.values() if k.found and k.look.label["cues"][LEVER]["visible"]]
    rng = np.random.default_rng(3)
    key, told = {}, {}
    for number, one in enumerate(seen):
        truth = one.look.label["cues"][LEVER]["state"]
        key[str(number)] = {"file": one.look.file, "what": LEVER, "truth": truth}
        answer = str(rng.choice(["present", "absent"]))
        told[str(number)] = answer, str(rng.choice(["sure", "likely", "guess"]))
    lines = reader.compared(key, {"A": told}, judged, {}).splitlines()
    cells = [[cell.strip() for cell in line.split("|")[1:-1]] for line in lines[2:]]
    assert [row[2] for row in cells] == ["all", "sure", "sure or likely"]
    for row, kept in zip(cells, (reader.SURENESS, ("sure",), ("sure", "likely")), strict=True):
        some = [n for n in key if told[n][1] in kept]
        truth = [key[n]["truth"] for n in some]
        eye = [reader.said_by_eye(key[n]["file"], LEVER, judged, {}) for n in some]
        assert int(row[3]) == len(some) > 20
        for cell, said in ((row[4], [told[n][0] for n in some]), (row[5], eye)):
            assert float(cell.rstrip("%")) == pytest.approx(
                100 * balanced_accuracy_score(truth, said), abs=0.051
            )


def test_a_number_counts_only_where_it_is_stated(tmp_path: Path) -> None:
    numbers = {
        "a": Cue(NAME, State.PRESENT, value="316", confidence=0.9),
        "b": Cue(NAME, State.UNSEEN, values={"12": 0.4}),
    }
    key = {n: {"file": n, "what": NAME, "truth": t} for n, t in (("a", "316"), ("b", "12"))}
    told = {"a": ("310", "sure"), "b": ("12", "guess")}
    first = reader.compared(key, {"A": told}, {}, numbers).splitlines()[2]
    assert [c.strip() for c in first.split("|")[1:-1]] == [
        *(NAME, "A", "all", "2"),
        *("50.0%", "50.0%", "0"),
    ]
    path = tmp_path / "answers.csv"
    path.write_text("a,316,certain\n")
    with pytest.raises(ValueError, match="tile,answer,sureness"):
        reader.read_answers(path)
