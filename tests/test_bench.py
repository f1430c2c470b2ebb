"""The bench's own arithmetic: what it makes, decodes and says."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from shapes import engine
from tools import bench


def test_small_photos_become_twelve_megapixels_and_decode_at_a_quarter(tmp_path: Path) -> None:
    small = tmp_path / "small.jpg"
    Image.fromarray(engine(640, 480)).save(small)
    path = bench.twelve_megapixels(small, tmp_path)
    with Image.open(path) as image:
        assert (image.size, image.format) == ((4000, 3000), "JPEG")
    for decode in (bench.decode_with_pillow, bench.decode_with_opencv):
        assert decode(path).shape == (750, 1000, 3)
    assert bench.twelve_megapixels(path, tmp_path / "other") == path


def test_the_report_tells_met_from_missed() -> None:
    medians = {
        "quarter-scale decode, Pillow": 30.0,
        "quarter-scale decode, OpenCV": 40.0,
        "decode": 60.0,
        "total": 100.0,
        "total, number read": 250.0,
    }
    lines = bench.report(medians, 16.0, 2, 1.6).splitlines()
    said = {line.split("|")[1].strip(): line.split("|")[2:5] for line in lines if "|" in line}
    cells = {name: tuple(cell.strip() for cell in row) for name, row in said.items()}
    assert cells["total / quarter-scale decode, Pillow"] == ("3.33", "≤ 3", "MISSED")
    assert cells["total / quarter-scale decode, OpenCV"] == ("2.50", "≤ 3", "met")
    assert cells["total, number read / quarter-scale decode, Pillow"] == ("8.33", "", "")
    assert cells["total, number read / quarter-scale decode, OpenCV"] == ("6.25", "", "")
    assert cells["total, number read / total"] == ("2.50", "≤ 2", "MISSED")
    assert cells["photos per second, 2 cores"][2] == "met"
    assert cells["start of the command, s"][2] == "MISSED"
    assert cells["decode"][1] == "60%"


def test_starting_the_command_is_timed() -> None:
    assert 0.01 < bench.start_up_seconds(runs=1) < 60


def test_a_file_that_is_no_picture_stops_the_bench(tmp_path: Path) -> None:
    path = tmp_path / "text.jpg"
    path.write_text("no picture")
    with pytest.raises(ValueError, match="not a JPEG"):
        bench.decode_with_opencv(path)
