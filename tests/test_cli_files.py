"""The files that `date` writes, and those that it leaves alone."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from PIL import Image

from conftest import Telltale
from shapes import encoded, engine
from vision.records import (
    OutputError,
)


def test_overlays_are_written_beside_nothing_else(
    telltale: Telltale, photo: Path, tmp_path: Path
) -> None:
    namesake = tmp_path / "more" / "engine.png"
    namesake.parent.mkdir()
    namesake.write_bytes(encoded(engine(200, 300)))
    before = {path: path.read_bytes() for path in (photo, namesake)}
    folder = tmp_path / "drawn" / "here"
    assert telltale("date", photo, namesake, "--overlay", folder)[0] == 0
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["engine.telltale-2.jpg", "engine.telltale.jpg"]
    with Image.open(folder / "engine.telltale.jpg") as drawn:
        assert drawn.width == 1280
    for path, content in before.items():
        assert path.read_bytes() == content


def test_an_overlay_never_replaces_a_photo(telltale: Telltale, tmp_path: Path) -> None:
    source = tmp_path / "engine.jpg"
    source.write_bytes(encoded(engine(), "JPEG"))
    trap = tmp_path / "engine.telltale.jpg"
    trap.hardlink_to(source)
    before = source.read_bytes()
    code, _, err = telltale("date", source, "--overlay", tmp_path)
    assert code == OutputError.exit_code
    assert "originals are never written" in err
    assert source.read_bytes() == before


def test_the_page_never_replaces_a_photo(telltale: Telltale, photo: Path) -> None:
    before = photo.read_bytes()
    code, out, err = telltale("date", photo, "--html", photo)
    assert code == OutputError.exit_code
    assert out == ""
    assert err.count("\n") == 1
    assert photo.read_bytes() == before


def test_page_holds_every_answer(telltale: Telltale, photo: Path, tmp_path: Path) -> None:
    page = tmp_path / "answers.html"
    assert telltale("date", photo, photo, "--html", page)[0] == 0
    assert page.read_text().count("<article>") == 2
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere every name is text")
def test_a_name_that_is_no_text_stands_on_the_page(
    telltale: Telltale, photo: Path, tmp_path: Path
) -> None:
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff.png"))
    odd.write_bytes(photo.read_bytes())
    page = tmp_path / "answers.html"
    assert telltale("date", odd, "--json", "--html", page)[0] == 0
    assert "\\xff.png" in page.read_text(encoding="utf-8")


def test_a_folder_that_cannot_be_made(telltale: Telltale, photo: Path) -> None:
    code, _, err = telltale("date", photo, "--overlay", photo / "inside")
    assert code == OutputError.exit_code
    assert err.count("\n") == 1
