"""What an archive remembers, by another guide, another model, and as the photos themselves say."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from answers import FakeEye
from archives import GUIDE, rows, tag
from eyes import newer_eye
from vision.archive import Index
from vision.archive.engines import answers
from vision.archive.reading import look_at
from vision.archive.values import Task
from vision.guide import load_guide
from vision.photo import open_photo
from vision.pipeline import LoadTold, date_item
from vision.pipeline.kept import date_looks
from vision.pipeline.look import look_from_text, look_to_text
from vision.report import answer_json

DEMO = Path(__file__).parent.parent / "demo_images"


def test_a_guide_with_the_lever_at_the_same_place_dates_again_and_looks_at_nothing(
    shelf: Path,
) -> None:
    tag(shelf)
    brindle = replace(load_guide("brindle"), lever_at=GUIDE.lever_at)
    other = tag(shelf, guide=brindle)
    assert (other.looked_at, other.told.dated, len(other.written)) == (0, 4, 5)
    renumbered = tag(shelf, guide=replace(brindle, sha256="0" * 64))
    assert (renumbered.looked_at, renumbered.told.dated) == (0, 4)


@pytest.mark.parametrize("lever_at", [0.6, None])
def test_a_guide_with_the_lever_elsewhere_looks_again_and_back_it_is_remembered(
    shelf: Path, lever_at: float | None
) -> None:
    tag(shelf)
    brindle = replace(load_guide("brindle"), lever_at=lever_at)
    other = tag(shelf, guide=brindle)
    assert (other.looked_at, other.told.dated, len(other.written)) == (5, 4, 5)
    assert tag(shelf, guide=brindle).looked_at == 0
    back = tag(shelf)
    assert (back.looked_at, back.told.dated, len(back.written)) == (0, 4, 5)


def test_the_answers_kept_are_given_after_another_guides_run_too(shelf: Path) -> None:
    """What was looked at for one guide is not dated from what was looked at for another."""
    tag(shelf)
    tag(shelf, guide=load_guide("brindle"))
    tag(shelf)
    index = Index(shelf / ".telltale" / "index.sqlite")
    try:
        kept = list(index.engines())
        assert [row for row, _ in answers(index, GUIDE, kept)] == kept
        assert len(kept) == 4
    finally:
        index.close()


def test_a_new_model_looks_again(shelf: Path) -> None:
    tag(shelf)
    summary = tag(shelf, load_eye=newer_eye)
    assert (summary.looked_at, summary.told.dated) == (5, 4)
    assert tag(shelf, load_eye=newer_eye).looked_at == 0


def test_a_kept_answer_is_that_of_the_photos_themselves(shelf: Path) -> None:
    tag(shelf)
    photos = [open_photo(shelf / "mine" / name) for name in ("003.jpg", "004.jpg")]
    expected = answer_json(date_item(photos, GUIDE, FakeEye()))
    found = rows(shelf)["mine"]
    for photo, path in zip(expected["photos"], ("mine/003.jpg", "mine/004.jpg"), strict=True):
        photo["path"] = path
    assert found == json.loads(json.dumps(expected))


@pytest.mark.parametrize("names", [("wayfarer_w1", "wayfarer_w2"), ("wayfarer_w4", "brindle_m1")])
def test_looks_of_the_shipped_eye_date_as_the_photos_do(names: tuple[str, str]) -> None:
    from vision.cli import load_shipped_eye

    paths = [f"{name}.jpg" for name in names]
    load_eye = LoadTold(load_shipped_eye, GUIDE.lever_at)
    seen = [look_at(Task(str(DEMO), path), load_eye) for path in paths]
    looks = [look_from_text(one.look) for one in seen]
    assert [look_to_text(look) for look in looks] == [one.look for one in seen]
    eye = load_shipped_eye()
    direct = date_item([open_photo(DEMO / path) for path in paths], GUIDE, eye)
    kept = date_looks(paths, looks, GUIDE, eye.version)
    assert kept.cues == direct.cues
    assert kept.estimate == direct.estimate
    assert kept.versions == direct.versions
