"""Characters of a crop: from cells to lines, and from the shipped reader to drawn text."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from vision.cues.characters import (
    FIGURES,
    Character,
    characters_of,
    lines_of,
    read_lines,
    reading_of,
)
from vision.cues.spelling import spell
from vision.network import Network, load_networks, models_folder
from vision.records import Box, Pixels

ROWS, COLS = 32, 64  # cells of a crop of 256 by 128
CREAM, GREEN = (236, 222, 182), (38, 74, 52)
Maps = tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]


@pytest.fixture(scope="module")
def reader() -> Network:
    return load_networks()["number"]


def maps(characters: list[tuple[int, float, float, float, float]]) -> Maps:
    """Cells that tell of figures: which, middle x and y in pixels, height, probability."""
    there = np.full((1, ROWS, COLS), 0.01, np.float32)
    values = np.full((11, ROWS, COLS), 1 / 11, np.float32)
    boxes = np.zeros((4, ROWS, COLS), np.float32)
    for figure, x, y, tall, p in characters:
        row, col = int(y / 4), int(x / 4)
        there[0, row, col] = p
        there[0, row, col + 1] = 0.6 * p  # its neighbour is less sure of the same
        values[:, row, col : col + 2] = 0.0
        values[figure, row, col : col + 2] = 1.0
        boxes[:, row, col : col + 2] = np.array([[x], [y], [0.6 * tall], [tall]])
    return there, values, boxes


def read(characters: list[tuple[int, float, float, float, float]]) -> list[str]:
    lines = lines_of(characters_of(*maps(characters)))
    return [reading_of(line).text for line in lines]


def test_a_cell_and_its_neighbours_are_one_character() -> None:
    found = characters_of(*maps([(7, 100.0, 60.0, 24.0, 0.9)]))
    assert len(found) == 1
    assert found[0].box.as_tuple() == pytest.approx((92.8, 48.0, 107.2, 72.0), abs=1e-4)
    assert found[0].there == pytest.approx(0.9)
    assert max(found[0].values, key=lambda f: found[0].values[f]) == "7"


def test_figures_in_a_row_read_from_left_to_right() -> None:
    row = [(2, 100.0, 60.0, 24.0, 0.9), (3, 84.0, 60.0, 24.0, 0.8), (2, 116.0, 62.0, 24.0, 0.9)]
    assert read(row) == ["322"]
    # A row that rises is one, figures above each other, far apart or of other heights none.
    assert read([(1, 80.0, 70.0, 20.0, 0.9), (2, 96.0, 64.0, 20.0, 0.9)]) == ["12"]
    assert read([(1, 80.0, 50.0, 20.0, 0.9), (2, 84.0, 90.0, 20.0, 0.9)]) == ["1", "2"]
    assert read([(1, 80.0, 60.0, 20.0, 0.9), (2, 140.0, 60.0, 20.0, 0.9)]) == ["1", "2"]
    assert read([(1, 80.0, 60.0, 40.0, 0.9), (2, 104.0, 60.0, 16.0, 0.9)]) == ["1", "2"]


def character(figure: str, p: float, *, there: float, x: float) -> Character:
    values = {f: (p if f == figure else 0.0) for f in FIGURES}
    return Character(Box(x, 40, x + 12, 60), there, values)


def test_a_line_has_the_probability_of_all_its_figures() -> None:
    """Product of independent chances; equal neighbours stay two, what is no figure is "?"."""
    two = [character("3", 1.0, there=1.0, x=x) for x in (0, 14)]
    assert spell(reading_of(two)) == {"33": 1.0}
    some = [character("3", 0.9, there=1.0, x=0), character("1", 1.0, there=0.8, x=14)]
    some.append(character("6", 1.0, there=1.0, x=28))
    # "?16" is a rim before 16 in seven of ten; "?6" has too little that can be read.
    assert spell(reading_of(some)) == pytest.approx(
        {"316": 0.9 * 0.8, "36": 0.9 * 0.2, "16": 0.1 * 0.8 * 0.7, "?16": 0.1 * 0.8 * 0.3}
    )


def test_a_word_is_no_number() -> None:
    word = [Character(Box(14.0 * k, 40, 14.0 * k + 12, 60), 1.0, dict.fromkeys(FIGURES, 0.0))
            for k in range(4)]  # fmt: skip
    assert spell(reading_of(word)) == {}


def crop(text: str, tall: int, colours: tuple[tuple[int, int, int], ...]) -> Pixels:
    image = Image.new("RGB", (256, 128), colours[0])
    font = ImageFont.load_default(tall / 0.73)  # figures of this font are 0.73 of its size high
    ImageDraw.Draw(image).text((128, 70), text, fill=colours[1], font=font, anchor="mm")
    return np.asarray(image.resize((256, 128)), dtype=np.uint8)


@pytest.mark.parametrize("colours", [(GREEN, CREAM), (CREAM, GREEN)])
@pytest.mark.parametrize("tall", [16, 24, 34])
@pytest.mark.parametrize("text", ["316", "8334", "25", "907", "14682"])
def test_the_shipped_reader_reads_drawn_figures(
    reader: Network, text: str, tall: int, colours: tuple[tuple[int, int, int], ...]
) -> None:
    pixels = crop(text, tall, colours)
    first = read_lines(pixels, reader)[0]
    assert first.text == text
    # Where the ink is, by the pixels themselves.
    ink = np.abs(pixels.astype(int) - np.array(colours[0])).sum(2) > 120
    rows, cols = np.flatnonzero(ink.any(1)), np.flatnonzero(ink.any(0))
    drawn = Box(cols[0], rows[0], cols[-1] + 1, rows[-1] + 1)
    assert first.box.intersection_over_union(drawn) > 0.6


def test_a_plain_crop_has_no_line(reader: Network) -> None:
    plain: Pixels = np.full((128, 256, 3), 90, dtype=np.uint8)
    assert all(reading.confidence < 0.5 for reading in read_lines(plain, reader))


@pytest.mark.slow
def test_the_reader_says_what_the_standards_own_evaluator_says(reader: Network) -> None:
    """onnx.reference, the evaluator that defines the operators (onnx.ai, ONNX operators)."""
    onnx = pytest.importorskip("onnx", reason="the studio's library is not among the tests' own")
    from onnx.reference import ReferenceEvaluator

    pixels = crop("316", 24, (GREEN, CREAM))
    model = onnx.load(models_folder() / "number.onnx")
    names = [output.name for output in model.graph.output]
    expected = ReferenceEvaluator(model).run(names, {"pixels": pixels[None]})
    ours = reader.run(pixels)
    for name, value in zip(names, expected, strict=True):
        assert np.allclose(ours[name], value[0], rtol=2e-3, atol=2e-3), name
