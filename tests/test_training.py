"""The training's data: what is drawn, cut and taken in while a folder is being filled.

Skipped where the training's library is not installed: using telltale needs none of it.
"""

from __future__ import annotations

import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")

from tools.train.judging import at_column, judge_batch  # noqa: E402
from tools.train.loading import append, empty, follow, load, read_labels  # noqa: E402
from tools.train.loop import _start_from  # noqa: E402
from tools.train.networks import Judge  # noqa: E402
from tools.train.pictures import BEYOND, cut  # noqa: E402
from tools.train.settings import Settings  # noqa: E402
from tools.train.sprites import draw_decoys, draw_levers  # noqa: E402

SIZE = (160, 60)  # of the drawn pictures, in which the engine fills the frame
PLAIN = {"photometric": 0.0, "patches": 0.0, "spliced": 0.0, "stretched": 0.0}
QUAD = [[10.0, 8.0], [150.0, 8.0], [150.0, 48.0], [10.0, 48.0]]


def _generator(seed: int = 3) -> torch.Generator:
    return torch.Generator().manual_seed(seed)


def _picture(folder: Path, number: int, *, lever: bool) -> dict[str, object]:
    """A grey boiler top, written beside its mask; its label."""
    picture = np.full((SIZE[1], SIZE[0], 3), 120, np.uint8)
    mask = np.zeros(SIZE[::-1], np.uint8)
    if lever:
        picture[18:36, 80:84] = 240
        mask[18:36, 80:84] = 1
    name = f"train-1-{number:06d}_0.jpg"
    cv2.imwrite(str(folder / name), picture)
    cv2.imwrite(str((folder / name).with_suffix(".mask.png")), mask)
    cue = {"state": "present" if lever else "absent", "visible": True}
    return {
        "file": name,
        "locomotive": [0.0, 0.0, 160.0, 60.0],
        "tender": None,
        "faces": "left",
        "regions": dict.fromkeys(("boiler_top", "side_rods", "running_board"), QUAD),
        "visible": dict.fromkeys(("boiler_top", "side_rods", "running_board"), 1.0),
        "cues": dict.fromkeys(("switch_lever", "side_linkage", "edge_stripe"), cue),
    }


def _folder(folder: Path, levers: list[bool]) -> list[dict[str, object]]:
    labels = [_picture(folder, n, lever=lever) for n, lever in enumerate(levers)]
    text = "".join(json.dumps(label) + "\n" for label in labels)
    (folder / "labels-train-00.jsonl").write_text(text)
    return labels


@pytest.mark.parametrize("seed", range(6))
def test_a_drawn_lever_changes_its_place_and_nothing_else(seed: int) -> None:
    batch = torch.full((8, 3, 112, 384), 0.5)
    chosen = torch.arange(8) % 2 == 0
    drawn, place, foot = draw_levers(batch, chosen, _generator(seed))
    assert torch.equal(drawn[~chosen], batch[~chosen])
    assert float(place[~chosen].abs().max()) == 0.0
    lowest = place[chosen][:, 0].flip(1).gt(0.2).float()
    marked = lowest[torch.arange(4), lowest.amax(2).argmax(1)]  # each lever's lowest row
    middle = (marked * torch.arange(384)).sum(1) / marked.sum(1)
    assert middle.numpy() == pytest.approx(foot[chosen].numpy(), abs=6.0)
    outside = place.expand_as(drawn) == 0
    assert torch.equal(drawn[outside], batch[outside])
    assert bool((place[chosen].amax((1, 2, 3)) > 0.3).all())
    assert 0.0 <= float(drawn.min()) <= float(drawn.max()) <= 1.0


def test_things_like_levers_leave_the_crops_that_were_not_chosen() -> None:
    batch = torch.full((6, 3, 112, 384), 0.5)
    chosen = torch.arange(6) < 3
    for seed in range(6):
        drawn = draw_decoys(batch, chosen, _generator(seed))
        assert torch.equal(drawn[~chosen], batch[~chosen])


def test_nothing_like_a_lever_is_drawn_over_one(tmp_path: Path) -> None:
    _folder(tmp_path, [True] * 16)
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    pictures.along[:] = 0.5
    plain = Settings(**PLAIN, jitter=0.0, drawn=0.0, coarse=0.0, grainy=0.0)
    busy = replace(plain, drawn=1.25)  # a decoy into every crop
    for seed in range(8):
        without, *_ = judge_batch(pictures, torch.arange(16), _generator(seed), plain, 0)
        pixels, _, _, place, _ = judge_batch(pictures, torch.arange(16), _generator(seed), busy, 0)
        whole = torch.nn.functional.interpolate(place, scale_factor=4.0)
        inner = -torch.nn.functional.max_pool2d(-whole, 13, 1, 6)  # well inside the lever
        assert bool(inner.any())
        assert float(((pixels - without).abs() * inner).max()) < 1e-5


def test_beyond_a_picture_lies_grey_and_no_mask() -> None:
    """As `vision.rectify` pads it; the picture itself is OpenCV's warp."""
    rng = np.random.default_rng(4)
    picture = rng.integers(0, 256, (40, 60, 4), dtype=np.uint8)
    pixels = torch.from_numpy(picture).permute(2, 0, 1)[None]
    shift = torch.tensor([[[1.0, 0.0, -20.0], [0.0, 1.0, -10.0], [0.0, 0.0, 1.0]]])
    got = cut(pixels, shift, (80, 60), beyond=BEYOND)[0].permute(1, 2, 0).numpy()
    expected = cv2.copyMakeBorder(
        picture, 10, 10, 20, 0, cv2.BORDER_CONSTANT, value=(114, 114, 114, 0)
    )
    assert got == pytest.approx(expected[:60, :80].astype(np.float32) / 255, abs=1e-5)


def test_the_ends_of_a_region_are_where_opencv_carries_its_corners(tmp_path: Path) -> None:
    """Corners that were moved, and where the true ones then lie in the crop."""
    _folder(tmp_path, [True, False] * 4)
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    settings = Settings(**PLAIN, jitter=1.0, drawn=0.0)
    *_, asked = judge_batch(pictures, torch.arange(8), _generator(3), settings, 0)
    generator = _generator(3)
    quad = pictures.corners[:, 0]
    along = (quad[:, 0] - quad[:, 1]).norm(dim=1)[:, None, None]
    shared = torch.randn((8, 1, 2), generator=generator) * torch.tensor([0.022, 0.018])
    each = torch.randn((8, 4, 2), generator=generator) * torch.tensor([0.018, 0.012])
    moved = (quad + (shared + each) * along).numpy()
    target = np.array([[32, 8], [416, 8], [416, 120], [32, 120]], np.float32)
    for k in range(8):
        carry = cv2.getPerspectiveTransform(moved[k], target)
        x = cv2.perspectiveTransform(quad[k].numpy()[None], carry)[0, :, 0]
        expected = (0.4 * x[0] + 0.6 * x[3], 0.4 * x[1] + 0.6 * x[2])
        assert asked.ends[k].numpy() == pytest.approx(expected, abs=0.05)


def test_what_a_judge_is_told_is_what_its_crop_shows(tmp_path: Path) -> None:
    _folder(tmp_path, [True, False] * 8)
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    settings = Settings(**PLAIN, jitter=0.0, drawn=0.5)
    pixels, present, visible, place, _ = judge_batch(
        pictures, torch.arange(16), _generator(), settings, 0
    )
    assert pixels.shape == (16, 3, 128, 448) and place.shape == (16, 1, 32, 112)
    shown = place.amax((1, 2, 3)) > 0
    assert torch.equal(present > 0.5, shown)
    assert bool((visible == 1).all())
    # Levers were drawn onto some crops that had none, and not onto all of them.
    bare = pictures.present[:, 0] < 0.5
    assert 0 < int((present[bare] > 0.5).sum()) < int(bare.sum())


def test_a_judge_is_asked_where_the_casting_has_its_lever(tmp_path: Path) -> None:
    labels = _folder(tmp_path, [True, False] * 8)
    for label in labels:
        cues: Any = label["cues"]
        label["cues"] = cues | {"switch_lever": cues["switch_lever"] | {"along": 0.5}}
    text = "".join(json.dumps(label) + "\n" for label in labels)
    (tmp_path / "labels-train-00.jsonl").write_text(text)
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    settings = Settings(**PLAIN, jitter=0.0, drawn=0.0)
    _, present, _, place, asked = judge_batch(pictures, torch.arange(16), _generator(), settings, 0)
    assert asked.share[:, 0].numpy() == pytest.approx(0.5, abs=0.02)
    # Nothing was moved: the region lies within the margins that its crop shows beyond it.
    assert asked.ends.numpy() == pytest.approx(np.array([[32.0, 416.0]] * 16), abs=0.01)
    assert torch.equal(asked.there[:, 0], present) and not asked.there[:, 1].any()
    assert bool((asked.weight[:, 0] == 1).all())
    # Elsewhere nothing is asked close to a lever.
    columns = torch.arange(112) * 4 + 2.0
    there = 32 + 384 * asked.share[:, 1]
    for k in range(16):
        hot = columns[place[k, 0].amax(0) > 0]
        if len(hot) and float((there[k] - hot.mean()).abs()) < 44:
            assert asked.weight[k, 1] == 0


def test_processes_load_what_threads_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _folder(tmp_path, [True, False] * 4)
    by_threads = load(tmp_path, "cpu", stored=SIZE, threads=2)
    monkeypatch.setattr("tools.train.loading._MANY", 1)
    by_processes = load(tmp_path, "cpu", stored=SIZE, threads=2)
    for name, values in vars(by_threads).items():
        assert torch.equal(torch.nan_to_num(values), torch.nan_to_num(getattr(by_processes, name)))


def test_of_pictures_that_name_no_place_none_is_asked(tmp_path: Path) -> None:
    _folder(tmp_path, [True, False] * 4)
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    settings = Settings(**PLAIN, jitter=0.0, drawn=0.0)
    *_, asked = judge_batch(pictures, torch.arange(8), _generator(), settings, 0)
    assert not asked.weight[:, 0].any() and bool(asked.share.isfinite().all())


def test_answers_between_columns_are_interpolated_as_numpy_does() -> None:
    along = torch.randn(3, 48, generator=_generator())
    at = torch.tensor([[0.0, 383.0], [100.0, 201.5], [4.0, 379.9]])
    got = at_column(along, at)
    centres = (np.arange(48) + 0.5) * 8
    for k in range(3):
        expected = np.interp(at[k].numpy(), centres, along[k].numpy())
        assert got[k].numpy() == pytest.approx(expected, abs=1e-5)


def test_weights_from_before_a_layer_was_added_still_start_a_training() -> None:
    before, after = Judge(), Judge(told=True)
    _start_from(after, before.state_dict())
    kept = after.state_dict()
    assert all(torch.equal(kept[name], value) for name, value in before.state_dict().items())
    with pytest.raises(ValueError, match="another design"):
        _start_from(before, after.state_dict())


def test_pictures_are_read_as_they_were_rendered(tmp_path: Path) -> None:
    labels = _folder(tmp_path, [True, False, True])
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    assert int(pictures.filled) == 3
    assert pictures.present[:, 0].tolist() == [1.0, 0.0, 1.0]
    written = cv2.imread(str(tmp_path / str(labels[0]["file"])))[..., ::-1]
    assert np.array_equal(pictures.pixels[0].permute(1, 2, 0).numpy(), written)
    assert pictures.corners[0, 0].tolist() == QUAD


@pytest.mark.parametrize("figures", [True, False])
def test_many_pictures_read_by_processes_are_the_same_pictures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, figures: bool
) -> None:
    _folder(tmp_path, [True, False, True] * 5)
    one = load(tmp_path, "cpu", stored=SIZE, threads=1)
    monkeypatch.setattr("tools.train.loading._MANY", 1)
    monkeypatch.setattr("tools.train.loading._CHUNK", 2)
    two = load(tmp_path, "cpu", stored=SIZE, threads=2, figures=figures)
    for name, values in vars(one).items():
        if figures or name not in ("figures", "digits", "cab"):
            assert torch.equal(torch.nan_to_num(values), torch.nan_to_num(getattr(two, name))), name
    assert figures or bool((two.digits == -1).all())


def test_a_line_still_being_written_is_left_for_later(tmp_path: Path) -> None:
    _folder(tmp_path, [True, False])
    path = tmp_path / "labels-train-00.jsonl"
    path.write_text(path.read_text() + '{"file": "train-1-00')
    assert len(read_labels(tmp_path)) == 2


def test_a_label_without_its_picture_is_left_out(tmp_path: Path) -> None:
    labels = _folder(tmp_path, [True, False, True])
    (tmp_path / str(labels[1]["file"])).unlink()
    pictures = load(tmp_path, "cpu", stored=SIZE, threads=1)
    assert int(pictures.filled) == 2
    assert pictures.present[:2, 0].tolist() == [1.0, 1.0]


def test_pictures_come_in_while_a_folder_is_filled_and_none_twice(tmp_path: Path) -> None:
    store = empty(10, "cpu", SIZE)
    until = time.time() + 20.0
    thread = threading.Thread(
        target=follow, args=([store], tmp_path), kwargs={"until": until, "threads": 1}
    )
    (tmp_path / "labels-train-00.jsonl").write_text("")
    thread.start()
    _folder(tmp_path, [True] * 4)
    while int(store.filled) < 4 and time.time() < until:
        time.sleep(0.05)
    _folder(tmp_path, [True] * 4 + [False] * 6)
    thread.join()
    assert int(store.filled) == 10
    assert store.present[:, 0].tolist() == [1.0] * 4 + [0.0] * 6


def test_pictures_beyond_the_room_are_left_out(tmp_path: Path) -> None:
    labels = _folder(tmp_path, [True] * 5)
    store = empty(3, "cpu", SIZE)
    with ThreadPoolExecutor(1) as pool:
        append([store], tmp_path, labels, pool=pool)
        append([store], tmp_path, labels, pool=pool)
    assert int(store.filled) == 3


@pytest.mark.parametrize(("name", "size"), [("boiler_top", (448, 128)), ("loupe", (192, 192))])
def test_a_shipped_network_comes_back_and_says_the_same(name: str, size: tuple[int, int]) -> None:
    """Against ONNX Runtime on the shipped file, before and after its layers are settled."""
    pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    import onnxruntime

    from tools.export import _Shipped
    from tools.train.revive import revive, settle

    path = Path(__file__).parent.parent / "models" / f"{name}.onnx"
    net = revive(name, path)
    pixels = np.random.default_rng(3).integers(0, 256, (1, *size[::-1], 3), dtype=np.uint8)
    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    expected = session.run(None, {"pixels": pixels})

    def said() -> list[np.ndarray]:
        with torch.no_grad():
            return [out.numpy() for out in _Shipped(net).eval()(torch.from_numpy(pixels))]

    for one, two in zip(said(), expected, strict=True):
        assert np.allclose(one, two, atol=1e-3)
    settle(net, [torch.rand(4, 3, *size[::-1], generator=_generator())])
    for one, two in zip(said(), expected, strict=True):
        assert np.allclose(one, two, atol=1e-3)
    # Settled, training starts where its batches are: as in use, but for what they differ by.
    layer = next(m for m in net.modules() if isinstance(m, torch.nn.BatchNorm2d))
    assert float(layer.running_var.max()) > 1e-3


def test_weights_half_way_are_the_mean() -> None:
    from tools.train.blend import between

    one = {"a": torch.zeros(3), "steps": torch.tensor(4)}
    two = {"a": torch.ones(3), "steps": torch.tensor(9)}
    mixed = between(one, two, 0.5)
    assert mixed["a"].tolist() == [0.5] * 3
    assert int(mixed["steps"]) == 9
    with pytest.raises(ValueError, match="one design"):
        between(one, {"a": torch.ones(4), "steps": torch.tensor(9)}, 0.5)
