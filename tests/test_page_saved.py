"""Where the page keeps what a person saves."""

from __future__ import annotations

from pathlib import Path

from vision.page.keep import _renamed


def test_engines_of_one_second_never_replace_each_other(tmp_path: Path) -> None:
    for number in range(3):
        whole = tmp_path / "whole"
        whole.mkdir()
        (whole / "note.txt").write_text(str(number))
        _renamed(whole, tmp_path / "12-30-05")
    kept = sorted(path.name for path in tmp_path.iterdir())
    assert kept == ["12-30-05", "12-30-05-2", "12-30-05-3"]
    assert [(tmp_path / name / "note.txt").read_text() for name in kept] == ["0", "1", "2"]
