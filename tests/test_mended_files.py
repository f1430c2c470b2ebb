"""Files of a person's that were lost, lists that forgot, and searches that misled."""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from archives import fill, tag
from shapes import encoded, engine
from vision.archive.engines import Engines
from vision.archive.query import parse_query
from vision.archive.run import _Run
from vision.cli import CLOSED, run
from vision.cli.archive import STOPPED
from vision.cli.files import PAGE, write_whole
from vision.guide import starter_text
from vision.records import ArchiveError, OutputError
from vision.shelf import Work, work_text

TESTS = Path(__file__).parent
Telltale = Callable[..., tuple[int, str, str]]


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and ".telltale" not in path.parts
    }


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A tagged folder with two photos, a guide, a page and a table of a person's own."""
    folder = tmp_path / "mine"
    fill(folder, 2)
    tag(folder)
    (folder / "g.toml").write_text(starter_text())
    (folder / "diary.html").write_text("<!doctype html>\n<html><p>1 May</p></html>\n")
    (folder / "parts.csv").write_text("engine,part,state\na,bell,open\n")
    return folder


# --- what is not ours is never replaced --------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        "date 000.jpg --html 001.jpg",
        "date 000.jpg --html diary.html",
        "date 000.jpg --html 000.jpg.xmp",
        "date 000.jpg --guide g.toml --html g.toml",
        "guide show wayfarer --html g.toml",
        "shelf . --guide g.toml --wants g.toml",
        "shelf . --html 000.jpg",
        "shelf . --wants 001.jpg",
        "shelf . --wants parts.csv",
        "shelf . --work g.toml",
        "shelf . --work 001.jpg",
        "shelf . --work parts.csv",
        "shelf . --wants new.csv --work parts.csv",
        "shelf . --wants new.csv --html new.csv",
        "shelf . --wants new.csv --work ./new.csv",
        "find --csv 001.jpg",
        "find --csv parts.csv",
        "find --parquet parts.csv",
        'find "variation W9" --csv 001.jpg',
        "find --csv .",
        "find --csv no_such/new.csv",
    ],
)
def test_a_file_that_is_not_ours_is_left_alone(
    mine: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch, words: str
) -> None:
    monkeypatch.chdir(mine)
    before = contents(mine)
    code, out, err = telltale(*next(csv.reader([words], delimiter=" ")))
    assert (code, out) == (OutputError.exit_code, "")
    assert err.count("\n") == 1
    assert contents(mine) == before


@pytest.mark.parametrize("option", ["--csv", "--html"])
def test_listings_leave_what_is_not_theirs_alone(
    shop: Path, mine: Path, telltale: Telltale, option: str
) -> None:
    for name in ("g.toml", "diary.html", "parts.csv", "000.jpg"):
        before = contents(mine)
        code, out, err = telltale("listings", shop, "--jobs", 1, option, mine / name)
        assert (code, out, err.count("\n")) == (OutputError.exit_code, "", 1)
        assert "choose another name" in err
        assert contents(mine) == before


def test_results_of_ours_are_renewed(mine: Path, telltale: Telltale, shop: Path) -> None:
    out = mine.parent / "out"
    out.mkdir()
    commands = [
        ("date", mine / "000.jpg", "--html", out / "a.html"),
        ("guide", "show", "wayfarer", "--html", out / "g.html"),
        ("find", "--dir", mine, "--csv", out / "f.csv"),
        (
            "shelf",
            mine,
            "--html",
            out / "s.html",
            "--wants",
            out / "w.csv",
            "--work",
            out / "k.csv",
        ),
        ("listings", shop, "--jobs", 1, "--html", out / "l.html", "--csv", out / "l.csv"),
    ]
    for command in commands:
        assert telltale(*command)[0] == 0
    first = contents(out)
    assert len(first) == 8
    for command in commands:
        assert telltale(*command)[0] == 0
    assert contents(out) == first
    assert all(data.startswith(PAGE) for name, data in first.items() if name.endswith("html"))


def test_a_parquet_file_of_ours_is_renewed_and_no_other(mine: Path, telltale: Telltale) -> None:
    pyarrow = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    ours, other = mine / "ours.parquet", mine / "other.parquet"
    parquet.write_table(pyarrow.table({"photo": ["a"], "years": ["1935"]}), other)
    before = other.read_bytes()
    for _ in range(2):
        assert telltale("find", "--dir", mine, "--parquet", ours)[0] == 0
    assert telltale("find", "--dir", mine, "--parquet", other)[0] == OutputError.exit_code
    assert other.read_bytes() == before


def test_a_work_list_is_no_wants_list(mine: Path, telltale: Telltale) -> None:
    todo = mine / "work.csv"
    todo.write_text(work_text([Work("a", "W1", "bell", "missing")]).replace("open,", "open,mine"))
    before = todo.read_bytes()
    for option in ("--wants", "--html"):
        assert telltale("shelf", mine, option, todo)[0] == OutputError.exit_code
        assert todo.read_bytes() == before


def test_what_comes_to_the_name_during_the_work_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "page.html"

    def pieces():
        yield b"<!doctype html>\n"
        target.write_text("a diary")
        yield b"<p>an answer</p>\n"

    with pytest.raises(OutputError, match="choose another name"):
        write_whole(target, pieces())
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert target.read_text() == "a diary"


def test_a_work_list_saved_during_the_work_is_left_alone(
    mine: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch
) -> None:
    todo = mine / "work.csv"
    todo.write_text(work_text([Work("a", "W1", "bell", "missing")]))
    saved = todo.read_text().replace("open,", "ordered,mine")

    def save_meanwhile(*_: object) -> str:
        todo.write_text(saved)
        return "engine,variation,part,finding,state,notes\r\n"

    monkeypatch.setattr("vision.shelf.work_text", save_meanwhile)
    assert telltale("shelf", mine, "--work", todo)[0] == OutputError.exit_code
    assert todo.read_text() == saved


def test_overlays_of_namesakes_from_two_runs_stand_side_by_side(
    tmp_path: Path, telltale: Telltale
) -> None:
    drawn = tmp_path / "drawn"
    photos = [tmp_path / name / "x.jpg" for name in ("a", "b")]
    for height, photo in zip((180, 240), photos, strict=True):
        photo.parent.mkdir()
        photo.write_bytes(encoded(engine(320, height), "JPEG"))
        assert telltale("date", photo, "--overlay", drawn)[0] == 0
    names = ["x.telltale-2.jpg", "x.telltale.jpg"]
    assert sorted(path.name for path in drawn.iterdir()) == names
    before = contents(drawn)
    assert len(set(before.values())) == 2
    # Each finds its own again, in any order.
    assert telltale("date", *reversed(photos), "--overlay", drawn)[0] == 0
    assert contents(drawn) == before


def test_an_overlay_never_replaces_what_it_does_not_know(
    tmp_path: Path, telltale: Telltale
) -> None:
    (tmp_path / "x.jpg").write_bytes(encoded(engine(), "JPEG"))
    unknown = tmp_path / "x.telltale.jpg"
    Image.new("RGB", (9, 9)).save(unknown)
    before = unknown.read_bytes()
    assert telltale("date", tmp_path / "x.jpg", "--overlay", tmp_path)[0] == 0
    assert unknown.read_bytes() == before
    assert (tmp_path / "x.telltale-2.jpg").exists()


# --- the work list keeps what a person wrote -----------------------------------------


def table(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def test_columns_without_a_name_and_cells_beyond_the_last_stay() -> None:
    before = "engine,variation,part,finding,state,notes,,\r\na,W1,bell,missing,open,n,A,B,C\r\n"
    after = table(work_text([Work("a", "W1", "bell", "gone")], before))
    assert after[0] == ["engine", "variation", "part", "finding", "state", "notes", "", ""]
    assert after[1] == ["a", "W1", "bell", "gone", "open", "n", "A", "B", "C"]
    # Also where the row is no longer seen, and where columns of ours have to be added.
    assert table(work_text([], before))[1][4:] == ["no longer seen", "n", "A", "B", "C"]
    short = "engine,part,x,x\na,bell,1,2,3\n"
    assert table(work_text([Work("a", "W1", "bell", "gone")], short)) == [
        ["engine", "part", "x", "x", "variation", "finding", "state", "notes"],
        ["a", "bell", "1", "2", "W1", "gone", "open", "", "3"],
    ]


def test_a_state_of_a_persons_own_stays() -> None:
    before = work_text([Work("a", "W1", "bell", "missing")]).replace("open", "ordered 3 May")
    after = table(work_text([Work("a", "W2", "bell", "gone")], before))
    assert after[1] == ["a", "W2", "bell", "gone", "ordered 3 May", ""]
    assert table(work_text([], before))[1][4] == "ordered 3 May"
    back = work_text([Work("a", "W1", "bell", "missing")]).replace("open", "no longer seen")
    assert table(work_text([Work("a", "W1", "bell", "gone")], back))[1][4] == "open"


def test_two_rows_for_one_part_both_stay() -> None:
    row = "a,W1,bell,missing,open,\r\n"
    before = work_text([Work("a", "W1", "bell", "missing")]) + row
    assert work_text([Work("a", "W1", "bell", "missing")], before) == before


def test_a_cell_that_no_reader_takes_is_an_error_of_ours() -> None:
    with pytest.raises(ArchiveError, match="no CSV"):
        work_text([], "engine,part\na," + "x" * 200_000 + "\n")


# --- a query that no photo can answer is an error -------------------------------------


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("stripe presnt", 'did you mean "present"'),
        ("lever yes", 'did you mean "present"'),
        ("lever no", 'did you mean "absent"'),
        ("axles six", 'did you mean "6"'),
        ("lamps tow", 'did you mean "2"'),
        ("number presnt", 'did you mean "present"'),
        ("lever 6", "lever with present, absent, unseen$"),
        ("lever six", "lever with present, absent, unseen$"),
        ("stripe red", "no colour"),
        ("stripe and 1935", '"stripe and"'),
        ("axles 6axles", "a count"),
        ("strip present", 'did you mean "stripe"'),
        ("engine presnt", 'did you mean "present"'),
    ],
)
def test_a_word_that_nothing_can_be_is_an_error_with_what_is_near(query: str, said: str) -> None:
    with pytest.raises(ArchiveError, match=said):
        parse_query(query)


def test_values_that_a_photo_can_have_are_understood() -> None:
    for query in ("axles 6", "lamps 0", "number 322", "number 3?2", "cab number 4B", "number AB"):
        parse_query(query)


# --- a run that was stopped says so, and what asks after it ---------------------------


@pytest.mark.parametrize("moment", [(_Run, "look"), (_Run, "date"), (Engines, "prepare")])
def test_a_stopped_run_is_told_of_and_so_is_what_it_left(
    tmp_path: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch, moment: tuple[type, str]
) -> None:
    fill(tmp_path, 2)

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(*moment, stop)
    code, _, err = telltale("tag", tmp_path, "--jobs", 1)
    assert (code, err) == (STOPPED, "telltale: stopped; run tag again to go on\n")
    monkeypatch.undo()
    _, _, found = telltale("find", "--dir", tmp_path)
    _, _, held = telltale("shelf", tmp_path)
    for err in (found, held):
        assert "tagging has not finished, 2 photos still without an answer" in err
    assert telltale("tag", tmp_path, "--jobs", 1)[0] == 0
    for words in (("find", "--dir", tmp_path), ("shelf", tmp_path)):
        assert telltale(*words)[2] == ""


def test_a_finished_run_is_finished_though_photos_failed_or_there_are_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    empty, damaged = tmp_path / "empty", tmp_path / "damaged"
    empty.mkdir()
    fill(damaged, 1)
    (damaged / "x.jpg").write_bytes(b"no photo")
    for folder in (empty, damaged):
        tag(folder)
        run(["find", "--dir", str(folder)])
        assert "not finished" not in capsys.readouterr().err


# --- a pipe that is closed early -------------------------------------------------------


@pytest.mark.parametrize("words", [["--json"], []])
def test_a_reader_that_has_enough_ends_the_command_quietly(
    tmp_path: Path, words: list[str]
) -> None:
    (photo,) = fill(tmp_path, 1)
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, str(TESTS / "eyes.py"), "fake_eye", "date", photo, *words],
        stdout=writer,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent)])},
        check=False,
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (CLOSED, b"")
