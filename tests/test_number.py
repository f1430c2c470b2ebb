"""Numbers are drawn with Pillow's own font on a plain engine, then read back."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cache
from types import MappingProxyType

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from vision.cues.cab import cab_region
from vision.cues.number import _Found, _one_open, read_number
from vision.cues.spelling import BLANK, Reading, blend, spell
from vision.network import Networks, load_networks
from vision.records import Box, Cue, Heading, Photo, Region, Sighting, State
from vision.rectify import Crop

WIDTH, HEIGHT = 640, 400
GREEN, CREAM, GREY = (38, 74, 52), (236, 222, 182), (176, 182, 188)
# The engine faces left: its cab side is drawn over x 400 to 520, y 120 to 250.
CAB = (400, 120, 520, 250)
ENGINE, TENDER = Box(80, 80, 530, 330), Box(535, 160, 635, 330)
BOARD: Region = ((90.0, 250.0), (520.0, 250.0), (520.0, 266.0), (90.0, 266.0))
BOILER: Region = ((90.0, 100.0), (400.0, 100.0), (400.0, 150.0), (90.0, 150.0))


@cache
def networks() -> Networks:
    return load_networks()


def picture(
    text: str, *, px: int = 36, at: tuple[int, int] = (460, 205), turn: float = 0.0
) -> Image.Image:
    """An engine with figures `px` high centred on a point, turned by degrees."""
    image = Image.new("RGB", (WIDTH, HEIGHT), GREY)
    draw = ImageDraw.Draw(image)
    draw.rectangle((100, 140, 400, 240), fill=GREEN)
    draw.rectangle(CAB, fill=GREEN)
    draw.rectangle((540, 180, 630, 300), fill=GREEN)
    for x in (150, 250, 350, 460):
        draw.ellipse((x - 36, 258, x + 36, 330), outline=(20, 20, 22), width=7)
    draw.rectangle((90, 250, 520, 266), fill=(150, 30, 32))
    # Figures of this font are 0.73 of its size high.
    font = ImageFont.load_default(px / 0.73)
    layer = Image.new("L", image.size, 0)
    ImageDraw.Draw(layer).text(at, text, fill=255, font=font, anchor="mm")
    layer = layer.rotate(turn, center=at, resample=Image.Resampling.BICUBIC)
    image.paste(CREAM, mask=layer)
    return image


def photo(image: Image.Image) -> Photo:
    return Photo(np.array(image), image.size, "ab" * 32, "drawn.png")


def sighting(tender: Box | None = None) -> Sighting:
    return Sighting(
        ENGINE,
        tender,
        Heading.LEFT,
        {"boiler_top": BOILER, "side_rods": BOARD, "running_board": BOARD},
        {"boiler_top": 1.0, "side_rods": 1.0, "running_board": 1.0},
        0.99,
    )


def read(image: Image.Image, tender: Box | None = None) -> Cue:
    return read_number(photo(image), sighting(tender), networks())


def same(image: Image.Image) -> Image.Image:
    return image


def blurred(image: Image.Image) -> Image.Image:
    return image.filter(ImageFilter.GaussianBlur(2.0))


def noisy(image: Image.Image) -> Image.Image:
    rng = np.random.default_rng(5)
    pixels = np.array(image) + rng.normal(0, 12, (HEIGHT, WIDTH, 3))
    return Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))


@pytest.mark.parametrize(
    ("text", "px", "turn", "spoil"),
    [
        ("316", 36, 0.0, same),
        ("8334", 28, 0.0, same),
        ("7", 36, 0.0, same),
        ("59", 12, 0.0, same),
        ("240", 30, 8.0, same),
        ("672", 30, -8.0, same),
        ("598", 30, 0.0, blurred),
        ("480", 24, 0.0, noisy),
    ],
)
def test_reads_the_number_drawn(
    text: str, px: int, turn: float, spoil: Callable[[Image.Image], Image.Image]
) -> None:
    cue = read(spoil(picture(text, px=px, turn=turn)))
    assert (cue.name, cue.state, cue.value) == ("cab_number", State.PRESENT, text)
    assert cue.confidence == max(cue.values.values()) == cue.values[text]
    assert 0.5 <= cue.confidence <= 0.98
    assert sum(cue.values.values()) <= 1.0
    assert cue.where is not None
    assert abs(cue.where.centre[0] - 460) < 12 and abs(cue.where.centre[1] - 205) < 8
    assert 0.6 * px < cue.where.height < 2.4 * px


def test_reads_an_engine_that_faces_right() -> None:
    facing = np.array(picture("316", at=(460, 205)))
    swap = {"boiler_top": BOILER, "running_board": BOARD, "side_rods": BOARD}
    flipped = {name: tuple((WIDTH - x, y) for x, y in region) for name, region in swap.items()}
    image = Image.fromarray(np.ascontiguousarray(facing[:, ::-1]))
    # The engine is mirrored and the figures painted anew, as on an engine's other side.
    fresh = np.array(image)
    fresh[180:230, 130:230] = GREEN
    redone = Image.fromarray(fresh)
    ImageDraw.Draw(redone).text(
        (180, 205), "316", fill=CREAM, font=ImageFont.load_default(48), anchor="mm"
    )
    seen = Sighting(ENGINE, None, Heading.RIGHT, flipped, {}, 0.99)  # type: ignore[arg-type]
    assert read_number(photo(redone), seen, networks()).value == "316"


@pytest.mark.parametrize("size", [(640, 400), (2560, 1600)])
def test_a_photo_read_at_a_reduced_scale_tells_full_size_boxes(size: tuple[int, int]) -> None:
    factor = size[0] / WIDTH
    regions = {
        name: tuple((x * factor, y * factor) for x, y in region)
        for name, region in (("boiler_top", BOILER), ("running_board", BOARD))
    }
    large = Photo(np.array(picture("316")), size, "ab" * 32, "drawn.png")
    seen = Sighting(ENGINE.scaled(factor), None, Heading.LEFT, regions, {}, 0.99)  # type: ignore[arg-type]
    cue = read_number(large, seen, networks())
    assert cue.value == "316" and cue.where is not None
    assert abs(cue.where.centre[0] - 460 * factor) < 12 * factor


def test_a_cab_without_a_number_is_unseen() -> None:
    cue = read(picture(""))
    assert (cue.state, cue.value, cue.confidence) == (State.UNSEEN, None, 0.0)
    assert cue.because == "no number can be read on the cab side"


def test_a_stroke_alone_is_no_number_but_a_figure_alone_is() -> None:
    assert read(picture("1")).state is State.UNSEEN
    assert read(picture("7")).value == "7"


def test_a_name_is_no_number() -> None:
    assert read(picture("MAVEN", px=22)).state is State.UNSEEN


def test_a_cab_side_too_small_for_figures_is_said_so() -> None:
    small = picture("316").resize((64, 40))
    tenth = {
        name: tuple((x / 10, y / 10) for x, y in region)
        for name, region in (("boiler_top", BOILER), ("running_board", BOARD))
    }
    seen = Sighting(ENGINE.scaled(0.1), None, Heading.LEFT, tenth, {}, 0.99)  # type: ignore[arg-type]
    cue = read_number(photo(small), seen, networks())
    assert cue.state is State.UNSEEN
    assert cue.because == "the cab side is turned away or too small for figures"


def test_figures_in_mirror_image_are_told_as_such() -> None:
    mirrored = np.ascontiguousarray(np.array(picture("274"))[:, 400:521][:, ::-1])
    image = picture("")
    image.paste(Image.fromarray(mirrored), (400, 0))
    cue = read(image)
    assert cue.value == "274"
    assert "mirror image" in cue.because
    assert cue.where is not None and abs(cue.where.centre[0] - 460) < 12


def test_a_number_on_the_tender_alone_is_told_but_not_counted() -> None:
    cue = read(picture("480", at=(585, 240), px=28), tender=TENDER)
    assert (cue.state, cue.value) == (State.UNSEEN, None)
    assert cue.because == "no number can be read on the cab side; the tender's reads 480"


def test_a_number_elsewhere_counts_only_without_one_on_the_cab() -> None:
    alone = read(picture("672", at=(200, 190), px=40))
    assert (alone.value, "not on its cab side" in alone.because) == ("672", True)
    both = picture("672", at=(200, 190), px=40)
    ImageDraw.Draw(both).text(
        (460, 205), "316", fill=CREAM, font=ImageFont.load_default(48), anchor="mm"
    )
    assert read(both).value == "316"


def test_a_half_hidden_figure_stays_open() -> None:
    whole, worn = picture("318"), picture("318")
    box = read(whole).where
    assert box is not None
    left = round(box.right - 0.22 * box.width)
    ImageDraw.Draw(worn).rectangle((left, 170, 515, 240), fill=GREEN)
    cue = read(worn)
    others = sum(p for text, p in cue.values.items() if text != "318")
    assert cue.values.get("318", 0.0) < read(whole).values["318"]
    assert cue.state is State.UNSEEN or others > 0.02


def test_figures_too_unclear_to_read_still_count_for_what_they_may_be() -> None:
    blurs = [picture("316", px=16).filter(ImageFilter.GaussianBlur(s)) for s in (2.5, 3.25, 3.5)]
    cues = [read(image) for image in blurs]
    unclear = [cue for cue in cues if cue.may_be]
    assert unclear
    for cue in unclear:
        assert (cue.state, cue.value, cue.confidence) == (State.UNSEEN, None, 0.0)
        assert cue.speaks and 0.1 <= sum(cue.may_be.values()) <= 1.0
        assert (
            "1" not in cue.may_be
            and cue.because == "what may be figures stands on the cab side, too unclear to read"
        )
    assert not read(picture("")).may_be


def test_reading_prints_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    read(picture("316"))
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("text", ["12", "15", "480"])
def test_brass_figures_on_a_red_plate_as_bright_as_they(text: str) -> None:
    """Red and brass of one CIE lightness (45 by scikit-image): brightness shows no figure."""
    image = picture("", px=36)
    draw = ImageDraw.Draw(image)
    draw.rectangle((410, 170, 510, 240), fill=(196, 44, 34))
    font = ImageFont.load_default(36 / 0.73)
    draw.text((460, 205), text, fill=(128, 104, 46), font=font, anchor="mm")
    cue = read(image)
    assert (cue.state, cue.value) == (State.PRESENT, text)


# Metres of the full-size engine, from the board's front: x along it, y aside, z up.
_BOARD_LENGTH, _BOARD_Y, _BOARD_Z = 10.0, 1.2, 1.2


def _seen_from(off_axis: float, *, behind: bool) -> tuple[Sighting, np.ndarray]:
    """Regions of a made-up engine through OpenCV's pinhole camera, and its cab side's corners."""
    turn = np.radians(off_axis)
    way = np.array([np.cos(turn) if behind else -np.cos(turn), np.sin(turn), 0.25])
    eye = np.array([5.0, 0.0, 2.0]) + 26.0 * way / np.linalg.norm(way)
    forward = np.array([5.0, 0.0, 2.0]) - eye
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, (0, 0, 1.0))
    right /= np.linalg.norm(right)
    turned = np.stack([right, np.cross(forward, right), forward])
    lens = np.array([[1500.0, 0, 500], [0, 1500, 375], [0, 0, 1]])

    def shown(points: list[tuple[float, float, float]]) -> np.ndarray:
        moved = cv2.Rodrigues(turned)[0], -turned @ eye
        return cv2.projectPoints(np.array(points), *moved, lens, None)[0][:, 0]

    def quad(x0: float, x1: float, y: float, z0: float, z1: float) -> Region:
        points = shown([(x0, y, z1), (x1, y, z1), (x1, y, z0), (x0, y, z0)])
        return tuple((float(x), float(y)) for x, y in points)

    regions = {
        "boiler_top": quad(0.6, 7.4, 0.0, 2.9, 4.2),
        "side_rods": quad(2.0, 7.0, _BOARD_Y, 0.0, _BOARD_Z),
        "running_board": quad(0.0, _BOARD_LENGTH, _BOARD_Y, _BOARD_Z - 0.2, _BOARD_Z),
    }
    number = shown([(x, _BOARD_Y, z) for x in (7.7, 9.2) for z in (1.6, 2.6)])
    seen = Sighting(ENGINE, None, Heading.LEFT, regions, dict.fromkeys(regions, 1.0), 0.99)
    return seen, number


@pytest.mark.parametrize("behind", [False, True], ids=["from before", "from behind"])
@pytest.mark.parametrize("off_axis", [20, 25, 30, 45, 60, 80])
def test_the_cab_side_is_found_though_the_boiler_stands_behind_it(
    off_axis: float, behind: bool
) -> None:
    """From behind, the boiler's end seems to lie further back along the board than it is."""
    seen, number = _seen_from(off_axis, behind=behind)
    found = np.array(cab_region(seen), np.float32)
    for x, y in number:
        assert cv2.pointPolygonTest(found, (float(x), float(y)), False) >= 0


def test_the_cab_lies_above_the_rear_of_the_running_board() -> None:
    left_top, right_top, right_bottom, left_bottom = cab_region(sighting())
    assert left_top[0] == left_bottom[0] < CAB[0]
    assert right_top[0] == right_bottom[0] > CAB[2]
    assert left_top[1] < CAB[1] + 20 and left_bottom[1] > CAB[3]


def reading(steps: list[dict[str, float]]) -> Reading:
    return Reading("", 0.0, Box(0, 0, 1, 1), 1.0, tuple(MappingProxyType(step) for step in steps))


def test_spelling_sums_every_path_of_the_definition() -> None:
    """Graves et al. 2006, equation 3: a text has the sum of the paths that collapse to it."""
    rng = np.random.default_rng(11)
    symbols = (BLANK, "3", "8")
    rows = rng.dirichlet((1.0, 1.0, 1.0), size=3)
    totals: dict[str, float] = {}
    for path in itertools.product(range(3), repeat=len(rows)):
        p = float(np.prod([row[i] for row, i in zip(rows, path, strict=True)]))
        text = "".join(symbols[i] for i, _ in itertools.groupby(path))
        totals[text] = totals.get(text, 0.0) + p
    steps = [dict(zip(symbols, map(float, row), strict=True)) for row in rows]
    found = spell(reading(steps))
    assert found.keys() == {text for text, p in totals.items() if text and p >= 1e-4}
    assert all(abs(found[text] - totals[text]) < 1e-12 for text in found)


def test_an_unclear_figure_becomes_a_question_mark_and_so_does_a_letter() -> None:
    unclear = spell(reading([{"3": 1.0}, {"1": 0.2, "車": 0.8}, {"6": 1.0}]))
    assert unclear == pytest.approx({"3?6": 0.8, "316": 0.2})
    letter = spell(reading([{"3": 1.0}, {"l": 1.0}, {"6": 1.0}]))
    assert letter == pytest.approx({"3?6": 1.0})
    rim = spell(reading([{"車": 1.0}, {"3": 1.0}, {"1": 1.0}]))
    assert rim == pytest.approx({"31": 0.7, "?31": 0.3})
    assert spell(reading([{c: 1.0} for c in "NTA"])) == {}
    assert spell(reading([{c: 1.0} for c in "123456"])) == {}


def test_blending_looks_takes_their_mean() -> None:
    assert blend([{"16": 0.8}, {"16": 0.6, "18": 0.4}]) == pytest.approx({"16": 0.7, "18": 0.2})


@pytest.mark.parametrize(
    ("values", "shape", "p"),
    [
        # The sum of what agrees in the other places, by hand.
        ({"310": 0.36, "370": 0.33, "320": 0.10, "3?0": 0.05, "31": 0.02}, "3?0", 0.84),
        ({"3?0": 0.55, "310": 0.30, "410": 0.10}, "3?0", 0.85),
        # Two figures differ; one alone is sure; nothing comes near.
        ({"310": 0.30, "376": 0.30, "3?0": 0.05}, None, None),
        ({"12": 0.45, "16": 0.45}, None, None),
        ({}, None, None),
    ],
)
def test_a_number_may_stay_open_in_one_figure(
    values: dict[str, float], shape: str | None, p: float | None
) -> None:
    crop = Crop(np.zeros((8, 8, 3), np.uint8), np.eye(3), 1.0)
    found = _one_open(_Found(values, Box(0, 0, 4, 4), crop))
    assert (found.text if found else None) == shape
    if found is not None:
        assert found.p == pytest.approx(p)
        assert found.values == values
