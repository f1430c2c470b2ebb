"""What the reader of cab numbers is taught: drawings, windows, and rendered numbers found again.

Skipped where the training's library is not installed: using telltale needs none of it.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")
pytest.importorskip("onnx", reason="the studio's library is not among the tests' own")

from tools.export import _unfocused  # noqa: E402
from tools.render.view import MASK_BITS  # noqa: E402
from tools.train import figures, painting  # noqa: E402
from tools.train import number as lesson  # noqa: E402
from tools.train.loading import empty  # noqa: E402
from tools.train.numbered import numbered  # noqa: E402
from tools.train.settings import Settings  # noqa: E402

PLAIN = Settings(photometric=0.0, patches=0.0, jitter=0.0)


def _generator(seed: int = 3) -> torch.Generator:
    return torch.Generator().manual_seed(seed)


@pytest.fixture(scope="module")
def bank() -> painting.Bank:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(painting, "_DRAWINGS", 60)
        patch.setattr(painting, "_GROUNDS", 8)
        return painting.Bank(torch.device("cpu"), 1)


def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(painting, "_DRAWINGS", 60)
    monkeypatch.setattr(painting, "_GROUNDS", 8)


@pytest.mark.parametrize("seed", range(12))
def test_ink_is_in_the_boxes_of_a_drawing_and_nowhere_else(seed: int) -> None:
    drawing = figures.draw(np.random.default_rng(seed))
    ink = drawing.layers[0] > 60
    outside = ink.copy()
    kept = drawing.boxes[drawing.classes >= 0]
    assert len(kept) >= 1 and ((drawing.classes >= -1) & (drawing.classes <= 10)).all()
    for left, top, right, bottom in kept.astype(int):
        assert ink[top:bottom, left:right].mean() > 0.05
        outside[top:bottom, left:right] = False
    assert not outside.any()
    assert (np.diff(np.sort(kept[:, 0])) > 0).all()


def test_a_drawn_figure_is_the_one_it_is_called() -> None:
    """Against Pillow's own font: a figure matches the ink of its own digit best."""
    font = ImageFont.load_default(60)
    templates = {}
    for digit in "0123456789":
        image = Image.new("L", (120, 120), 0)
        ImageDraw.Draw(image).text((60, 60), digit, fill=255, font=font, anchor="mm")
        ink = np.asarray(image)
        rows, cols = np.flatnonzero(ink.max(1) > 99), np.flatnonzero(ink.max(0) > 99)
        cut = ink[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
        templates[digit] = cv2.resize(cut, (24, 32)).astype(float) / 255
    right = total = 0
    for seed in range(250):
        drawing = figures.draw(np.random.default_rng(seed))
        for box, kind in zip(drawing.boxes.astype(int), drawing.classes, strict=True):
            if not 0 <= kind <= 9 or kind == 1 or box[2] - box[0] < 8:
                continue
            ink = drawing.layers[0][box[1] : box[3], box[0] : box[2]]
            seen = cv2.resize(ink, (24, 32)).astype(float) / 255
            like = {d: -np.abs(seen - t).mean() for d, t in templates.items() if d != "1"}
            right += max(like, key=lambda d: like[d]) == str(kind)
            total += 1
    assert total > 200 and right > 0.75 * total  # many fonts, some worn: chance is a ninth


def test_a_windows_marks_lie_where_its_targets_are(
    bank: painting.Bank, monkeypatch: pytest.MonkeyPatch
) -> None:
    _small(monkeypatch)
    rows = torch.full((32,), -1)
    pixels, marks = lesson.number_batch(empty(1, "cpu", (32, 24)), rows, _generator(), PLAIN, bank)
    assert pixels.shape == (32, 3, 64, 128)
    heat, classes, boxes, weight, judged = lesson.targets(marks, (32, 16))
    assert 0.0 <= float(pixels.min()) <= float(pixels.max()) <= 1.0
    told = marks.told & (marks.classes >= 0)
    assert int(told.sum()) > 30
    for k, j in zip(*torch.nonzero(told, as_tuple=True), strict=True):
        x, y, w, h = (float(v) for v in marks.boxes[k, j])
        row, col = int(y // 4), int(x // 4)
        assert float(heat[k, row, col]) == 1.0 and float(judged[k, row, col]) == 1.0
        if float(weight[k].eq(1).sum()) == int(told[k].sum()):  # no two middles in one cell
            assert int(classes[k, row, col]) == int(marks.classes[k, j])
            assert float(boxes[k, 0, row, col]) == pytest.approx(x / 4 - col - 0.5, abs=1e-3)
            assert float(boxes[k, 3, row, col].exp()) == pytest.approx(h / 4, rel=1e-3)
            assert float(boxes[k, 2, row, col].exp()) == pytest.approx(w / 4, rel=1e-3)
    assert int((heat == 1).sum()) <= int(told.sum())


def _cab(text: str, at: tuple[int, int], tall: int) -> tuple[dict[str, object], np.ndarray]:
    """A label and a mask with figures drawn by Pillow's font, straight on."""
    font = ImageFont.load_default(tall / 0.73)  # figures of this font are 0.73 of its size high
    image = Image.new("L", (640, 480), 0)
    ImageDraw.Draw(image).text(at, text, fill=255, font=font, anchor="mm", stroke_width=1)
    mask = np.where(np.asarray(image) > 100, MASK_BITS["cab_number"], 0).astype(np.uint8)
    record = {
        "locomotive": [80.0, 80.0, 530.0, 330.0],
        "tender": None,
        "faces": "left",
        "regions": {
            "boiler_top": [[90.0, 100.0], [400.0, 100.0], [400.0, 150.0], [90.0, 150.0]],
            "side_rods": [[90.0, 280.0], [400.0, 280.0], [400.0, 330.0], [90.0, 330.0]],
            "running_board": [[90.0, 250.0], [520.0, 250.0], [520.0, 266.0], [90.0, 266.0]],
        },
        "visible": dict.fromkeys(("boiler_top", "side_rods", "running_board"), 1.0),
        "cab_number": text,
        "cab_number_visible": True,
    }
    return record, mask


@pytest.mark.parametrize("text", ["316", "8334", "7", "90", "1140"])
def test_figures_of_a_rendered_number_are_found_in_its_mask(text: str) -> None:
    """Against Pillow's own measure of how far each character reaches."""
    record, mask = _cab(text, (460, 205), 30)
    corners, classes, cab = numbered(record, mask)
    assert classes.tolist() == [*map(int, text), *[-1] * (5 - len(text))]
    assert cab.any()
    font = ImageFont.load_default(30 / 0.73)
    start = 460 - font.getlength(text) / 2
    for index, character in enumerate(text):
        left = start + font.getlength(text[:index])
        middle = left + font.getlength(character) / 2
        assert abs(corners[index, :, 0].mean() - middle) < 4.0
        assert abs(corners[index, :, 1].mean() - 205) < 2.5
        assert abs(np.ptp(corners[index, :, 1]) - 32) < 4.0


def test_a_number_that_is_half_hidden_or_not_in_sight_teaches_nothing() -> None:
    record, mask = _cab("8334", (460, 205), 30)
    assert (numbered(record | {"cab_number_visible": False}, mask)[1] == -1).all()
    hidden = mask.copy()
    hidden[:, 462:] = 0  # by a post; stretched over all four figures, two look like none
    assert (numbered(record, hidden)[1] == -1).all()
    assert (numbered(record | {"regions": None}, mask)[1] == -1).all()


def test_a_rendered_window_shows_its_own_number_or_another(
    bank: painting.Bank, monkeypatch: pytest.MonkeyPatch
) -> None:
    _small(monkeypatch)
    record, mask = _cab("316", (460, 205), 30)
    store = empty(1, "cpu")
    corners, classes, cab = numbered(record, mask)
    store.pixels[0] = torch.from_numpy(np.where(mask > 0, 230, 60).astype(np.uint8))
    store.figures[0], store.digits[0] = torch.from_numpy(corners), torch.from_numpy(classes)
    store.cab[0], store.inked[0] = torch.from_numpy(cab), True
    rows = lesson.legible(store, torch.arange(1)).repeat(16)
    assert rows.tolist() == [0] * 16
    own = replace(PLAIN, made_up=0.0, drawn=0.0)
    pixels, marks = lesson.number_batch(store, rows, _generator(), own, bank)
    assert (marks.classes[:, :3] == torch.tensor([3, 1, 6])).all()
    for k in range(16):
        for x, y, w, h in marks.boxes[k, :3].tolist():
            left, right = max(0, int(x - w / 2)), int(x + w / 2) + 1
            top, bottom = max(0, int(y - h / 2)), int(y + h / 2) + 1
            inside = pixels[k, 0, top:bottom, left:right]
            if min(inside.shape) > 2:
                assert float(inside.max()) > 0.6  # ink stands there
    other = replace(PLAIN, made_up=0.0, drawn=1.0)
    _, marks = lesson.number_batch(store, rows, _generator(), other, bank)
    assert not (marks.classes[:, :3] == torch.tensor([3, 1, 6])).all(1).all()


def test_rows_without_a_readable_side_are_left_out() -> None:
    store = empty(3, "cpu", (64, 48))
    assert lesson.legible(store, torch.arange(3)).tolist() == [-1]
    store.cab[1] = torch.tensor([[0.0, 0.0], [40, 0], [40, 20], [0, 20]])
    store.digits.fill_(-1)
    assert lesson.legible(store, torch.arange(3)).tolist() == [1]  # a side without a number
    store.inked[1] = True
    assert lesson.legible(store, torch.arange(3)).tolist() == [-1]  # a number cut off


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.8, 0.95])
def test_a_shipped_probability_is_the_share_at_which_the_loss_is_least(share: float) -> None:
    """By search over the focal loss of Law and Deng 2018, equation 1, exponent 2."""
    p = torch.linspace(0.001, 0.999, 9981, dtype=torch.float64)
    loss = -(share * (1 - p) ** 2 * p.log() + (1 - share) * p**2 * (1 - p).log())
    assert float(_unfocused(p[loss.argmin()])) == pytest.approx(share, abs=2e-3)
