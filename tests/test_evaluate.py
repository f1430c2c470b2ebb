"""Figures must show what was planted: each fault below is put in on purpose."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import made_looks
from tools.evaluate import photos
from tools.evaluate.pairs import corruption_rows, pair_rows
from tools.evaluate.report import split_rows
from tools.evaluate.rows import Row
from tools.evaluate.targets import TARGETS, Target
from tools.looks import Judged, judge, read_looks
from vision.records import PhotoUnreadable

Line = dict[str, Any]


def judged(lines: list[Line], folder: Path, fusion: Line | None = None) -> list[Judged]:
    path = made_looks.write(lines, folder / "looks.jsonl.gz")
    return [judge(look, fusion or made_looks.fusion()) for look in read_looks([path])]


def rows(lines: list[Line], folder: Path, fusion: Line | None = None) -> dict[str, Row]:
    fusion = fusion or made_looks.fusion()
    found = split_rows(judged(lines, folder, fusion), fusion)
    return {row.figure: row for row in found}


def the_row(found: dict[str, Row], start: str) -> Row:
    (row,) = (row for figure, row in found.items() if figure.startswith(start))
    return row


def certain(scene: int, states: tuple[str, str, str], **label: Any) -> Line:
    """A look whose evidence says the three states loud and clear."""
    line = made_looks.look(np.random.default_rng(scene), label.get("split", "guide"), 1, scene)
    for cue, region, state in zip(made_looks.CUES, made_looks.REGIONS, states, strict=True):
        line["seen"]["cues"][cue] |= {
            "judge_present": 9.0 if state == "present" else -9.0,
            "judge_visible": 9.0,
        }
        line["label"]["cues"][cue] |= {"state": state, "visible": True}
        line["label"]["visible"][region] = 1.0
    line["label"] |= label
    return line


def test_a_calibrated_eye_is_told_calibrated(tmp_path: Path) -> None:
    found = rows(made_looks.looks(2500), tmp_path)
    row = the_row(found, "all cues: calibration error of p")
    assert row.n > 4500
    assert row.verdict(Target(0.02, at_least=False)) == "met"


def test_planted_shouting_is_reported_as_miscalibration(tmp_path: Path) -> None:
    found = rows(made_looks.looks(2500), tmp_path, made_looks.fusion(gain=1.0))
    row = the_row(found, "all cues: calibration error of p")
    assert row.verdict(TARGETS["held"]["calibration"]) == "MISSED"
    assert row.value > 2 * float(row.note.split()[-1])


def test_planted_losses_of_engines_and_headings_are_counted(tmp_path: Path) -> None:
    lines = made_looks.looks(400, empty=0.0)
    for line in lines[:20]:
        line["seen"]["score"] = 0.1
    for line in lines[20:50]:
        line["seen"]["locomotive"] = [300.0, 100.0, 600.0, 220.0]
    for line in lines[50:64]:
        line["seen"]["faces"] = {"left": "right", "right": "left"}[line["label"]["faces"]]
    for line in lines[64:71]:
        line["seen"]["faces"] = "toward"
    for line in lines[68:100]:  # four of those mistaken lie close to the border
        line["label"]["faces_also"] = "toward"
    for line in lines[100:110]:
        line["label"]["faces_also"], line["seen"]["faces"] = "toward", "away"
    found = rows(lines, tmp_path)
    assert the_row(found, "engine found").value == pytest.approx(350 / 400)
    by_border = the_row(found, "heading right, by the border")
    assert (by_border.value, by_border.n) == (pytest.approx(1 - 31 / 350), 350)
    assert the_row(found, "heading right, of engines").value == pytest.approx(1 - 28 / 350)
    clear = the_row(found, "heading right, of those not close")
    assert (clear.value, clear.n) == (pytest.approx(1 - 18 / 308), 308)
    assert the_row(found, "left and right mistaken").value == pytest.approx(14 / 350)
    assert the_row(found, "engine found").verdict(TARGETS["held"]["found"]) == "MISSED"


def test_engines_mostly_hidden_need_not_be_found(tmp_path: Path) -> None:
    lines = made_looks.looks(50, empty=0.0)
    for line in lines[:20]:
        line["seen"]["score"] = 0.1
        line["label"]["locomotive_share"] = 0.4
    row = the_row(rows(lines, tmp_path), "engine found")
    assert (row.value, row.n) == (1.0, 30)


def test_planted_false_finds_are_counted(tmp_path: Path) -> None:
    lines = made_looks.looks(300, empty=0.5)
    empty = [line for line in lines if line["label"]["locomotive"] is None]
    for line in empty[:10]:
        line["seen"] |= {"score": 0.9, "finder": 0.9}
        line["seen"]["cues"] = {}
    for line in empty[4:]:
        line["label"]["kind"] = "empty"
    found = rows(lines, tmp_path)
    row = the_row(found, "false finds, of pictures without an engine")
    assert (row.n, round(row.value * row.n)) == (len(empty), 10)
    diesel = the_row(found, "false finds, of pictures with a diesel")
    assert (diesel.n, diesel.value) == (4, 1.0)
    nothing = the_row(found, "false finds, of pictures with no vehicle")
    assert (nothing.n, round(nothing.value * nothing.n)) == (len(empty) - 4, 6)


def test_corner_error_is_in_lengths_of_the_engine(tmp_path: Path) -> None:
    lines = made_looks.looks(5, empty=0.0)
    for line in lines:
        line["label"]["visible"] = dict.fromkeys(made_looks.REGIONS, 1.0)
        moved = [[x + 3, y + 4] for x, y in line["label"]["regions"]["boiler_top"]]
        line["seen"]["regions"] = dict.fromkeys(made_looks.REGIONS, moved)
    # 5 pixels off on an engine 300 pixels long.
    assert the_row(rows(lines, tmp_path), "mean corner error").value == pytest.approx(5 / 300)


def test_statements_on_what_cannot_be_seen_are_counted(tmp_path: Path) -> None:
    lines = [certain(i, ("absent",) * 3, split="held") for i in range(100)]
    for i, line in enumerate(lines):
        cue = line["label"]["cues"]["switch_lever"]
        cue["visible"] = i >= 40
        if 3 <= i < 40:
            line["seen"]["cues"]["switch_lever"]["judge_visible"] = -9.0
    lines[0]["seen"]["cues"]["switch_lever"]["judge_present"] = 9.0
    lines[2]["label"]["visible"]["boiler_top"] = 0.1
    found = rows(lines, tmp_path)
    assert the_row(found, "switch_lever: stated though not").value == pytest.approx(3 / 40)
    assert the_row(found, "switch_lever: ABSENT though not").value == pytest.approx(2 / 40)
    assert the_row(found, "switch_lever: PRESENT though not").value == pytest.approx(1 / 40)
    assert the_row(found, "switch_lever: of those stated").value == pytest.approx(1 / 3)
    assert the_row(found, "switch_lever: stated though clearly").n == 1
    assert the_row(found, "side_linkage: stated though not").n == 0


def test_a_lever_that_shows_a_little_is_only_falsely_called_absent(tmp_path: Path) -> None:
    lines = [certain(i, ("present", "absent", "absent"), split="held") for i in range(30)]
    for i, line in enumerate(lines):
        line["label"]["cues"]["switch_lever"] |= {
            "visible": False,
            "length_px": 200.0,
            "distinct_px": 8 if i < 20 else 2,
        }
    for line in lines[:3]:
        line["seen"]["cues"]["switch_lever"]["judge_present"] = -9.0
    lines[5]["label"]["visible"]["boiler_top"] = 0.3
    found = rows(lines, tmp_path)
    # Of 20 that show a little, three called absent and one whose region is hidden count.
    row = the_row(found, "switch_lever: stated though not")
    assert (row.value, row.n) == (1.0, 3 + 1 + 10)
    assert the_row(found, "switch_lever: ABSENT though not").value == pytest.approx(3 / 14)


def test_a_cue_without_an_answer_counts_as_wrong_where_it_shows(tmp_path: Path) -> None:
    lines = [certain(i, (("present", "absent")[i % 2],) * 3) for i in range(40)]
    lines[0]["seen"]["cues"]["edge_stripe"] = {"inside": 0.5}
    found = rows(lines, tmp_path)
    row = the_row(found, "edge_stripe: balanced accuracy, p")
    assert row.value == pytest.approx((19 / 20 + 1) / 2)
    assert the_row(found, "edge_stripe: UNSEEN though visible").value == pytest.approx(1 / 40)
    assert the_row(found, "switch_lever: balanced accuracy, p").value == 1.0


def test_the_likeliest_count_is_judged_stated_or_not(tmp_path: Path) -> None:
    lines = [certain(i, ("absent",) * 3) for i in range(10)]
    for i, line in enumerate(lines):
        line["label"] |= {"tender": [10.0, 100.0, 90.0, 200.0], "axles_visible": i != 9}
        line["label"] |= {"tender_share": 1.0, "tender_axles": 4, "lamps_visible": False}
        line["seen"] |= {"tender": line["label"]["tender"], "tender_score": 0.9}
        # Counts of 2 to 8 axles; the fourth line in ten says 6, and nothing is stated.
        axles = [0.1, 0.1, 0.3, 0.1, 0.2, 0.1, 0.1] if i != 3 else [0.1] * 4 + [0.4, 0.1, 0.1]
        counts = {"axles": axles, "lamps": [0.4, 0.3, 0.3], "countable": [0.9, 0.1]}
        line["seen"]["counts"] = counts
    found = rows(lines, tmp_path)
    exact = the_row(found, "tender axles exact, likeliest count")
    assert (exact.n, exact.value) == (9, pytest.approx(8 / 9))
    assert the_row(found, "tender axles stated").value == 0.0
    assert exact.verdict(TARGETS["held"]["tender_axles"]) == "MISSED"


def test_lettering_is_counted_where_letters_are_and_where_none_are(tmp_path: Path) -> None:
    lines = [certain(i, ("absent",) * 3) for i in range(10)]
    silent = rows(copy.deepcopy(lines), tmp_path)
    assert not any("lettering" in figure for figure in silent)
    for i, line in enumerate(lines):
        lettered, enough = i < 6, i < 5
        line["label"] |= {"tender": [10.0, 100.0, 90.0, 200.0], "tender_share": 1.0}
        line["label"] |= {"tender_lettering": lettered, "tender_letters_px": 90 if enough else 9}
        line["seen"] |= {"tender": line["label"]["tender"], "tender_score": 0.9}
        line["seen"]["tender_lettering"] = "present" if i in (0, 1, 2, 3, 9) else "unseen"
    found = rows(lines, tmp_path)
    told = the_row(found, "tender lettering told, where")
    assert (told.n, told.value) == (5, pytest.approx(4 / 5))
    bare = the_row(found, "tender lettering told of tenders without it")
    assert (bare.n, bare.value) == (4, pytest.approx(1 / 4))


def twins(n: int) -> list[Line]:
    lines = []
    for i in range(n):
        first = certain(i, ("absent", "present", "absent"), twin_cue="switch_lever")
        second = copy.deepcopy(first)
        second["file"] = first["file"].replace(".jpg", "t.jpg")
        second["label"]["cues"]["switch_lever"]["state"] = "present"
        second["seen"]["cues"]["switch_lever"]["judge_present"] = 9.0
        lines += [first, second]
    return lines


def test_pairs_that_do_not_flip_or_drag_others_along_are_counted(tmp_path: Path) -> None:
    lines = twins(50)
    for i in range(5):
        lines[2 * i + 1]["seen"]["cues"]["switch_lever"]["judge_present"] = -9.0
    for i in range(5, 12):
        lines[2 * i + 1]["seen"]["cues"]["side_linkage"]["judge_present"] = 1.0
    lines[-1]["label"]["cues"]["switch_lever"]["visible"] = False
    flips, stated, still, *_ = pair_rows(judged(lines, tmp_path))
    assert flips.n == 49
    assert flips.value == stated.value == pytest.approx(44 / 49)
    assert still.value == pytest.approx(42 / 49)


def test_a_view_with_several_twins_makes_a_pair_with_each(tmp_path: Path) -> None:
    lines = twins(20)
    for line in lines[::2]:  # only a twin's label says what was swapped in it
        line["label"]["twin_cue"] = None
    more = copy.deepcopy(lines[1::2])
    for line in lines[1::2]:
        line["file"] = line["file"].replace("t.jpg", "t1.jpg")
    for line in more:
        line["file"] = line["file"].replace("t.jpg", "t3.jpg")
        line["label"]["twin_cue"] = "edge_stripe"
        line["label"]["cues"]["edge_stripe"]["state"] = "present"
    flips, *_, lever, _, stripe = pair_rows(judged(lines + more, tmp_path))
    assert (flips.n, lever.n, stripe.n) == (40, 20, 20)
    assert (lever.value, stripe.value) == (1.0, pytest.approx(0.0))


def test_spoiling_costs_what_was_planted(tmp_path: Path) -> None:
    lines = [certain(i, (("present", "absent")[i % 2],) * 3, split="held") for i in range(100)]
    spoilt = copy.deepcopy(lines)
    for line in spoilt:
        line["corruption"] = {"kind": "fog", "severity": 3}
    for line in spoilt[:10]:
        line["seen"]["cues"]["edge_stripe"]["judge_present"] *= -1
    spoilt[99]["seen"]["score"] = 0.0
    both = judged(lines + spoilt, tmp_path)
    found = corruption_rows(both[:100], both[100:])
    losses = {row.figure: row for row in found}
    stripe = losses["fog at severity 3: edge_stripe, loss of balanced accuracy"]
    assert stripe.value == pytest.approx(0.11)
    assert stripe.verdict(TARGETS["corrupted"]["loss"]) == "MISSED"
    assert (stripe.note, stripe.n) == ("100.00 % → 89.00 %", 100)
    lever = losses["fog at severity 3: switch_lever, loss of balanced accuracy"]
    assert lever.value == pytest.approx(0.01)
    assert losses["fog at severity 3: engines no longer found"].value == pytest.approx(0.01)


def photo_label(file: str, **fields: Any) -> Line:
    label = {"file": file, "kind": "model", "locomotive": made_looks.ENGINE_BOX, "tender": None}
    label |= {"faces": "left", "view": "side", "whole": True, "switch_lever": "absent"}
    return label | {"side_linkage": "present", "edge_stripe": "unseen"} | fields


def test_photographs_are_scored_by_their_hand_made_labels(tmp_path: Path) -> None:
    labels = [
        photo_label("a.jpg"),
        photo_label("b.jpg", kind="full_size"),
        photo_label("c.jpg", kind="full_size"),
        photo_label("d.jpg", whole=False),
    ]
    seen = certain(1, ("present", "present", "present"))["seen"] | {"faces": "left"}

    def looker(path: Path) -> Line:
        if path.name == "c.jpg":
            raise PhotoUnreadable("c.jpg: damaged")
        found = copy.deepcopy(seen)
        if path.name == "b.jpg":
            found["cues"]["switch_lever"]["judge_present"] = 1.0
        return found

    looks = photos.look_at_photos(tmp_path, labels, looker)
    groups = photos.judge_photos(looks, made_looks.fusion())
    assert list(groups) == ["all photographs", "full_size", "model"]
    found = {row.figure: row for row in photos.photo_rows(groups["all photographs"], {})}
    whole = found["engine found, IoU ≥ 0.5, of whole engines"]
    assert (whole.n, whole.value) == (3, pytest.approx(2 / 3))
    counts = photos.confusion(groups["all photographs"]).splitlines()
    lever = next(line for line in counts if "switch_lever" in line and " absent " in line[16:25])
    assert [cell.strip() for cell in lever.split("|")[3:6]] == ["3", "0", "0"]
    assert not any(cell.strip() not in "0" for cell in counts[-1].split("|")[3:6])


def test_a_lever_is_judged_where_told_untold_and_told_wrongly(tmp_path: Path) -> None:
    """Every lever stands at 0.2 of the boiler top and is seen there alone."""
    lines = made_looks.looks(60, empty=0.0)
    for line in lines:
        truth = line["label"]["cues"]["switch_lever"]
        truth |= {"visible": True, "along": 0.2}
        present = truth["state"] == "present"
        said = {f"said_{k:02d}": 6.0 if present and k == 9 else -6.0 for k in range(48)}
        line["seen"]["cues"]["switch_lever"] |= {"judge_present": 0.0, "judge_visible": 8.0, **said}
    fusion = made_looks.fusion()
    placed = {"terms": [["said_here", 0.0, 3.0, 3.0]], "bias": 0.0, "seen_at_least": 0.5}
    fusion["cues"] = {**fusion["cues"]}
    fusion["cues"]["switch_lever"] = {**fusion["cues"]["switch_lever"], "placed": placed}
    found = rows(lines, tmp_path, fusion)
    assert the_row(found, "switch_lever: balanced accuracy, p").value == 1.0
    assert the_row(found, "switch_lever, told a wrong place: balanced").value == 0.5
    assert the_row(found, "switch_lever, its place untold: balanced").value == 0.5
