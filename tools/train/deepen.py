"""Weights of a shallower design as a start for the design of now.

python -m tools.train.deepen --weights DIR --only boiler_top --out DIR

The blocks that the trained weights lack are added behind theirs and pass on what they are
given (`tools.train.layers.Block`), so that the deeper network begins by saying what the
shallower one says. All trainings from one such start agree on what the new blocks began as:
without that their mean would be worthless.
"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Mapping
from pathlib import Path

import torch
from torch import Tensor, nn

from tools.export import kind_of


def deepened(name: str, weights: Mapping[str, Tensor], *, seed: int = 0) -> nn.Module:
    """The network of that name with these weights, and new blocks that pass on.

    Parameters
    ----------
    name : str
        One of `vision.network.NAMES`.
    weights : mapping of str to Tensor
        Of the same design with fewer blocks at some strides.
    seed : int
        Of the new blocks' inner weights.

    Raises
    ------
    ValueError
        The weights hold layers that the network has not, or lack others than whole blocks.
    """
    torch.manual_seed(seed)
    net, *_ = kind_of(name)
    missing, strange = net.load_state_dict(dict(weights), strict=False)
    fresh = {".".join(key.split(".")[:4]) for key in missing}
    partly = [block for block in fresh if any(known.startswith(f"{block}.") for known in weights)]
    outside = [key for key in missing if not key.startswith("trunk.stages.")]
    if strange or partly or outside:
        told = ", ".join([*strange, *partly, *outside])
        raise ValueError(f"{name}: weights of another design: {told}")
    return net


def main() -> None:
    """Deepen networks and keep where their weights come from."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--only", nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for name in options.only:
        path = options.weights / f"{name}.pt"
        net = deepened(name, torch.load(path, map_location="cpu", weights_only=True))
        torch.save(net.state_dict(), options.out / f"{name}.pt")
        shutil.copy(path.with_suffix(".json"), options.out / f"{name}.json")


if __name__ == "__main__":
    main()
