"""Photographs and pictures without an engine, judged as they are dated. All are made up."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
from PIL import Image

import made_looks
from answers import sighting
from shapes import ramp
from tools.evaluate import photos
from tools.evaluate.answered import Answers, bold_row, date_photos, mistakes, year_rows
from tools.evaluate.passed import narrowed, passed_rows
from tools.evaluate.report import Report, tables_of_photos
from tools.evaluate.rows import Row
from tools.evaluate.targets import TARGETS
from tools.looks import Judged, judge, read_looks
from vision.estimate import estimate
from vision.guide import builtin_names, load_guide
from vision.pipeline.placing import placed
from vision.records import Cue, NotFound, Photo, Sighting, State

Line = dict[str, Any]
PLACES = {name: load_guide(name).lever_at for name in builtin_names()}


def lever(where: str, p: float = 0.94) -> Cue:
    """A lever for whoever asks at one guide's place, and none at the place of any other."""
    along = [0.5] * 48
    for name, at in PLACES.items():
        assert at is not None
        along[int(at * 48) - 1 : int(at * 48) + 2] = [p if name == where else 1.0 - p] * 3
    return Cue("switch_lever", State.UNSEEN, p_present=0.5, along=tuple(along), along_in_sight=True)


def valued(name: str, value: str, confidence: float = 0.94) -> Cue:
    return Cue(
        name,
        State.PRESENT,
        value=value,
        confidence=confidence,
        values=MappingProxyType({value: confidence}),
    )


def state(name: str, stated: State, p: float) -> Cue:
    return Cue(name, stated, p_present=p, confidence=max(p, 1.0 - p))


@dataclass
class Eye:
    """Sees in each photo, by its name, what it was told; nothing in any other."""

    cues: dict[str, list[Cue]]
    asked: list[str] = field(default_factory=list)
    version = "made up"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        name = Path(photo.name).name
        self.asked.append(name)
        if name not in self.cues:
            return NotFound("nothing there"), ()
        return sighting(), tuple(self.cues[name])


def label(file: str, **fields: Any) -> Line:
    plain = {"file": file, "kind": "model", "locomotive": made_looks.ENGINE_BOX, "tender": None}
    plain |= {"faces": "left", "whole": True, "switch_lever": "absent"}
    plain |= {"side_linkage": "unseen", "edge_stripe": "unseen"}
    return plain | {"tender_axles": None, "cab_number": None} | fields


def dated(
    folder: Path, eye: Eye, labels: list[Line]
) -> tuple[dict[str, list[Judged]], dict[str, Answers]]:
    """Looks say nothing here: what counts is what dating states."""
    for line in labels:
        Image.fromarray(ramp(320, 180)).save(folder / line["file"], "PNG")
    looks = photos.look_at_photos(folder, labels, lambda path: {})
    guides = [load_guide(name) for name in builtin_names()]
    groups = photos.judge_photos(looks, made_looks.fusion())
    return groups, date_photos(folder, labels, eye, guides)


def test_a_cue_is_wrong_that_is_so_with_any_guide(tmp_path: Path) -> None:
    eye = Eye({"a.png": [lever("brindle")], "b.png": [lever("brindle")], "c.png": []})
    labels = [label("a.png"), label("b.png", switch_lever="unseen"), label("d.png")]
    groups, answers = dated(tmp_path, eye, labels)
    (wrong,) = mistakes(groups[photos.ALL], answers)
    assert (wrong.file, wrong.cue, wrong.stated, wrong.guides) == (
        "a.png",
        "switch_lever",
        "present",
        ("brindle",),
    )
    assert wrong.confidence == pytest.approx(0.94)
    row = bold_row(groups[photos.ALL], answers)
    assert (row.value, row.n, row.which) == (1.0, 1, "switch_lever (brindle)")
    assert row.verdict(TARGETS["photos"]["bold_and_wrong"]) == "MISSED"
    assert eye.asked == ["a.png", "b.png", "d.png"]  # one look for all guides


def test_doubtful_and_right_cues_are_no_mistakes(tmp_path: Path) -> None:
    eye = Eye(
        {
            "a.png": [lever("brindle", 0.89)],
            "b.png": [lever("brindle")],
            "c.png": [state("side_linkage", State.ABSENT, 0.02)],
        }
    )
    labels = [
        label("a.png"),
        label("b.png", switch_lever="unseen"),
        label("c.png", side_linkage="absent"),
    ]
    groups, answers = dated(tmp_path, eye, labels)
    row = bold_row(groups[photos.ALL], answers)
    assert (row.value, row.n, row.which) == (0.0, 3, "")
    assert row.verdict(TARGETS["photos"]["bold_and_wrong"]) == "met"
    labels[2]["side_linkage"] = "present"
    groups, answers = dated(tmp_path, eye, labels)
    assert [(m.cue, m.stated, m.guides) for m in mistakes(groups[photos.ALL], answers)] == [
        ("side_linkage", "absent", tuple(builtin_names()))
    ]


@pytest.mark.parametrize(
    ("cue", "value", "truth", "wrong"),
    [
        ("tender_axles", "2", 4, True),
        ("tender_axles", "4", 4, False),
        ("tender_axles", "2", None, False),
        ("cab_number", "316", "318", True),
        ("cab_number", "31", "316", True),
        ("cab_number", "3?6", "316", False),
        ("cab_number", "3?6", "317", True),
        ("cab_number", "316", None, False),
    ],
)
def test_axles_and_numbers_count_where_the_labels_have_them(
    tmp_path: Path, cue: str, value: str, truth: object, wrong: bool
) -> None:
    eye = Eye({"a.png": [valued(cue, value)]})
    groups, answers = dated(tmp_path, eye, [label("a.png", switch_lever="unseen", **{cue: truth})])
    row = bold_row(groups[photos.ALL], answers)
    assert row.n == (truth is not None)
    assert bool(mistakes(groups[photos.ALL], answers)) is wrong
    unsure = Eye({"a.png": [valued(cue, value, 0.89)]})
    groups, answers = dated(tmp_path, unsure, [label("a.png", **{cue: truth})])
    assert not mistakes(groups[photos.ALL], answers)


def test_photographs_without_any_engine_stated_earn_no_praise(tmp_path: Path) -> None:
    groups, answers = dated(tmp_path, Eye({}), [label("a.png")])
    row = bold_row(groups[photos.ALL], answers)
    assert row.verdict(TARGETS["photos"]["bold_and_wrong"]) == "not measured"
    assert "a.png" in answers


def test_a_photograph_that_cannot_be_read_is_not_answered(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_text("no picture")
    guides = [load_guide()]
    assert date_photos(tmp_path, [label("a.png")], Eye({}), guides) == {}
    looks = photos.look_at_photos(tmp_path, [label("a.png")], lambda path: {})
    every = [judge(look, made_looks.fusion()) for look in looks]
    assert bold_row(every, {}).n == 0
    assert [row.value for row in year_rows(every, {})][1] == 0.0


def sure_number() -> Cue:
    """The number of one variation of the default guide."""
    return valued("cab_number", load_guide().variations[0].numbers[0], 0.98)


def test_years_of_no_model_are_counted_apart(tmp_path: Path) -> None:
    cues = {name: [sure_number()] for name in ("a.png", "b.png", "c.png")}
    labels = [
        label("a.png"),
        label("b.png", kind="full_size"),
        label("d.png", kind="drawing"),
        label("c.png", kind="drawing"),
        {key: value for key, value in label("e.png").items() if key != "kind"},
    ]
    eye = Eye(cues | {"d.png": [], "e.png": [sure_number()]})
    groups, answers = dated(tmp_path, eye, labels)
    told = {name: answer.estimate for name, answer in answers["b.png"].items() if answer.estimate}
    assert narrowed(told[load_guide().name])
    no_model, models = year_rows(groups[photos.ALL], answers)
    assert (no_model.n, no_model.value) == (3, pytest.approx(2 / 3))
    assert (models.n, models.value) == (1, 1.0)
    assert f"{load_guide().name} x 2" in no_model.which


def test_the_targets_of_photographs_have_a_table_that_says_missed(tmp_path: Path) -> None:
    eye = Eye({"a.png": [lever("brindle"), valued("tender_axles", "2")], "b.png": []})
    labels = [label("a.png", tender_axles=4), label("b.png", kind="full_size")]
    report = Report()
    groups, answers = dated(tmp_path, eye, labels)
    tables_of_photos(groups, answers, report)
    first = report.blocks["photos"].partition("### Real photographs, all")[0]
    head = [cell.strip() for cell in first.splitlines()[2].split("|")[1:-1]]
    assert (head[1], head[-1]) == ("photographs", "which")
    line = next(line for line in first.splitlines() if "stated wrongly" in line)
    cells = [cell.strip() for cell in line.split("|")[1:-1]]
    assert cells[2:6] == ["2", "≤ 0", "MISSED", "2"]
    assert cells[-1] == f"switch_lever (brindle); tender_axles ({', '.join(builtin_names())})"
    assert any("stated wrongly" in missed for missed in report.missed)
    # Those of one subject are held against nothing.
    assert sum("stated wrongly" in missed for missed in report.missed) == 1


def without_engine(scene: int, *, passes: bool, present: float = 0.0) -> Line:
    """A look at a wagon, with what the judges would say were it an engine."""
    line = made_looks.look(np.random.default_rng(scene), "held", 2, scene, engine=False)
    line["seen"] |= {"score": 0.9 if passes else 0.1, "finder": 0.9}
    for cue in made_looks.CUES:
        values = made_looks.cue_values(np.random.default_rng(scene), present, 9.0)
        line["seen"]["cues"][cue] = values
    return line


def by_figure(rows: list[Row]) -> dict[str, Row]:
    return {
        row.figure.partition(", of ")[2]: row for row in rows if "to one year" not in row.figure
    }


def test_pictures_without_an_engine_are_dated_like_any_other(tmp_path: Path) -> None:
    lines = [without_engine(i, passes=False) for i in range(5)]
    lines += [without_engine(i, passes=True) for i in range(5, 8)]  # nothing told of any cue
    lines += [without_engine(i, passes=True, present=9.0) for i in range(8, 10)]
    lines += made_looks.looks(20, seed=3, empty=0.0)
    path = made_looks.write(lines, tmp_path / "looks.jsonl.gz")
    every = [judge(look, made_looks.fusion()) for look in read_looks([path])]
    rows = passed_rows(every)
    found = by_figure(rows)
    assert found["pictures without an engine"].n == 10
    assert found["pictures without an engine"].value == pytest.approx(0.2)
    assert found["those taken for an engine"].n == 5
    assert load_guide().name in rows[0].figure


def test_of_no_picture_without_an_engine_nothing_is_said(tmp_path: Path) -> None:
    path = made_looks.write(made_looks.looks(5, empty=0.0), tmp_path / "looks.jsonl.gz")
    rows = passed_rows([judge(look, made_looks.fusion()) for look in read_looks([path])])
    assert all(row.n == 0 and np.isnan(row.value) for row in rows)


def test_all_years_of_a_guide_are_not_narrowed_down() -> None:
    guide = load_guide()
    assert not narrowed(None)
    assert not narrowed(estimate(guide, []))
    assert narrowed(estimate(guide, [sure_number()]))
    assert placed(lever("brindle"), NotFound(""), PLACES["brindle"]).state is State.PRESENT
