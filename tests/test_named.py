"""Variations named, numbers kept, accuracy by size and place: counts must be those planted."""

from __future__ import annotations

import copy
import gzip
import json
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
from sklearn.metrics import balanced_accuracy_score
from statsmodels.stats.proportion import proportion_confint

import made_looks
from tools.evaluate import groups, pixels
from tools.evaluate.dated import ALSO, CHECK, NOT_NARROWED, PHOTO, date_all, first_answer
from tools.evaluate.mixed import mixed_rows
from tools.evaluate.named import covering_rows, named_rows, named_table
from tools.evaluate.numbers import best_fit, number_rows, read_numbers, read_over
from tools.evaluate.readings import readings
from tools.evaluate.rows import Row
from tools.evaluate.targets import TARGETS
from tools.looks import Judged, judge, read_looks
from vision.estimate import estimate
from vision.guide import covered_years, load_guide
from vision.records import Cue, State

DEMO = Path(__file__).parent.parent / "demo_images"
Line = dict[str, Any]
STATES = {
    "W1": ("present", "absent", "absent"),
    "W3": ("absent", "present", "present"),
    "W6": ("present", "present", "present"),
}


def engine(scene: int, id: str, read: tuple[str, str, str] | None = None, **label: Any) -> Line:
    """A look at a Wayfarer; the eye is sure of `read`, or of the truth."""
    line = made_looks.look(np.random.default_rng(scene), "guide", 1, scene)
    guide = load_guide("wayfarer")
    for cue, region, state, said in zip(
        made_looks.CUES, made_looks.REGIONS, STATES[id], read or STATES[id], strict=True
    ):
        words = {"judge_present": 9.0 if said == "present" else -9.0, "judge_visible": 9.0}
        line["seen"]["cues"][cue] |= words
        line["label"]["cues"][cue] |= {"state": state, "visible": True}
        line["label"]["visible"][region] = 1.0
    line["label"]["variation"] = {"guide": "wayfarer", "id": id}
    line["label"]["cab_number"] = guide.variation(id).numbers[0]
    line["label"] |= {"cab_number_px": 20.0, "cab_number_visible": True} | label
    return line


def judged(lines: list[Line], folder: Path) -> list[Judged]:
    path = made_looks.write(lines, folder / "looks.jsonl.gz")
    return [judge(look, made_looks.fusion()) for look in read_looks([path])]


def read(text: str | None, p: float = 0.95) -> Cue:
    if text is None:
        return Cue("cab_number", State.UNSEEN)
    values = MappingProxyType({text: p})
    return Cue("cab_number", State.PRESENT, value=text, confidence=p, values=values)


def by_figure(rows: list[Row]) -> dict[str, Row]:
    return {row.figure: row for row in rows}


def mixed(folder: Path) -> tuple[list[Judged], dict[str, Cue]]:
    """Ten each of three variations; four W1 seen as W3, one W3 not found, W6 without number."""
    lines = []
    for i in range(30):
        id = list(STATES)[i % 3]
        lines.append(engine(i, id, STATES["W3"] if i in (0, 3, 6, 9) else None))
    lines[1]["seen"]["score"] = 0.0
    twin = copy.deepcopy(lines[2])
    twin["file"] = twin["file"].replace(".jpg", "t.jpg")
    hidden = engine(40, "W1", locomotive_share=0.3)
    numbers = {
        line["file"]: read(
            None if line["label"]["cab_number"] == "322" else line["label"]["cab_number"]
        )
        for line in lines
    }
    return judged([*lines, twin, hidden], folder), numbers


def test_names_are_counted_at_each_stage_with_wilson_intervals(tmp_path: Path) -> None:
    looks, numbers = mixed(tmp_path)
    dated = date_all(looks, numbers)
    assert len(dated) == 30  # neither the twin nor the engine that is mostly hidden
    found = by_figure(named_rows(dated))
    alone = found["photo alone: named right"]
    assert (alone.n, alone.value) == (30, pytest.approx(25 / 30))
    assert alone.interval == pytest.approx(proportion_confint(25, 30, alpha=0.1, method="wilson"))
    assert alone.level == 0.9
    assert alone.verdict(TARGETS["each_guide"]["named_photo"]) == "MISSED"
    assert found["photo alone: named right, of engines stated"].value == pytest.approx(25 / 29)
    for stage in (PHOTO, ALSO, CHECK):
        assert found[f"{stage}: named right, as in sight"].value == 1.0
    for stage in (ALSO, CHECK):
        right = sum(d.right(stage) for d in dated)
        assert found[f"{stage}: named right"].value == pytest.approx(right / 30)
    first = named_table(dated).splitlines()[2]
    assert [cell.strip() for cell in first.split("|")[1:3]] == ["W1", "6 of 10"]


def test_what_was_named_is_what_dating_says(tmp_path: Path) -> None:
    (dated,) = date_all(judged([engine(1, "W1")], tmp_path), {engine(1, "W1")["file"]: read("310")})
    guide = load_guide("wayfarer")
    cues = [dated.judged.cues[name] for name in made_looks.CUES]
    assert dated.found[PHOTO] == estimate(guide, cues)
    assert dated.found[ALSO] == estimate(guide, [*cues, read("310")])
    answer = first_answer(guide, guide.variation("W1"), dated.found[ALSO])
    assert dated.found[CHECK] == estimate(guide, [*cues, read("310"), *answer])


def test_the_first_check_is_answered_as_the_guide_has_it() -> None:
    guide = load_guide("wayfarer")
    for true in guide.variations:
        found = estimate(guide, [])
        first = next(look.name for look in found.look_next if look.hands_on)
        (answer,) = first_answer(guide, true, found)
        assert (answer.name, answer.state, answer.source) == (first, true.expects[first], "person")


def test_without_numbers_the_later_stages_are_not_measured(tmp_path: Path) -> None:
    looks, _ = mixed(tmp_path)
    found = by_figure(named_rows([d for d in date_all(looks, {}) if d.judged.stated]))
    row = found[f"{ALSO}: named right"]
    assert row.verdict(TARGETS["named"]["named_also"]) == "not measured"
    assert found["photo alone: named right"].n == 29


def test_few_pictures_do_not_meet_a_target_of_many(tmp_path: Path) -> None:
    looks = judged([engine(i, "W6") for i in range(20)], tmp_path)
    found = by_figure(named_rows(date_all(looks, {})))
    row = found["photo alone: named right"]
    assert row.verdict(TARGETS["named"]["named_photo"]) == "met, but n < 1000"


def test_sets_hold_the_true_years_or_not(tmp_path: Path) -> None:
    looks, numbers = mixed(tmp_path)
    dated = date_all(looks, numbers)
    found = by_figure(covering_rows(dated))
    w1 = found["photo alone: W1, true years in the stated set"]
    assert (w1.n, w1.value) == (10, pytest.approx(0.6))
    assert w1.interval == pytest.approx(proportion_confint(6, 10, alpha=0.1, method="wilson"))
    assert w1.verdict(TARGETS["each_guide"]["years"]) == "MISSED"
    w3 = found["photo alone: W3, true years in the stated set"]
    assert (w3.n, w3.value) == (9, 1.0)
    widths = [len(covered_years(d.found[PHOTO].years)) for d in dated if d.found]
    assert found["photo alone: mean number of years stated"].value == pytest.approx(np.mean(widths))


def test_a_variation_that_is_likeliest_before_any_look_is_not_named(tmp_path: Path) -> None:
    line = engine(1, "W1")
    for cue in made_looks.CUES:
        line["seen"]["cues"][cue]["judge_visible"] = -9.0
    (dated,) = date_all(judged([line], tmp_path), {})
    assert dated.found[PHOTO].variations[0].id == "W1"
    assert not dated.right(PHOTO)
    assert by_figure(covering_rows([dated]))["photo alone: not narrowed down"].value == 1.0


def test_an_eye_without_fault_sees_what_is_in_sight_and_no_more(tmp_path: Path) -> None:
    line = engine(1, "W6", STATES["W3"])
    hidden = copy.deepcopy(line) | {"file": "guide-1-000002_0.jpg"}
    for cue in made_looks.CUES:
        hidden["label"]["cues"][cue]["visible"] = False
    hidden["label"]["cab_number_visible"] = False
    clear, blind = date_all(judged([line, hidden], tmp_path), {})
    assert (clear.right(PHOTO), clear.right(PHOTO, ideal=True)) == (False, True)
    guide = load_guide("wayfarer")
    unseen = [Cue(name, State.UNSEEN) for name in made_looks.CUES]
    assert blind.ideal[PHOTO] == estimate(guide, unseen)
    assert blind.named(PHOTO, ideal=True) == NOT_NARROWED
    assert clear.in_full_view
    assert not blind.in_full_view


# --- numbers -----------------------------------------------------------------------


def test_numbers_are_counted_by_height_and_within_the_guide(tmp_path: Path) -> None:
    lines = [engine(i, "W3") for i in range(10)]
    lines[8]["label"]["cab_number_px"] = 8.0
    lines[9]["label"]["cab_number_visible"] = False
    lines[7]["seen"]["score"] = 0.0
    told = ["316"] * 4 + ["3?6", "310", None, "316", "316", "316"]
    numbers = {line["file"]: read(text) for line, text in zip(lines, told, strict=True)}
    unclear = {"values": {"31": 0.2, "316": 0.1}, "in_sight": True}
    numbers[lines[6]["file"]] = Cue("cab_number", State.UNSEEN, **unclear)
    found = by_figure(number_rows(judged(lines, tmp_path), numbers))
    values = {figure: (row.n, row.value * row.n) for figure, row in found.items() if row.n}
    big = "cab number, figures ≥ 12 px"
    assert values[f"{big}: read"] == (8, pytest.approx(6))
    assert values[f"{big}: exact"] == (8, pytest.approx(4))
    assert values[f"{big}: right within the guide"] == (8, pytest.approx(6))
    assert values[f"{big}: right within the guide and stated"] == (8, pytest.approx(5))
    assert values[f"{big}: right within the guide, of those read"] == (6, pytest.approx(5))
    assert values[f"{big}: right but for one figure left open"] == (8, pytest.approx(1))
    assert values[f"{big}: another number or a part of it stated"] == (8, pytest.approx(1))
    assert values["cab number, figures 6 to 12 px: exact"] == (1, pytest.approx(1))
    first = judged(lines[:1], tmp_path)[0]
    assert best_fit(first, read("376")) == "316"
    assert best_fit(first, Cue("cab_number", State.UNSEEN)) == ""


def test_sets_of_one_engine_and_sets_with_a_stray_are_counted(tmp_path: Path) -> None:
    """Three scenes of two views each, and one of a single view that makes no set."""
    lines = []
    for scene, id in enumerate(("W1", "W3", "W6", "W1")):
        for view in range(2 if scene < 3 else 1):
            line = engine(scene, id)
            line["file"] = f"guide-1-{scene:06d}_{view}.jpg"
            lines.append(line)
    numbers = {line["file"]: read(line["label"]["cab_number"], 0.99) for line in lines}
    dated = date_all(judged(lines, tmp_path), numbers)
    rows = {
        figure: (row.n, row.value) for figure, row in by_figure(mixed_rows(dated, numbers)).items()
    }
    assert rows == {
        "photos of one engine taken for several, of sets of views": (3, 0.0),
        "two engines told, of pairs of photos of two variations": (3, 1.0),
        "another engine told among photos of one, of sets with one stray": (3, 1.0),
    }


def test_kept_numbers_come_back_as_they_were_read(tmp_path: Path) -> None:
    path = tmp_path / "numbers.jsonl.gz"
    kept = {"state": "present", "because": "reads", "value": "316", "confidence": 0.9}
    lines = [
        {"file": "a.jpg", "cab_number": kept | {"values": {"316": 0.9, "3?6": 0.05}}},
        {"file": "b.jpg", "cab_number": {"state": "unseen", "because": "too small"}},
    ]
    with gzip.open(path, "wt") as stream:
        stream.writelines(json.dumps(line) + "\n" for line in lines)
    cues = read_numbers([path])
    assert (cues["a.jpg"].value, dict(cues["a.jpg"].values)) == ("316", {"316": 0.9, "3?6": 0.05})
    assert cues["b.jpg"].state is State.UNSEEN
    with gzip.open(path, "wt") as stream:
        stream.write(json.dumps({"file": "a.jpg"}) + "\n")
    with pytest.raises(ValueError, match="cab_number expected"):
        read_numbers([path])


@pytest.mark.slow
def test_a_folder_is_read_by_the_shipped_line(tmp_path: Path) -> None:
    from vision.cues import read_number
    from vision.locate import locate
    from vision.network import load_networks
    from vision.photo import open_photo
    from vision.records import Sighting

    box = [0.0, 0.0, 9.0, 9.0]
    files = ("wayfarer_w3.jpg", "wayfarer_w3t.jpg", "no_engine.jpg")
    labels = [{"file": f, "locomotive": None if f == files[2] else box} for f in files]
    for file in files[:2]:
        (tmp_path / file).write_bytes((DEMO / "wayfarer_w3.jpg").read_bytes())
    text = "\n".join(json.dumps(label) for label in labels)
    (tmp_path / "labels-guide-00.jsonl").write_text(text)
    out = tmp_path / "numbers.jsonl.gz"
    models = DEMO.parent / "models"
    assert read_over(tmp_path, out, models=models, workers=1, most=None) == 1
    cues = read_numbers([out])
    photo, networks = open_photo(tmp_path / files[0]), load_networks(models)
    sighting = locate(photo, networks)
    assert isinstance(sighting, Sighting)
    expected = read_number(photo, sighting, networks)
    assert (cues[files[0]].state, cues[files[0]].value) == (expected.state, expected.value)


# --- by size, by place ----------------------------------------------------------------


def cells(text: str) -> list[list[str]]:
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in text.splitlines()[2:]]


def noisy(folder: Path) -> list[Judged]:
    """Looks whose cues are right more often the longer their region is."""
    lines = made_looks.looks(600, empty=0.1)
    rng = np.random.default_rng(7)
    for line in lines:
        if line["label"]["locomotive"] is None:
            continue
        line["label"] |= {"room": str(rng.choice(["attic", "shed"])), "family": "tank"}
        line["label"]["hard"] = [["glare"], ["glare", "crop"], []][int(rng.integers(3))]
        for truth in line["label"]["cues"].values():
            truth["length_px"] = float(rng.uniform(40, 400))
    return judged(lines, folder)


def test_accuracy_by_length_is_scikit_learns_on_the_same_rows(tmp_path: Path) -> None:
    looks = noisy(tmp_path)
    total = 0
    for cue, words, n, value, _, stated, _ in cells(pixels.by_length(looks)):
        low, high = (
            (float(words.split()[0]), float(words.split()[2]))
            if " to " in words
            else (float(words.split()[1]), np.inf)
        )
        region = made_looks.REGIONS[made_looks.CUES.index(cue)]
        mine = [
            j
            for j in looks
            if j.found
            and j.look.label["visible"][region] >= 0.6
            and low <= j.look.label["cues"][cue]["length_px"] < high
        ]
        truth = [j.look.label["cues"][cue]["state"] == "present" for j in mine]
        guess = [j.cues[cue].p_present >= 0.5 for j in mine]
        assert n == str(len(mine))
        assert value == f"{100 * balanced_accuracy_score(truth, guess):.2f} %"
        told = np.mean([j.cues[cue].state is not State.UNSEEN for j in mine])
        assert stated == f"{100 * told:.2f} %"
        total += len(mine)
    assert total > 1000


def test_engines_by_width_are_all_counted(tmp_path: Path) -> None:
    looks = noisy(tmp_path)
    rows = cells(pixels.by_width(looks))
    assert [row[0] for row in rows] == ["260 to 380 px"]  # all are 300 pixels wide
    assert rows[0][1] == str(sum(j.look.must_find for j in looks))
    assert rows[0][2] == "100.00 %"


def test_rooms_and_conditions_are_scikit_learns_on_the_same_rows(tmp_path: Path) -> None:
    looks = noisy(tmp_path)
    rows = {row[0]: row for row in cells(groups.by_room(looks))}
    assert rows.keys() == {"attic", "shed"}
    mine = [j for j in looks if j.look.label.get("room") == "shed"]
    found = readings(mine, "edge_stripe")
    value = balanced_accuracy_score(found.present, found.predicted)
    assert rows["shed"][6] == f"{100 * value:.2f} % ({len(found.p)})"
    assert rows["shed"][1] == str(len(mine))
    hard = {row[0]: int(row[1]) for row in cells(groups.by_hardship(looks))}
    engines = [j for j in looks if j.look.has_engine]
    assert hard["glare"] == sum("glare" in j.look.label["hard"] for j in engines)
    assert hard["crop"] < hard["glare"]
    assert hard[groups.PLAIN] == sum(not j.look.label["hard"] for j in engines)
    assert [row[0] for row in cells(groups.by_family(looks))] == ["tank"]


def test_conditions_are_read_from_words_lists_and_flags() -> None:
    assert groups.conditions({}) == [groups.PLAIN]
    assert groups.conditions({"hard": "glare"}) == ["glare"]
    assert groups.conditions({"hard": {"glare": True, "crop": False}}) == ["glare"]
    both = groups.conditions({"occluder": True, "whole": False})
    assert both == ["engine not whole", "something before the engine"]
