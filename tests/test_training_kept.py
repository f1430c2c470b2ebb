"""What a training leaves behind: steps that lead nowhere, twins to choose between, ablations.

Skipped where the training's library is not installed: using telltale needs none of it.
"""

from __future__ import annotations

import json
import re
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

from tools.evaluate.ablations import ANOTHER_SEED, WHOLE, ablation_table, read_ablations

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")

from tools.train.ablate import INGREDIENTS, judged, variants  # noqa: E402
from tools.train.choose import choose  # noqa: E402
from tools.train.keeper import Keeper  # noqa: E402
from tools.train.layers import Trunk  # noqa: E402
from tools.train.loading import _columns, empty  # noqa: E402
from tools.train.loop import _optimiser, _stepped  # noqa: E402
from tools.train.networks import STRIDES_TO_16, Judge  # noqa: E402
from tools.train.pictures import Pictures  # noqa: E402
from tools.train.settings import Settings  # noqa: E402
from tools.train.tasks import Task  # noqa: E402
from vision.network import models_folder  # noqa: E402


def _net() -> torch.nn.Module:
    torch.manual_seed(1)
    return torch.nn.Sequential(torch.nn.Linear(2, 3), torch.nn.Linear(3, 1))


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_step_without_a_finite_slope_changes_nothing_and_is_counted(bad: float) -> None:
    net, skipped = _net(), torch.zeros(())
    optimiser = _optimiser(net, 0.1)
    _stepped(net, net(torch.ones(4, 2)).mean(), optimiser, skipped)
    assert float(skipped) == 0.0
    before = {name: value.clone() for name, value in net.state_dict().items()}
    _stepped(net, net(torch.full((4, 2), bad)).mean(), optimiser, skipped)
    assert float(skipped) == 1.0
    assert all(torch.equal(before[name], value) for name, value in net.state_dict().items())
    _stepped(net, net(torch.ones(4, 2)).mean(), optimiser, skipped)
    assert not torch.equal(before["0.weight"], net.state_dict()["0.weight"])


def test_the_steps_are_those_of_the_librarys_own_optimiser() -> None:
    """`torch.optim.AdamW` step by step, without fused kernels, on clipped gradients."""
    mine, theirs = _net(), _net()
    optimiser, skipped = _optimiser(mine, 0.05), torch.zeros(())
    decayed = [p for p in theirs.parameters() if p.ndim > 1]
    plain = [p for p in theirs.parameters() if p.ndim <= 1]
    groups = [{"params": decayed, "weight_decay": 0.02}, {"params": plain, "weight_decay": 0.0}]
    reference = torch.optim.AdamW(groups, lr=0.05, foreach=False, fused=False)
    for step in range(5):
        data = torch.full((4, 2), 1.0 + step)
        _stepped(mine, (mine(data) ** 2).mean(), optimiser, skipped)
        reference.zero_grad()
        (theirs(data) ** 2).mean().backward()
        torch.nn.utils.clip_grad_norm_(theirs.parameters(), 5.0)
        reference.step()
    for one, two in zip(mine.parameters(), theirs.parameters(), strict=True):
        assert torch.allclose(one, two, atol=1e-6)


class _Line(torch.nn.Module):
    """One weight, wanted to be 1."""

    def __init__(self) -> None:
        super().__init__()
        self.weight = torch.nn.Parameter(torch.zeros(1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return x * self.weight


@pytest.mark.parametrize(
    ("values", "best", "kept"),
    [
        ((0.5, 1.5), "01", 1.0),
        ((0.9, 5.0), "0", 0.9),
        ((3.0, 0.2, 1.6), "12", 0.9),
        ((0.1, 0.8, 2.1), "012", 1.0),
    ],
)
def test_the_best_is_chosen_or_the_mean_of_some(
    tmp_path: Path, values: tuple[float, ...], best: str, kept: float
) -> None:
    files = [tmp_path / f"{at}.pt" for at in range(len(values))]
    for path, value in zip(files, values, strict=True):
        torch.save({"weight": torch.tensor([value])}, path)

    def loss(net: torch.nn.Module, batch: tuple[torch.Tensor, ...]) -> torch.Tensor:
        return ((net(batch[0]) - 1.0) ** 2).mean()

    task = Task(_Line(), lambda *_: None, loss, lambda: torch.arange(1), 1)
    errors = choose(task, [(torch.ones(3, 1),)], files)
    assert len(errors) == 2 ** len(values) - 1
    assert errors[tuple(files)] == pytest.approx((sum(values) / len(values) - 1) ** 2, abs=1e-6)
    assert "".join(path.stem for path in min(errors, key=errors.__getitem__)) == best
    assert task.net.weight.item() == pytest.approx(kept)


def test_each_ingredient_is_left_out_once_and_nothing_else() -> None:
    whole = vars(Settings())
    left = {name: vars(settings) for name, _, settings in variants("boiler_top")}
    assert left.pop(WHOLE) == left.pop(ANOTHER_SEED) == whole
    assert set(left) == {*INGREDIENTS, "drawn", "spliced", "stretched"}
    for name, settings in left.items():
        assert {key for key in whole if settings[key] != whole[key]} == {name}
        assert not settings[name]


def test_only_parts_that_can_be_seen_are_judged() -> None:
    """A judge that says what the first pixel says, on crops of one colour."""
    store = empty(12, "cpu", (64, 24))
    truth = torch.arange(12) % 2
    store.pixels[:] = (255 * truth.view(-1, 1, 1, 1)).to(torch.uint8)
    store.present[:, 1], store.visible[:, 1] = truth.float(), 1.0
    store.visible[8:, 1] = 0.0
    store.corners[:, 1] = torch.tensor([[10.0, 4.0], [54.0, 4.0], [54.0, 20.0], [10.0, 20.0]])
    store.filled.fill_(12)

    class Judge(torch.nn.Module):
        told = False  # no place

        def forward(self, pixels: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
            said = pixels[:, 0, 64, 192] - 0.5
            return torch.stack([said, said], 1), said

    line = judged(Judge(), store, torch.arange(12), 1)
    assert (line["present"], line["absent"]) == (4, 4)
    assert line["balanced_accuracy"] == line["area"] == 1.0


def _scenes(*names: str, empty_ones: tuple[str, ...] = ()) -> Pictures:
    """Room for more pictures than there are names, filled with grey ones of these files."""
    box, quad = [0.0, 0.0, 64.0, 24.0], [[4.0, 4.0], [60.0, 4.0], [60.0, 20.0], [4.0, 20.0]]
    regions = ("boiler_top", "side_rods", "running_board")
    labels = [
        {
            "file": name,
            "locomotive": None if name in empty_ones else box,
            "tender": None,
            "faces": "left",
            "regions": dict.fromkeys(regions, quad),
            "visible": dict.fromkeys(regions, 1.0),
        }
        for name in names
    ]
    store = empty(len(names) + 3, "cpu", (64, 24))
    for name, values in _columns(labels, (1.0,) * len(labels)).items():
        getattr(store, name)[: len(labels)] = values
    store.filled.fill_(len(names))
    return store


def test_an_engine_counts_once_however_many_views_show_it() -> None:
    views = ("train-1-000000_0.jpg", "train-1-000000_1.jpg", "train-1-000000_1t.jpg")
    seeds = ("train-2-000000_0.jpg", "held-1-000000_0.jpg", "train-1-1000000_0.jpg")
    wagon = ("train-1-000007_0.jpg",)
    assert _scenes(*views).engines() == 1
    store = _scenes(*views, *seeds, *wagon, empty_ones=wagon)
    assert store.engines() == 4
    store.filled.fill_(3)  # the others are still being rendered
    assert store.engines() == 1
    store.filled.fill_(0)
    assert store.engines() == 0


def test_the_training_tells_of_how_many_engines_its_pictures_are(tmp_path: Path) -> None:
    pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    from tools.export import training_words

    store = _scenes("train-1-000000_0.jpg", "train-1-000000_1.jpg", "train-1-000004_0.jpg")
    Keeper(tmp_path, seed=1)("side_rods", store, time.time())
    report = json.loads((tmp_path / "side_rods.json").read_text("utf-8"))
    assert (report["pictures"], report["engines"]) == (3, 2)
    told = training_words(report)
    assert told.endswith(f"steps of {report['batch']} on 3 pictures of 2 engines")
    before = {key: value for key, value in report.items() if key != "engines"}
    later = training_words(report | {"before": before, "finished": False, "share": 0.5})
    assert later.count("engines") == 1
    assert " on 3 pictures, then " in later
    assert later.endswith("of 2 engines, cut off, of which 50% of the way is kept")


def _lines(path: Path, *lines: tuple[str, float]) -> Path:
    fixed = {"network": "side_rods", "steps": 3, "pictures": 9, "interval": [0.5, 0.9]}
    fixed |= {"area": 0.9, "present": 4, "absent": 5}
    texts = [
        json.dumps(fixed | {"without": name, "balanced_accuracy": value}) for name, value in lines
    ]
    path.write_text("\n".join(texts) + "\n")
    return path


def test_the_cards_table_says_what_is_lost_without_each(tmp_path: Path) -> None:
    paths = [
        _lines(tmp_path / "a.jsonl", ("jitter", 0.85)),
        _lines(tmp_path / "b.jsonl", (WHOLE, 0.9), ("patches", 0.91)),
    ]
    rows = ablation_table(read_ablations(paths)).splitlines()[2:]
    cells = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]
    assert [row[4] for row in cells] == ["", "-1.00", "+5.00"]
    assert np.all([row[6] == "9" for row in cells])
    with pytest.raises(ValueError, match="side_rods"):
        read_ablations(paths[:1])


def test_a_network_that_stays_joins_a_version_and_says_what_it_said(tmp_path: Path) -> None:
    """Read back by the onnx library, which wrote none of it."""
    onnx = pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    from tools.export import renamed

    before = models_folder() / "running_board.onnx"
    after = tmp_path / before.name
    shutil.copy(before, after)
    renamed(after, version="2031.1")
    old, new = (onnx.load(path) for path in (before, after))
    facts = [{fact.key: fact.value for fact in model.metadata_props} for model in (old, new)]
    assert facts[1] == facts[0] | {"version": "2031.1"}
    assert new.graph.SerializeToString() == old.graph.SerializeToString()


def test_a_deepened_network_begins_by_saying_what_the_shallower_one_says() -> None:
    pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    from tools.train.deepen import deepened

    shallow = Judge(Trunk(STRIDES_TO_16, (1, 2, 3), 64)).eval()
    for part in shallow.modules():  # as after a training, which no block passes unchanged
        if isinstance(part, torch.nn.BatchNorm2d):
            torch.nn.init.normal_(part.weight, 1.0, 0.2)
    deep = deepened("running_board", shallow.state_dict()).eval()
    assert len(deep.state_dict()) > len(shallow.state_dict())
    crops = torch.rand(2, 3, 64, 512, generator=torch.Generator().manual_seed(2))
    with torch.no_grad():
        for said, before in zip(deep(crops), shallow(crops), strict=True):
            assert torch.equal(said, before)


def test_weights_that_lack_more_than_blocks_are_not_deepened() -> None:
    pytest.importorskip("onnx", reason="the training's library is not among the tests' own")
    from tools.train.deepen import deepened

    whole = Judge(Trunk(STRIDES_TO_16, (1, 2, 3), 64)).state_dict()
    for lost in ("decide.0.weight", "trunk.stages.1.1.layers.0.weight"):
        partly = {name: value for name, value in whole.items() if name != lost}
        with pytest.raises(ValueError, match=re.escape(lost.removesuffix(".layers.0.weight"))):
            deepened("running_board", partly)
