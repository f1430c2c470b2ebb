"""The command from outside: what it prints, what it refuses, and how it ends."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from answers import FakeEye, photo_of
from conftest import Telltale
from shapes import encoded, engine
from vision import __version__
from vision.cli import run
from vision.guide import builtin_names, load_guide
from vision.pipeline import date_item
from vision.records import (
    EvidenceError,
    GuideError,
    ModelError,
    PhotoEmpty,
    PhotoIsFolder,
    PhotoMissing,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
)
from vision.report import answer_json


def test_version_and_help(telltale: Telltale) -> None:
    assert telltale("--version") == (0, f"telltale {__version__}\n", "")
    code, out, _ = telltale("--help")
    assert code == 0
    assert "date" in out
    assert "guide" in out


def test_one_photo_as_text(telltale: Telltale, photo: Path) -> None:
    code, out, err = telltale("date", photo)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == str(photo)
    assert lines[1].startswith("  ╔")
    expected = date_item([photo_of(engine())], load_guide(), FakeEye()).estimate
    assert expected is not None
    assert expected.variations[0].id in lines[4]


def test_cautions_are_said_once_a_run(telltale: Telltale, photo: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    _, out, _ = telltale("date", photo, photo, "--html", page)
    assert out.count("licensed electrician") == 1
    assert out.count("What to look at next") == 2
    assert page.read_text().count("licensed electrician") == 1
    _, out, _ = telltale("date", photo, eye=FakeEye({"engine": None}))
    assert "licensed electrician" not in out


def test_json_is_one_object_a_line_and_the_reports_own(telltale: Telltale, photo: Path) -> None:
    code, out, err = telltale("date", photo, photo, "--json")
    assert (code, err) == (0, "")
    first, second = (json.loads(line) for line in out.splitlines())
    assert first == second
    expected = answer_json(date_item([photo_of(engine(), str(photo))], load_guide(), FakeEye()))
    expected["photos"][0]["sha256"] = hashlib.sha256(photo.read_bytes()).hexdigest()
    assert first == expected


def test_the_guide_can_be_named_or_a_file(telltale: Telltale, photo: Path, tmp_path: Path) -> None:
    name = builtin_names()[1]
    _, out, _ = telltale("date", photo, "--json", "--guide", name)
    assert json.loads(out)["versions"]["guide"].startswith(f"{name} ")
    own = tmp_path / "own.toml"
    assert telltale("guide", "new", own)[0] == 0
    _, out, _ = telltale("date", photo, "--json", "--guide", own)
    assert json.loads(out)["versions"]["guide"].startswith("own ")


def test_the_default_guide_is_the_first_built_in_one(telltale: Telltale, photo: Path) -> None:
    _, out, _ = telltale("date", photo, "--json")
    assert json.loads(out)["versions"]["guide"].startswith(f"{builtin_names()[0]} ")


def test_together_gives_one_answer(telltale: Telltale, photo: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.png"
    other.write_bytes(encoded(engine(400, 200)))
    code, out, _ = telltale("date", photo, other, "--together", "--json")
    assert code == 0
    (record,) = (json.loads(line) for line in out.splitlines())
    assert [Path(p["path"]).name for p in record["photos"]] == ["engine.png", "other.png"]
    assert len(record["sightings"]) == 2


def test_what_a_person_saw_changes_the_answer(telltale: Telltale, photo: Path) -> None:
    before = json.loads(telltale("date", photo, "--json")[1])
    saw = ["--saw", "cab_number=310", "--saw", "edge_stripe=absent"]
    after = json.loads(telltale("date", photo, "--json", *saw)[1])
    assert {c["name"] for c in after["cues"] if c.get("source") == "person"} == {
        "cab_number",
        "edge_stripe",
    }
    # By the guide's table, number 310 without a stripe and with a linkage is W2.
    assert after["estimate"]["variations"][0]["id"] == "W2"
    assert before["estimate"]["variations"][0]["id"] == "W3"


def test_a_photo_without_an_engine_is_an_answer(telltale: Telltale, photo: Path) -> None:
    code, out, err = telltale("date", photo, "--json", eye=FakeEye({"engine": None}))
    assert (code, err) == (0, "")
    assert json.loads(out)["not_found"] == "nothing like a locomotive"


# --- bad input -------------------------------------------------------------------


def bad_files(folder: Path) -> dict[Path, type[Exception]]:
    (folder / "empty.jpg").touch()
    (folder / "letter.jpg").write_text("Dear sir, the engine is green.\n" * 40)
    jpeg = encoded(engine(640, 360), "JPEG")
    (folder / "cut.jpg").write_bytes(jpeg[: len(jpeg) // 2])
    (folder / "dot.png").write_bytes(encoded(Image.new("RGB", (1, 1))))
    Image.new("1", (20_000, 20_000)).save(folder / "vast.png")
    return {
        folder / "none.jpg": PhotoMissing,
        folder: PhotoIsFolder,
        folder / "empty.jpg": PhotoEmpty,
        folder / "letter.jpg": PhotoUnreadable,
        folder / "cut.jpg": PhotoUnreadable,
        folder / "vast.png": PhotoTooLarge,
        folder / "dot.png": PhotoTooSmall,
    }


def test_each_bad_photo_gives_one_line_and_its_own_exit_code(
    telltale: Telltale, tmp_path: Path
) -> None:
    for path, error in bad_files(tmp_path).items():
        code, out, err = telltale("date", path)
        assert code == error.exit_code, path
        assert out == ""
        assert err.startswith(f"telltale: {path}: ")
        assert err.count("\n") == 1


def test_one_bad_photo_does_not_stop_the_others(
    telltale: Telltale, photo: Path, tmp_path: Path
) -> None:
    missing = tmp_path / "none.jpg"
    for extra in ([], ["--together"]):
        code, out, err = telltale("date", photo, missing, photo, "--json", *extra)
        assert code == PhotoMissing.exit_code
        assert err == f"telltale: {missing}: no such file\n"
        assert len(out.splitlines()) == (1 if extra else 2)


def test_several_reasons_have_an_exit_code_of_their_own(
    telltale: Telltale, photo: Path, tmp_path: Path
) -> None:
    (tmp_path / "empty.jpg").touch()
    code, out, err = telltale("date", tmp_path / "none.jpg", tmp_path / "empty.jpg", photo)
    assert code == 9
    assert err.count("\n") == 2
    assert out.startswith(str(photo))
    again = telltale("date", tmp_path / "none.jpg", tmp_path / "gone.jpg")
    assert again[0] == PhotoMissing.exit_code


def test_unknown_evidence_and_unknown_guide(telltale: Telltale, photo: Path) -> None:
    for statement in ("switch_levr=present", "switch_lever=maybe", "nothing"):
        code, out, err = telltale("date", photo, "--saw", statement)
        assert code == EvidenceError.exit_code
        assert out == ""
        assert err.startswith("telltale: ")
        assert err.count("\n") == 1
    code, _, err = telltale("date", photo, "--guide", "nosuchguide")
    assert code == GuideError.exit_code
    assert err.count("\n") == 1


def test_missing_models_are_one_line(
    photo: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    from vision.pipeline import load_eye

    code = run(["date", str(photo)], load_eye=lambda: load_eye(tmp_path))
    captured = capsys.readouterr()
    assert code == ModelError.exit_code
    assert captured.err.startswith("telltale: ")
    assert captured.err.count("\n") == 1


def test_wrong_use_has_exit_code_2(telltale: Telltale) -> None:
    for arguments in (["date"], ["date", "a.jpg", "--nonsense"], ["nonsense"]):
        code, out, err = telltale(*arguments)
        assert code == 2
        assert out == ""
        assert err.startswith("telltale: ")
        assert err.count("\n") == 1


def test_no_command_and_a_group_without_one_answer_with_help(telltale: Telltale) -> None:
    for arguments in ([], ["guide"]):
        code, _, err = telltale(*arguments)
        assert code == 2
        assert "Commands:" in err


def test_every_command_is_told_of_in_one_whole_line(telltale: Telltale) -> None:
    for arguments in (["--help"], ["guide", "--help"]):
        code, out, _ = telltale(*arguments)
        assert code == 0
        assert "..." not in out.partition("Commands:")[2]


# --- the process -----------------------------------------------------------------


def process(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-c", "from vision.cli import main; main()", *arguments],
        capture_output=True,
        env=os.environ | environment,
        timeout=60,
        check=False,
    )


def test_file_names_that_are_no_text_stop_nothing(tmp_path: Path) -> None:
    name = os.fsdecode(b"gr\xfcn.jpg")
    result = process("date", str(tmp_path / name), PYTHONIOENCODING="ascii")
    assert result.returncode == PhotoMissing.exit_code
    assert result.stderr.startswith(b"telltale: ")
    assert b"Traceback" not in result.stderr


def test_help_imports_nothing_heavy() -> None:
    # What makes a command slow to start: each of these costs 0.1 s or more to import.
    heavy = ("cv2", "onnxruntime", "skimage", "scipy", "PIL.Image", "edtf", "rich.console")
    code = (
        "import sys\nfrom vision.cli import run\nrun(['--version'])\nrun(['--help'])\n"
        f"print([name for name in {heavy!r} if name in sys.modules])"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert result.stdout.splitlines()[-1] == "[]"
