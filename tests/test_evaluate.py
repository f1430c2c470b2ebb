"""Tables must show what was planted: each fault below is put in on purpose."""

from __future__ import annotations

import copy
import gzip
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import made_looks
from shapes import ramp
from tools.evaluate import __main__ as command
from tools.evaluate import photos
from tools.evaluate.card import refresh
from tools.evaluate.dated import years_in
from tools.evaluate.pairs import corruption_rows, pair_rows
from tools.evaluate.report import split_rows
from tools.evaluate.rows import Row, share, table
from tools.evaluate.summary import summary
from tools.evaluate.targets import TARGETS, Target
from tools.look import Corruption, look_over, spoilt, spread
from tools.looks import Judged, judge, read_looks
from vision.photo import open_photo
from vision.records import PhotoUnreadable

ROOT = Path(__file__).parents[1]

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


def test_years_are_read_from_edtf_sets() -> None:
    # Forms of the EDTF specification, Library of Congress, 2019: levels 0 and 2 ("one of a set").
    assert years_in("1934") == {1934}
    assert years_in("1931/1933") == {1931, 1932, 1933}
    assert years_in("[1667,1668,1670..1672]") == {1667, 1668, 1670, 1671, 1672}
    assert years_in("XXXX") == frozenset()


def test_a_table_says_what_is_met_missed_and_too_few() -> None:
    found = [
        share("good", [True] * 99 + [False], "a"),
        share("bad", [True] * 9 + [False], "a"),
        share("nothing", [], "a"),
        share("few", [True] * 10, "b"),
    ]
    text = table(found, {"a": Target(0.95), "b": Target(0.9, least_n=5000)})
    verdicts = [line.split("|")[4].strip() for line in text.splitlines()[2:]]
    assert verdicts == ["met", "MISSED", "not measured", "met, but n < 5000"]
    assert "94.55 % to 99.82 %" in text  # Wilson interval of 99 of 100, statsmodels 0.15


def test_the_card_keeps_what_people_wrote(tmp_path: Path) -> None:
    card = tmp_path / "CARD.md"
    card.write_text("# Card\n\n<!-- begin:held -->\nold\n<!-- end:held -->\n\nBy hand.\n")
    refresh(card, {"held": r"new \1"})
    refresh(card, {"photos": "more"})
    assert card.read_text() == (
        "# Card\n\n<!-- begin:held -->\nnew \\1\n<!-- end:held -->\n\nBy hand.\n\n"
        "<!-- begin:photos -->\nmore\n<!-- end:photos -->\n"
    )
    # A new block keeps to its neighbours, so that photographs never come among renders.
    refresh(card, {"summary": "all", "held": "new", "curves": "drawn"})
    names = [line.split(":")[1] for line in card.read_text().splitlines() if "begin" in line]
    assert [name.removesuffix(" -->") for name in names] == ["summary", "held", "curves", "photos"]
    assert "By hand." in card.read_text()
    card.write_text("<!-- begin:held -->\n")
    with pytest.raises(ValueError, match="only one of its two marks"):
        refresh(card, {"held": "new"})


def test_the_summary_shows_the_worst_of_each_kind() -> None:
    limit = Target(0.9)
    text = summary(
        {
            "held": [
                (share("lever: balanced", [True] * 19 + [False], "balanced_accuracy"), limit),
                (share("stripe: balanced", [True] * 3 + [False], "balanced_accuracy"), limit),
                (share("not measured", [], "found"), limit),
            ],
            "guide": [(share("named", [True] * 4, "years", level=0.9), limit)],
        }
    )
    cells = [[c.strip() for c in line.split("|")[2:-1]] for line in text.splitlines()[2:]]
    assert cells[0] == ["held", "-", "≥ 90 %", "not measured", "0", "", ""]
    assert cells[1][:5] == ["held", "75.00 %", "≥ 90 %", "MISSED", "4"]
    assert cells[1][-1] == "stripe: balanced"
    assert cells[2][:5] == ["guide", "100.00 %", "≥ 90 %", "met", "4"]
    assert cells[2][5].endswith("(90 %)")


def test_intervals_of_two_levels_do_not_share_a_heading() -> None:
    mixed = [share("one", [True]), share("two", [True], level=0.9)]
    assert "| 90 % interval" in table(mixed[1:], {})
    with pytest.raises(ValueError, match="one level expected"):
        table(mixed, {})


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["evaluate", *arguments])
    command.main()


def test_the_command_fills_the_card_and_draws_the_curves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = made_looks.write(made_looks.looks(300), tmp_path / "looks.jsonl.gz")
    fusion = tmp_path / "fusion.json"
    fusion.write_text(json.dumps(made_looks.fusion(gain=1.0)))
    card = tmp_path / "CARD.md"
    arguments = ["--looks", str(looks), "--fusion", str(fusion), "--card", str(card)]
    run(arguments, monkeypatch)
    printed, text = capsys.readouterr().out, card.read_text()
    assert "Renders, held (held-1): all cues: calibration error of p" in printed
    assert "![Reliability, held](reliability_held.png)" in text
    assert "### Targets on renders" in text
    assert "### Renders, held (held-1): by pixels" in text
    for name in ("reliability_held.png", "risk_coverage_held.png"):
        with Image.open(tmp_path / name) as picture:
            assert picture.width > 400
            # Blue of the first cue is drawn somewhere.
            colours = picture.convert("RGB").getcolors(1 << 24)
            assert any(abs(r) < 40 and b > 140 and g < 150 for _, (r, g, b) in colours)
        assert (tmp_path / name).stat().st_size < 60_000
    with pytest.raises(SystemExit) as stopped:
        run([*arguments, "--strict"], monkeypatch)
    assert stopped.value.code == 1


def test_looks_that_the_fit_saw_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = made_looks.write(made_looks.looks(20), tmp_path / "looks.jsonl.gz")
    fusion = made_looks.fusion()
    arguments = ["--looks", str(looks), "--fusion", str(tmp_path / "fusion.json")]
    for first, last in ((0, 5), (19, 90)):
        fusion["fitted"]["series"] = {"held-1": [first, last]}
        (tmp_path / "fusion.json").write_text(json.dumps(fusion))
        with pytest.raises(SystemExit):
            run(arguments, monkeypatch)
        assert f"fitted on held-1, scenes {first} to {last}" in capsys.readouterr().err
    # Other scenes of the series, and other series, it has never met.
    fusion["fitted"]["series"] = {"held-1": [20, 90], "held-2": [0, 19]}
    (tmp_path / "fusion.json").write_text(json.dumps(fusion))
    run(arguments, monkeypatch)


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


def test_spoilt_photos_keep_their_size_and_are_spoilt_alike_each_time(tmp_path: Path) -> None:
    path = tmp_path / "held-1-000001_0.png"
    Image.fromarray(ramp(160, 100)).save(path)
    photo = open_photo(path)
    one, two = (spoilt(photo, Corruption("gaussian_noise", 3)) for _ in range(2))
    assert one.size == photo.size == (160, 100)
    np.testing.assert_array_equal(one.pixels, two.pixels)
    # Hendrycks and Dietterich 2019: severity 3 has a sigma of 0.18 of full scale.
    change = one.pixels[:, 60:100].astype(float) - photo.pixels[:, 60:100]
    assert change.std() / 255 == pytest.approx(0.18, abs=0.04)


def test_measuring_needs_neither_torch_nor_the_renderer() -> None:
    code = (
        "import sys, tools.metrics, tools.bench, tools.evaluate.__main__, tools.calibrate.__main__;"
        "print(sorted({'torch', 'mitsuba'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


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


def test_some_of_a_folders_pictures_are_whole_scenes_from_all_over_it() -> None:
    labels = [{"file": f"{job:03d}_{view}", "job": job} for job in range(50) for view in range(6)]
    kept = spread(labels, 60)
    assert len(kept) == 60
    jobs = sorted({label["job"] for label in kept})
    assert len(jobs) == 10 and jobs[0] < 5 and jobs[-1] > 40
    assert spread(labels, 1000) == spread(labels, None) == labels


def test_only_pictures_decoded_at_full_scale_are_spoilt(tmp_path: Path) -> None:
    small = Image.open(ROOT / "demo_images" / "brindle_m1.jpg").resize((640, 480))
    small.save(tmp_path / "small.jpg")
    small.resize((2254, 1236)).save(tmp_path / "large.jpg")
    labels = [
        {"file": "small.jpg", "size": [640, 480]},
        {"file": "large.jpg", "size": [2254, 1236]},
    ]
    (tmp_path / "labels-x-00.jsonl").write_text("".join(json.dumps(x) + "\n" for x in labels))
    out = tmp_path / "looks.jsonl.gz"
    given: dict[str, Any] = {"models": ROOT / "models", "workers": 1, "most": None}
    assert look_over(tmp_path, out, corruption=Corruption("fog", 3), **given) == 1
    with gzip.open(out, "rt") as lines:
        assert [json.loads(line)["file"] for line in lines] == ["small.jpg"]
    assert look_over(tmp_path, out, **given) == 2
    assert not [*tmp_path.glob("*.partial")]
