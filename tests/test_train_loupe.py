"""What the loupe learns from: windows of boiler tops about a place, and what stands there.

Skipped where the training's library is not installed: using telltale needs none of it.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data

from vision.cues.loupe import look_closely
from vision.records import Photo
from vision.rectify import region_crop

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")

from tools.export import kind_of  # noqa: E402
from tools.train.loading import load  # noqa: E402
from tools.train.loupe import LOUPE_SIZE, Loupe, loupe_batch, loupe_loss  # noqa: E402
from tools.train.networks import CROP_SIZES, MARGINS  # noqa: E402
from tools.train.pictures import Pictures  # noqa: E402
from tools.train.settings import COOL, MADE_UP, SPOILT, Settings  # noqa: E402
from tools.train.tasks import task_of  # noqa: E402

SIZE = (320, 120)  # of the drawn pictures, in which the engine fills the frame
QUAD = [[20.0, 16.0], [300.0, 16.0], [300.0, 96.0], [20.0, 96.0]]
FOOT = 164  # column of the lever's middle
ALONG = (FOOT - QUAD[0][0]) / (QUAD[1][0] - QUAD[0][0])
# Nothing made up, nothing spoilt, and places hardly missed: as a training begins.
PLAIN = replace(Settings().without(*MADE_UP, *SPOILT, "jitter"), progress=0.0)
MIDDLE = LOUPE_SIZE[0] // 4 // 2  # cell of the place map


def _generator(seed: int = 3) -> torch.Generator:
    return torch.Generator().manual_seed(seed)


def _pictures(folder: Path, levers: list[bool], *, along: float | None = ALONG) -> Pictures:
    """Grey boiler tops, with and without a bright lever, written and read back."""
    lines = []
    for number, lever in enumerate(levers):
        picture = np.full((SIZE[1], SIZE[0], 3), 120, np.uint8)
        mask = np.zeros(SIZE[::-1], np.uint8)
        if lever:
            picture[36:72, FOOT - 4 : FOOT + 4] = 240
            mask[36:72, FOOT - 4 : FOOT + 4] = 1
        name = f"train-1-{number:06d}_0.png"
        cv2.imwrite(str(folder / name), picture)
        cv2.imwrite(str((folder / name).with_suffix(".mask.png")), mask)
        cue = {"state": "present" if lever else "absent", "visible": True}
        lines.append(
            {
                "file": name,
                "locomotive": [0.0, 0.0, *map(float, SIZE)],
                "tender": None,
                "faces": "left",
                "regions": dict.fromkeys(("boiler_top", "side_rods", "running_board"), QUAD),
                "visible": dict.fromkeys(("boiler_top", "side_rods", "running_board"), 1.0),
                "cues": {
                    "switch_lever": cue if along is None else cue | {"along": along},
                    "side_linkage": cue,
                    "edge_stripe": cue,
                },
            }
        )
    text = "".join(json.dumps(line) + "\n" for line in lines)
    (folder / "labels-train-00.jsonl").write_text(text)
    return load(folder, "cpu", stored=SIZE, threads=1)


def _middle_of(place: torch.Tensor) -> float:
    """Mean column of the hot cells of one map (1, H, W); not a number without any."""
    columns = place[0].nonzero()[:, 1].float()
    return float(columns.mean()) + 0.5 if len(columns) else float("nan")


def test_where_a_lever_is_present_it_stands_in_the_middle(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [True] * 48)
    pixels, present, visible, place, asked = loupe_batch(
        pictures, torch.arange(48), _generator(), PLAIN
    )
    assert bool((asked[present > 0.5] == 1).all())
    assert pixels.shape == (48, 3, 192, 192) and place.shape == (48, 1, 48, 48)
    assert 0.0 <= float(pixels.min()) <= float(pixels.max()) <= 1.0
    held = (present > 0.5).nonzero()[:, 0].tolist()
    assert len(held) > 30 and bool((visible[present > 0.5] == 1).all())
    found = np.array([_middle_of(place[k]) for k in held])
    assert np.abs(found - MIDDLE).max() < 5.0 and np.abs(found - MIDDLE).mean() < 1.0
    # Some to the left and some to the right: nobody writes a place down without error.
    assert found.min() < MIDDLE < found.max()
    # And what the map marks is the bright lever, not what is round it.
    inner = -torch.nn.functional.max_pool2d(-place, 3, 1, 1)
    lit = torch.nn.functional.interpolate(inner, scale_factor=4.0) > 0.5
    assert bool(lit.any())
    assert (
        float(pixels.mean(1, keepdim=True)[lit].min()) > 0.65
    )  # at its very edge; the ground is 0.47
    assert float(pixels[held, :, 90, 4].max()) < 0.6


def test_the_window_is_half_as_fine_again_as_the_judges_crop(tmp_path: Path) -> None:
    """The lever is 8 pixels of the 280 that the region is long, which the loupe shows as 576."""
    pictures = _pictures(tmp_path, [True] * 16)
    _, present, _, place, _ = loupe_batch(pictures, torch.arange(16), _generator(), PLAIN)
    for k in (present > 0.5).nonzero()[:, 0].tolist():
        wide = int(place[k, 0].amax(0).sum())
        high = int(place[k, 0].amax(1).sum())
        assert 8 / 280 * 576 / 4 - 0.5 <= wide <= 8 / 280 * 576 / 4 + 2
        assert 36 / 80 * 168 / 4 - 0.5 <= high <= 36 / 80 * 168 / 4 + 2


def test_a_training_shows_what_the_eye_will_show(tmp_path: Path) -> None:
    """The same place of the same picture, cut out by either, but for rounding."""
    pictures = _pictures(tmp_path, [True] * 6)
    # Grey, since some pictures lose their colour even where nothing else is spoilt.
    grey = cv2.GaussianBlur(skimage.data.camera()[120:240, 100:420], (0, 0), 1.5)
    picture = np.repeat(grey[:, :, None], 3, axis=2)
    pictures.pixels[:6] = torch.from_numpy(picture).permute(2, 0, 1)
    unerring = replace(PLAIN, warming=1.0, progress=-COOL / (1.0 - COOL))
    assert unerring.ease == pytest.approx(0.0)
    pixels, present, *_ = loupe_batch(pictures, torch.arange(6), _generator(), unerring)
    eye = _Eye()
    photo = Photo(picture, SIZE, "0" * 64, "camera")
    (left, top), (width, height) = MARGINS["boiler_top"], CROP_SIZES["boiler_top"]
    quad = tuple((x, y) for x, y in QUAD)
    crop = region_crop(photo, quad, (width, height), margin=(left, top))
    look_closely(photo, crop, (left, width - left), [ALONG], eye)
    expected = eye.shown[0].astype(float)
    held = (present > 0.5).nonzero()[:, 0].tolist()
    assert len(held) > 3
    for k in held:
        shown = pixels[k].permute(1, 2, 0).numpy() * 255
        off = min(np.abs(one - expected).mean() for one in (shown, shown[:, ::-1]))
        assert off < 1.5
    # Two pixels to the side is another picture.
    assert np.abs(np.roll(expected, 2, axis=1) - expected).mean() > 2.5


class _Eye:
    """The loupe as the eye uses it; it remembers what it was shown."""

    size, margin = LOUPE_SIZE, (0, 0)

    def __init__(self) -> None:
        self.shown: list[np.ndarray] = []

    def run(self, pixels: np.ndarray) -> dict[str, np.ndarray]:
        self.shown.append(pixels)
        return {"decision": np.zeros(2, np.float32)}


def test_elsewhere_no_lever_is_present_and_close_to_one_nothing_is_asked(tmp_path: Path) -> None:
    """Every engine has its lever: whatever is absent was asked for elsewhere."""
    pictures = _pictures(tmp_path, [True] * 96)
    pixels, present, _, place, known = loupe_batch(pictures, torch.arange(96), _generator(), PLAIN)
    elsewhere = present < 0.5
    assert 5 < int(elsewhere.sum()) < 30  # of 96 about 14
    asked = elsewhere & (known > 0.5)
    assert int(asked.sum()) > 3
    # Well within the reach of a lever of the middle, 40 pixels: ten cells.
    assert float(place[asked][..., MIDDLE - 8 : MIDDLE + 8].max()) == 0.0
    assert float(pixels[asked][..., 76:116].max()) < 0.6
    # Of those left out the lever itself is in the window, which shows more than its reach.
    seen_anyway = pixels[elsewhere & (known < 0.5)].amax((1, 2, 3))
    assert bool((seen_anyway > 0.8).all())


def test_a_bare_boiler_top_has_a_lever_nowhere(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [False] * 24)
    _, present, visible, place, _ = loupe_batch(pictures, torch.arange(24), _generator(), PLAIN)
    assert not present.any() and not place.any() and bool((visible == 1).all())


def test_a_lever_that_is_drawn_is_asked_for_where_it_stands(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [False] * 48)
    drawn = replace(PLAIN, drawn=1.0)
    _, present, visible, place, _ = loupe_batch(pictures, torch.arange(48), _generator(5), drawn)
    held = ((present > 0.5) & (visible > 0.5)).nonzero()[:, 0].tolist()
    assert len(held) > 20
    marked = [k for k in held if bool(place[k].any())]
    assert len(marked) > 0.9 * len(held)  # one in the background's colour marks its cells too
    # It leans, so that its middle stands farther off than its foot.
    assert float(np.median([abs(_middle_of(place[k]) - MIDDLE) for k in marked])) < 3.0


def test_of_pictures_that_name_no_place_none_is_taken_for_one_with_a_lever(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [True] * 32, along=None)
    pixels, present, visible, _, asked = loupe_batch(
        pictures, torch.arange(32), _generator(), PLAIN
    )
    assert float((present * visible * asked).sum()) == 0.0
    assert bool(pixels.isfinite().all())


def test_a_lever_under_a_patch_cannot_be_seen(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [True] * 64)
    covered = replace(PLAIN, patches=1.0 / PLAIN.ease)
    _, present, visible, place, _ = loupe_batch(pictures, torch.arange(64), _generator(), covered)
    hidden = (present > 0.5) & (visible < 0.5)
    assert 0 < int(hidden.sum()) < 40
    assert not place[hidden].any()


def test_the_loupe_answers_for_the_middle_and_maps_its_window() -> None:
    net, size, kind = kind_of("loupe")
    assert isinstance(net, Loupe) and size == LOUPE_SIZE and kind == "judge"
    decision, heat = net(torch.rand(3, 3, *LOUPE_SIZE[::-1], generator=_generator()))
    assert decision.shape == (3, 2) and heat.shape == (3, 1, 48, 48)
    # Before it has learnt anything it marks next to nothing.
    assert float(torch.sigmoid(heat.detach()).mean()) < 0.15


def test_a_training_of_the_loupe_draws_its_batches(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [True, False] * 4)
    task = task_of("loupe", pictures, PLAIN)
    assert isinstance(task.net, Loupe) and task.loss is loupe_loss


def test_steps_down_the_gradient_lower_the_loss(tmp_path: Path) -> None:
    pictures = _pictures(tmp_path, [True, False] * 2)
    batch = loupe_batch(pictures, torch.arange(4), _generator(), PLAIN)
    torch.manual_seed(3)
    net = Loupe()
    for layer in net.modules():
        if isinstance(layer, torch.nn.Dropout):
            layer.p = 0.0
    optimizer = torch.optim.AdamW(net.parameters(), 1e-3)
    losses = []
    for _ in range(4):
        loss = loupe_loss(net, batch)
        losses.append(float(loss.detach()))
        optimizer.zero_grad()
        loss.backward()
        optimizer.step()
    assert all(np.isfinite(losses))
    assert losses[1] < losses[0] and losses[-1] < 0.8 * losses[0]
    assert all(p.grad is not None and bool(p.grad.isfinite().all()) for p in net.parameters())


@pytest.mark.parametrize("wrong", ["present", "place"])
def test_a_wrong_answer_costs_more_than_a_right_one(tmp_path: Path, wrong: str) -> None:
    pictures = _pictures(tmp_path, [True, False] * 4)
    pixels, present, visible, place, asked = loupe_batch(
        pictures, torch.arange(8), _generator(), PLAIN
    )

    class Said(torch.nn.Module):
        """Answers that are given to it."""

        def __init__(self, there: torch.Tensor, where: torch.Tensor) -> None:
            super().__init__()
            self.there, self.where = there, where

        def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
            seen = 6.0 * (2 * visible - 1)
            return torch.stack([6.0 * (2 * self.there - 1), seen], 1), 6.0 * (2 * self.where - 1)

    batch = (pixels, present, visible, place, asked)
    right = loupe_loss(Said(present, place), batch)  # type: ignore[arg-type]
    said = Said(1 - present, place) if wrong == "present" else Said(present, place.flip(3).roll(9))
    assert float(loupe_loss(said, batch)) > float(right) + 0.5  # type: ignore[arg-type]
    # What cannot be seen is nobody's business.
    hidden = (pixels, present, torch.zeros_like(visible), torch.zeros_like(place), asked)
    one, two = (loupe_loss(Said(p, place), hidden) for p in (present, 1 - present))  # type: ignore[arg-type]
    assert float(one) == pytest.approx(float(two))
