"""By which guide an archive is dated, and that it is said."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from archives import fill, state
from archives import tag as tag_quietly
from conftest import Telltale
from vision.archive.index import FORMAT
from vision.guide import builtin_text, load_guide


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A guide of one's own, version 2, for tank engines as the built-in one it was made from."""
    path = tmp_path / "guides" / "mine.toml"
    path.parent.mkdir()
    path.write_text('version = "2"\n' + _without_version(builtin_text("brindle")), "utf-8")
    assert load_guide(path).version == "2"
    return path


def _without_version(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith("version"))


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    fill(tmp_path / "photos", 2)
    return tmp_path / "photos"


def forget(folder: Path) -> None:
    """Make of an index one that was written before guides were remembered."""
    base = sqlite3.connect(folder / ".telltale" / "index.sqlite")
    base.executescript("DROP TABLE guide; PRAGMA user_version = 1;")
    base.close()


def test_an_archive_goes_on_with_its_guide(
    photos: Path, mine: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`tag` without --guide dated an archive of one's own guide anew by the example."""
    monkeypatch.chdir(mine.parent)
    code, out, _ = telltale("tag", photos, "--guide", mine.name, "--jobs", 1)
    title = load_guide(mine).title
    assert code == 0
    assert out.startswith(f"{photos}: dating by the guide mine 2 ({title})\n")
    before = state(photos)
    monkeypatch.chdir(photos)
    code, out, _ = telltale("tag", photos, "--jobs", 1)
    assert (code, state(photos)) == (0, before)
    assert f"dating by the guide mine 2 ({title}), as before\n" in out
    assert telltale("shelf", photos)[1].startswith(f"{title} (guide mine 2)\n")
    # A later state of it, without a new version too, is the guide.
    mine.write_text(mine.read_text("utf-8").replace('"2"', '"10"') + "# more\n", "utf-8")
    code, out, _ = telltale("tag", photos, "--jobs", 1)
    assert (code, "mine 10" in out, "before by mine 2" in out) == (0, True, True)
    mine.write_text(mine.read_text("utf-8") + "# more\n", "utf-8")
    assert telltale("tag", photos, "--jobs", 1)[0] == 0
    code, out, _ = telltale("tag", photos, "--guide", "wayfarer", "--jobs", 1)
    assert code == 0 and ", before by mine 10\n" in out


def test_a_new_archive_is_said_to_be_dated_by_an_example(photos: Path, telltale: Telltale) -> None:
    dry = telltale("tag", photos, "--jobs", 1, "--dry-run")[1]
    assert "the guide wayfarer " in dry and "an example that comes with telltale" in dry
    assert not (photos / ".telltale").exists()
    telltale("tag", photos, "--jobs", 1)
    again = telltale("tag", photos, "--jobs", 1)[1]
    assert "as before" in again and "example" not in again


@pytest.mark.parametrize("command", ["tag", "shelf"])
@pytest.mark.parametrize("change", ["gone", "earlier", "broken"])
def test_a_guide_that_cannot_be_gone_on_with_is_named(
    photos: Path, mine: Path, telltale: Telltale, command: str, change: str
) -> None:
    telltale("tag", photos, "--guide", mine, "--jobs", 1)
    before = state(photos)
    if change == "gone":
        mine.unlink()
    elif change == "earlier":
        mine.write_text(mine.read_text("utf-8").replace('version = "2"', 'version = "1"'), "utf-8")
    else:
        mine.write_text("no guide", "utf-8")
    code, out, err = telltale(command, photos)
    assert (code, out, state(photos)) == (50, "", before)
    assert err.startswith(f"telltale: {photos}: dated by the guide mine 2 before")
    assert "mine.toml" in err and err.count("\n") == 1 and "--guide" in err
    assert telltale(command, photos, "--guide", "brindle")[0] == 0


def test_a_run_that_was_stopped_goes_on_with_its_guide(
    photos: Path, mine: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("vision.archive.run._crew", stop)
    assert telltale("tag", photos, "--guide", mine, "--jobs", 1)[0] == 130
    monkeypatch.undo()
    assert "the guide mine 2 " in telltale("tag", photos, "--jobs", 1)[1]


def test_an_index_of_before_keeps_what_is_in_it_and_its_answers_name_the_guide(
    photos: Path, mine: Path, telltale: Telltale
) -> None:
    telltale("tag", photos, "--guide", "brindle", "--jobs", 1)
    forget(photos)
    code, out, err = telltale("tag", photos, "--jobs", 1)
    assert (code, err) == (0, "")
    assert "dating by the guide brindle " in out
    assert "0 looked at, 0 copies of these, 2 known already" in out
    assert list((photos / ".telltale").glob("*damaged*")) == []
    base = sqlite3.connect(photos / ".telltale" / "index.sqlite")
    assert base.execute("PRAGMA user_version").fetchone() == (FORMAT,)
    base.close()
    telltale("tag", photos, "--guide", mine, "--jobs", 1)
    forget(photos)
    code, _, err = telltale("tag", photos, "--jobs", 1)
    assert code == 50 and "the guide mine 2 before; where its file lies was not kept" in err
    assert telltale("find", "--dir", photos)[0] == 0


def test_a_damaged_index_is_not_taken_for_a_new_archive(
    photos: Path, mine: Path, telltale: Telltale
) -> None:
    telltale("tag", photos, "--guide", mine, "--jobs", 1)
    before = state(photos)
    (photos / ".telltale" / "index.sqlite").write_bytes(b"\xa5" * 5000)
    code, _, err = telltale("tag", photos, "--jobs", 1)
    assert (code, state(photos)) == (50, before)
    assert "cannot be read" in err and "--guide" in err
    code, _, err = telltale("tag", photos, "--guide", mine, "--jobs", 1)
    assert code == 0 and "built anew" in err


def test_what_tags_without_a_place_is_gone_on_with_where_it_is_built_in(
    photos: Path, mine: Path, telltale: Telltale
) -> None:
    tag_quietly(photos, guide=load_guide("brindle"))
    assert "the guide brindle " in telltale("tag", photos, "--jobs", 1)[1]
    tag_quietly(photos, guide=load_guide(mine))
    assert telltale("tag", photos, "--jobs", 1)[0] == 50


@pytest.mark.parametrize(
    ("query", "strange"),
    [
        ("variation M3", "M3"),
        ("variation W9 or not variation m3", "W9 or m3"),
        ("variation w3", ""),
        ("variation other", ""),
        ("stripe absent", ""),
    ],
)
def test_a_variation_that_the_guide_lacks_is_told_with_the_guide(
    photos: Path, telltale: Telltale, query: str, strange: str
) -> None:
    """Of an archive that was dated by another guide it said "nothing found" and no more."""
    telltale("tag", photos, "--jobs", 1)
    code, _, err = telltale("find", query, "--dir", photos)
    guide = load_guide()
    ids = ", ".join(variation.id for variation in guide.variations)
    by = f"this archive was dated by wayfarer {guide.version}, with {ids}\n"
    assert code == 0
    assert (f"telltale: no variation {strange}; {by}" in err) is bool(strange)
    assert ("no variation" in err) is bool(strange)
