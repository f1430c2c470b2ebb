"""Looks that were kept for one place of the lever, or by an earlier version, and what asks next."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from archives import GUIDE, fill, tag
from eyes import fake_eye
from vision.archive import Index
from vision.cli import run
from vision.cues.evidence import PARTS_ALONG
from vision.guide import load_guide
from vision.network import Networks
from vision.pipeline import NetworkEye, told
from vision.pipeline.look import LOOK_FORMAT, eye_name, is_readable, looks_at
from vision.pipeline.placing import placed
from vision.records import Closely, Cue, NotFound, State


def _renamed(folder: Path, old: str, new: str) -> None:
    """Change the names of the eyes that looked."""
    base = sqlite3.connect(folder / ".telltale" / "index.sqlite")
    with base:
        base.execute("UPDATE looks SET eye = replace(eye, ?, ?)", (old, new))
    base.close()


def test_looks_of_an_earlier_version_are_no_answer_and_renew_no_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:

    folder, wants, page = tmp_path / "shelf", tmp_path / "w.csv", tmp_path / "p.html"
    folder.mkdir()
    fill(folder, 3)
    tag(folder)
    assert run(["shelf", str(folder), "--wants", str(wants)]) == 0
    before = wants.read_bytes()
    _renamed(folder, f"/{LOOK_FORMAT}/", "/13/")
    capsys.readouterr()
    code = run(["shelf", str(folder), "--wants", str(wants), "--html", str(page)])
    err = capsys.readouterr().err
    assert code == 50 and wants.read_bytes() == before and not page.exists()
    assert "no engine has an answer by this version" in err
    assert run(["shelf", str(folder)]) == 50  # not a shelf that lacks everything
    assert capsys.readouterr().out == ""
    tag(folder)
    assert run(["shelf", str(folder), "--wants", str(wants)]) == 0
    assert capsys.readouterr().err == ""


def test_a_shelf_by_a_guide_with_its_lever_elsewhere_says_what_it_lacks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:

    fill(tmp_path, 2)
    tag(tmp_path)
    assert run(["shelf", str(tmp_path), "--guide", "brindle"]) == 0
    err = capsys.readouterr().err
    assert "2 photos have not been looked at closely where this guide has its lever" in err
    tag(tmp_path, guide=load_guide("brindle"))
    for guide in ("brindle", "wayfarer"):
        assert run(["shelf", str(tmp_path), "--guide", guide]) == 0
        assert capsys.readouterr().err == ""


def test_the_latest_models_look_comes_before_a_closer_one_by_an_older_model(
    tmp_path: Path,
) -> None:
    fill(tmp_path, 1)
    tag(tmp_path)
    tag(tmp_path, guide=replace(GUIDE, lever_at=0.7))
    index = Index(tmp_path / ".telltale" / "index.sqlite")
    try:
        (photo,) = index.photos()
        model = fake_eye().version
        for lever_at in (0.54, 0.5404, 0.7):
            ((eye, _),) = index.looks([photo], lever_at)
            assert eye == eye_name(model, 0.7 if lever_at == 0.7 else GUIDE.lever_at)
        _renamed(tmp_path, eye_name(model, GUIDE.lever_at), eye_name("older", GUIDE.lever_at))
        ((eye, _),) = index.looks([photo], GUIDE.lever_at)
        assert eye == eye_name(model, 0.7)
    finally:
        index.close()


def test_names_say_whether_an_eye_looked_there() -> None:
    assert looks_at(eye_name("m/1", 0.54), 0.5404) and not looks_at(eye_name("m/1", 0.54), 0.56)
    assert looks_at(eye_name("m/1"), None) and looks_at(eye_name("m/1", 0.54), None)
    assert not looks_at(eye_name("m/1"), 0.54)
    assert eye_name("m", -0.0) == eye_name("m", 0.0) == eye_name("m", 1e-9)
    assert is_readable(eye_name("m")) and not is_readable("2026.1/13/m") and not is_readable("m")


@pytest.mark.parametrize("place", [0.54004, 0.12345678, 1e-9])
def test_an_eye_looks_where_its_name_says(place: float) -> None:
    """Else what is kept by that name could differ from what a fresh look says."""
    eye = told(NetworkEye(Networks({}, {}, "1")), place)
    assert isinstance(eye, NetworkEye)
    assert eye_name("1", eye.places[0]) == eye_name("1", place)
    assert eye.places[0] == float(f"{place:.4f}")


def test_what_cannot_be_seen_is_not_said_to_be_elsewhere() -> None:
    hidden = Cue(
        *("switch_lever", State.UNSEEN, 0.995),
        because="the boiler top is cut off by the edge of the picture",
        along=(0.02,) * PARTS_ALONG,
    )
    assert placed(hidden, NotFound(""), 0.54) == hidden
    seen = replace(hidden, state=State.PRESENT, confidence=0.995, because="it stands")
    assert "cannot be told" in placed(seen, NotFound(""), 0.54).because
    clear = replace(seen, along_in_sight=True)
    assert "but not where the guide" in placed(clear, NotFound(""), 0.54).because


@pytest.mark.parametrize("in_sight", [True, False])
def test_more_of_a_lever_at_its_place_never_takes_a_sure_one_away(in_sight: bool) -> None:
    for p in (0.02, 0.3, 0.49, 0.51, 0.7, 0.79, 0.95):
        near = (Closely(0.54, p, 0.95, in_sight),)
        along = (0.6,) * PARTS_ALONG
        cue = Cue("switch_lever", State.PRESENT, 0.995, confidence=0.995, along=along, near=near)
        said = placed(cue, NotFound(""), 0.54)
        assert said.state is State.PRESENT, p
        assert ("but not where" in said.because) is (p < 0.5 and in_sight)


def test_of_two_places_a_hair_apart_the_very_one_is_answered_by(tmp_path: Path) -> None:
    """Else what a shelf says would depend on the guides that an archive was tagged with."""
    fill(tmp_path, 1)
    close = replace(GUIDE, lever_at=0.5405)
    for guides in ((GUIDE, close), (close, GUIDE)):
        for guide in guides:
            tag(tmp_path, guide=guide)
        index = Index(tmp_path / ".telltale" / "index.sqlite")
        try:
            for guide in guides:
                ((eye, _),) = index.looks(index.photos(), guide.lever_at)
                assert eye == eye_name(fake_eye().version, guide.lever_at)
        finally:
            index.close()


@pytest.mark.parametrize(
    ("anywhere", "state"), [(0.3, State.ABSENT), (0.69, State.ABSENT), (0.71, State.UNSEEN)]
)
def test_a_lever_that_may_stand_elsewhere_is_not_called_absent(
    anywhere: float, state: State
) -> None:
    """The engine may be another casting than the guide's."""
    cue = Cue(
        *("switch_lever", State.UNSEEN, anywhere),
        along=(0.05,) * PARTS_ALONG,
        along_in_sight=True,
    )
    said = placed(cue, NotFound(""), 0.54)
    # What may stand elsewhere speaks against its absence.
    p = 0.05 if state is State.ABSENT else 1.0 - anywhere
    assert said.state is state and said.p_present == pytest.approx(p)
    assert (said.confidence > 0) is (state is State.ABSENT)
    assert ("perhaps one elsewhere" in said.because) is (state is State.UNSEEN)
