"""What looks by the networks before still count for, in the fit and in the figures."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

import made_looks
from test_driving_seen import counted_looks
from tools.calibrate import __main__ as calibrating
from tools.evaluate import __main__ as evaluating
from tools.evaluate.pairs import pair_rows
from tools.evaluate.readings import readings
from tools.former import former
from tools.looks import judge, read_looks, shows
from vision.cues.driving import RODS


def looked(tmp_path: Path, n: int, *, seed: int = 1) -> Path:
    return made_looks.write(made_looks.looks(n, seed=seed), tmp_path / f"{seed}-{n}.jsonl.gz")


def test_of_a_cue_that_changed_neither_the_word_nor_the_truth_is_kept(tmp_path: Path) -> None:
    before = read_looks([looked(tmp_path, 60)])
    for old, kept in zip(before, former(before, [RODS]), strict=True):
        assert RODS not in kept.seen.get("cues", {}) and not shows(kept, RODS)
        assert not kept.complete and old.complete
        for cue in ("switch_lever", "edge_stripe"):
            assert shows(kept, cue) == shows(old, cue)
            assert kept.seen.get("cues", {}).get(cue) == old.seen.get("cues", {}).get(cue)


def test_figures_of_what_stayed_count_both_and_of_what_changed_the_new(tmp_path: Path) -> None:
    new = read_looks([looked(tmp_path, 50)])
    old = former(read_looks([looked(tmp_path, 80, seed=2)]), [RODS])
    both = [judge(look, made_looks.fusion()) for look in (*new, *old)]
    alone = both[: len(new)]
    assert len(readings(both, RODS).present) == len(readings(alone, RODS).present)
    assert len(readings(both, "edge_stripe").present) > len(readings(alone, "edge_stripe").present)


def test_of_pairs_looked_at_before_nobody_says_that_all_else_stays(tmp_path: Path) -> None:
    lines = made_looks.looks(30, empty=0.0)
    for line in lines:
        line["label"]["cues"]["switch_lever"]["visible"] = True
        line["label"]["twin_cue"] = "switch_lever"
    twins = [json.loads(json.dumps(line)) for line in lines]
    for twin in twins:
        twin["file"] = twin["file"].replace("_0.", "_0t.")
    looks = read_looks([made_looks.write([*lines, *twins], tmp_path / "pairs.jsonl.gz")])
    fusion = made_looks.fusion()
    flips, _, still, *_ = pair_rows([judge(look, fusion) for look in looks])
    assert flips.n == still.n > 0
    flips, _, still, *_ = pair_rows([judge(look, fusion) for look in former(looks, [RODS])])
    assert (flips.n > 0, still.n) == (True, 0)


def test_some_cues_are_fitted_anew_and_all_else_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, again = looked(tmp_path, 1500), counted_looks(1500, 1.5)
    for line in again:
        line["file"] = line["file"].replace("held-1", "held-3")
    again += made_looks.looks(100, seed=3, empty=1.0)
    second = made_looks.write(again, tmp_path / "again.jsonl.gz")
    out = tmp_path / "fusion.json"

    def fitted(*words: str) -> dict:
        monkeypatch.setattr(sys, "argv", ["calibrate", *words, "--out", str(out)])
        calibrating.main()
        return json.loads(out.read_text("utf-8"))

    before = fitted("--looks", str(first))
    after = fitted("--looks", str(second), "--only", RODS, "driving_axles")
    assert after["cues"]["switch_lever"] == before["cues"]["switch_lever"]
    assert (after["tender"], after["locate"]) == (before["tender"], before["locate"])
    assert after["cues"][RODS] != before["cues"][RODS]
    assert after["driving_axles"]["temperature"] == pytest.approx(1.5, rel=0.15)
    third = fitted("--looks", str(second), "--only", "driving_axles")
    assert [fit["only"] for fit in third["fitted"]["again"]] == [[RODS], ["driving_axles"]]
    # Neither the scenes of the first fit nor those of the second may be judged by it.
    assert after["fitted"]["series"].keys() == {"held-1", "held-3"}
    assert after["fitted"]["again"][-1]["only"] == [RODS, "driving_axles"]
    assert after["fitted"]["again"][-1]["files"] == ["again.jsonl.gz"]
    for path in (first, second):
        assert evaluating.fitted_on_these(read_looks([path]), after)


def test_a_picture_that_was_looked_at_again_counts_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    new = made_looks.write(made_looks.looks(40, empty=0.0), tmp_path / "new.jsonl.gz")
    old = made_looks.write(made_looks.looks(70, empty=0.0), tmp_path / "old.jsonl.gz")
    fusion = tmp_path / "fusion.json"
    fusion.write_text(json.dumps(made_looks.fusion()), encoding="utf-8")
    words = ["--looks", str(new), "--former", str(old), "--changed", RODS]
    monkeypatch.setattr(sys, "argv", ["evaluate", *words, "--fusion", str(fusion)])
    evaluating.main()
    told = capsys.readouterr().out
    rows = [line.split("|") for line in told.splitlines() if line.startswith("| pictures ")]
    counted = {cell.strip() for row in rows for cell in row if cell.strip().isdigit()}
    assert counted == {"70"}


def test_networks_before_those_before_count_for_what_has_not_changed_since(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fusion = tmp_path / "fusion.json"
    fusion.write_text(json.dumps(made_looks.fusion()), encoding="utf-8")
    drawn = made_looks.looks(70, empty=0.0)
    new, old, older = (
        str(made_looks.write(drawn[:count], tmp_path / f"{count}.jsonl.gz"))
        for count in (30, 50, 70)
    )
    lever, stripe = "switch_lever", "edge_stripe"

    def judged(*words: str) -> dict[str, set[str]]:
        """Of how many pictures each cue is judged."""
        monkeypatch.setattr(sys, "argv", ["evaluate", "--fusion", str(fusion), *words])
        evaluating.main()
        told = capsys.readouterr().out.splitlines()
        rows = [[cell.strip() for cell in line.split("|")] for line in told if "|" in line]
        return {
            cue: {
                cell
                for row in rows
                if row[1:2] == [f"{cue}: balanced accuracy, p ≥ 0.5"]
                for cell in row
                if cell.isdigit()
            }
            for cue in (lever, RODS, stripe)
        }

    words = ["--looks", new, "--former", old, "--changed", lever, "--former", older]
    with pytest.raises(SystemExit):
        judged(*words)
    mixed, alone = judged(*words, "--changed", lever, RODS), [new, old, older]
    for cue, file in zip((lever, RODS, stripe), alone, strict=True):
        expected = judged("--looks", file)[cue]
        assert len(expected) == 1
        assert mixed[cue] == expected


def test_each_fit_is_made_on_the_looks_of_all_networks_since_its_own_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, drawn = tmp_path / "fusion.json", made_looks.looks(800)
    counts = (600, 700, 800)
    new, old, older = (
        str(made_looks.write(drawn[:count], tmp_path / f"{count}.jsonl.gz")) for count in counts
    )
    words = ["--looks", new, "--former", old, "--changed", "switch_lever", "--former", older]

    def fitted(*more: str) -> dict:
        monkeypatch.setattr(sys, "argv", ["calibrate", *words, *more, "--out", str(out)])
        calibrating.main()
        return json.loads(out.read_text("utf-8"))["fitted"]

    with pytest.raises(SystemExit):
        fitted()
    report = fitted("--changed", "switch_lever", RODS)
    # Of a picture that several looked at the newest look alone counts.
    assert report["n"] == len(drawn)
    for cue, count in zip(("switch_lever", RODS, "edge_stripe"), counts, strict=True):
        engines = [line for line in drawn[:count] if line["label"]["locomotive"]]
        assert report["cues"][cue]["seen"]["n"] == len(engines)
    assert report["files"] == [f"{count}.jsonl.gz" for count in counts]
