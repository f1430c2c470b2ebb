"""The wants list: renewed as the shelf changes, and what a person wrote into it kept."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archives import GUIDE, fill, tag
from vision.archive import Index
from vision.cli.listings import _wants as wanted
from vision.guide import load_guide
from vision.records import ArchiveError, OutputError
from vision.shelf import Want, read_wants, take_stock, wants_of, wants_text
from vision.shelf.lists import WANTS

Telltale = Callable[..., tuple[int, str, str]]
NAME = f"{GUIDE.name} {GUIDE.version}"
W4 = Want(NAME, "W4", "1935/1937", "lacking")
W5 = Want(NAME, "W5", "1937", "lacking")


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def line(*cells: str) -> str:
    return ",".join(cells) + "\r\n"


def test_rows_that_a_person_added_stay_when_the_wants_list_is_renewed() -> None:
    mine = line(NAME, "W2", "1933", "want a second one") + line("", "W1", "", "")
    before = wants_text([W4, W5]) + mine
    after = rows(wants_text([W5], before, GUIDE))
    assert after == [
        list(WANTS),
        [NAME, "W5", "1937", "lacking"],
        [NAME, "W2", "1933", "want a second one"],
        ["", "W1", "", ""],
    ]
    # Nothing lacks any more: what is a person's is still there.
    assert rows(wants_text([], before, GUIDE))[1:] == after[2:]


def test_columns_cells_and_reasons_of_a_persons_own_stay() -> None:
    before = (
        line(*WANTS, "most", "note")
        + line(NAME, "W4", "1935/1937", "lacking", "120", "")
        + line(NAME, "W5", "1937", "bid on one", "", "blue box")
    )
    after = wants_text([W5, Want(NAME, "W6", "1938/1939", "in doubt")], before, GUIDE)
    assert rows(after) == [
        [*WANTS, "most", "note"],
        [NAME, "W4", "1935/1937", "no longer wanted", "120", ""],
        [NAME, "W5", "1937", "bid on one", "", "blue box"],
        [NAME, "W6", "1938/1939", "in doubt", "", ""],
    ]
    # What is marked so is not looked for, and is wanted again once it lacks again.
    assert [want.variation for want in read_wants(after, "wants.csv")] == ["W5", "W6"]
    assert rows(wants_text([W4, W5], after, GUIDE))[1][3:] == ["lacking", "120", ""]


def test_a_later_version_renews_its_rows_and_another_guide_leaves_them_alone() -> None:
    before = wants_text([Want(f"{GUIDE.name} 0", "W5", "1936", "in doubt")])
    assert rows(wants_text([W5], before, GUIDE))[1:] == [[NAME, "W5", "1937", "lacking"]]
    assert rows(wants_text([], before, load_guide("brindle"))) == rows(before)


def test_a_list_whose_columns_were_moved_is_renewed_in_their_places() -> None:
    before = line("why", "note", "variation", "guide") + line("in doubt", '"a, b"', "W5", NAME)
    assert rows(wants_text([W5], before, GUIDE)) == [
        ["why", "note", "variation", "guide", "years"],
        ["lacking", "a, b", "W5", NAME, "1937"],
    ]


@given(
    st.lists(
        st.tuples(st.sampled_from(["W1", "W5", "W9", ""]), st.text("ab ,\"\n'", max_size=6)),
        max_size=6,
    )
)
def test_no_row_with_a_persons_reason_is_ever_lost(mine: list[tuple[str, str]]) -> None:
    stream = io.StringIO(newline="")
    csv.writer(stream).writerows([[NAME, id, "", why] for id, why in mine])
    wants = wants_of(take_stock([], GUIDE))
    after = rows(wants_text(wants, wants_text(wants) + stream.getvalue(), GUIDE))
    for id, why in mine:
        if why:
            assert any((row[1], row[3]) == (id, why) for row in after)
    # And once renewed it stays as it is.
    again = io.StringIO(newline="")
    csv.writer(again).writerows(after)
    assert wants_text(wants, again.getvalue(), GUIDE) == again.getvalue()


def test_a_table_that_is_no_wants_list_is_not_renewed() -> None:
    with pytest.raises(ArchiveError, match=r"wants list:1: the column variation"):
        wants_text([], "guide,why\n", GUIDE)


def test_the_command_keeps_a_persons_rows_and_column(tmp_path: Path, telltale: Telltale) -> None:
    folder = tmp_path / "shelf"
    fill(folder, 2)
    tag(folder)
    wants = tmp_path / "wants.csv"
    assert telltale("shelf", folder, "--wants", wants)[0] == 0
    head, *ours = wants.read_text("utf-8").splitlines()
    years = GUIDE.variation("W1").edtf
    mine = [f"{NAME},W1,{years},a better one,at the May sale", ",,,,ask the club"]
    # As spreadsheets save it.
    text = "\r\n".join([f"{head},where", *(f"{row}," for row in ours), *mine, ""])
    wants.write_text(f"\ufeff{text}", "utf-8")
    before = wants.stat().st_mtime_ns
    assert telltale("shelf", folder, "--wants", wants)[0] == 0
    assert wants.stat().st_mtime_ns == before
    assert telltale("shelf", folder, "--wants", wants, "--guide", "brindle")[0] == 0
    after = wants.read_text("utf-8-sig").splitlines()
    assert after[: len(ours) + 3] == text.splitlines()
    assert any(row.startswith("brindle 1,") for row in after[len(ours) + 3 :])


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("option", ["--wants", "--work"])
def test_a_renewed_list_keeps_the_mark_by_which_spreadsheets_read_it(
    tmp_path: Path, telltale: Telltale, option: str, mark: str
) -> None:
    """The byte-order mark went, and with it every letter beyond ASCII that was written in."""
    folder = tmp_path / "shelf"
    fill(folder, 1)
    tag(folder)
    mine = {
        "--wants": line(*WANTS, "note") + line(NAME, "W5", "", "lacking", "für Anna"),
        "--work": line("engine", "part", "finding", "state") + line("x", "y", "", "für Anna"),
    }
    path = tmp_path / "list.csv"
    path.write_text(mark + mine[option], "utf-8", newline="")
    before = path.read_bytes()
    assert telltale("shelf", folder, option, path)[0] == 0
    after = path.read_text("utf-8")
    assert after.encode() != before
    assert after.startswith("\ufeff") == bool(mark)
    assert "für Anna" in after


def test_listings_look_for_no_row_that_is_a_note_or_no_longer_wanted(tmp_path: Path) -> None:
    mine = line("", "", "", "ask the club") + line(NAME, "W4", "", "no longer wanted")
    path = tmp_path / "wants.csv"
    path.write_text(wants_text([W5]) + mine, "utf-8")
    assert wanted(str(path), GUIDE.name) == ("W5",)


def test_what_is_no_wants_list_is_refused(tmp_path: Path, telltale: Telltale) -> None:
    folder = tmp_path / "shelf"
    fill(folder, 1)
    tag(folder)
    for data in (b"engine,variation,part,finding,state\r\n", b"guide,variation\r\n", b"\xff\xfe"):
        other = tmp_path / "other.csv"
        other.write_bytes(data)
        code, out, err = telltale("shelf", folder, "--wants", other)
        assert (code, out, err.count("\n")) == (OutputError.exit_code, "", 1)
        assert other.read_bytes() == data


def test_the_shelf_reads_the_answers_once(
    tmp_path: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each engine's answer was read and parsed for what is unfinished, and again for itself."""
    folder = tmp_path / "shelf"
    fill(folder, 2)
    tag(folder)
    read = []
    engines = Index.engines

    def counted(index: Index):
        read.append(index)
        return engines(index)

    monkeypatch.setattr(Index, "engines", counted)
    code, out, _ = telltale("shelf", folder)
    assert (code, len(read)) == (0, 1)
    assert GUIDE.title in out
