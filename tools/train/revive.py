"""Shipped networks as weights that training can go on from.

python -m tools.train.revive --models models --only boiler_top --data DIR --out DIR

A shipped file holds no normalisation layers: they are folded into the convolutions. Here
they come back so that the network says the same as before, and so that a batch of the
pictures it will be trained on leaves every channel where its layer expects it.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from tools.export import kind_of
from tools.train.loading import load
from tools.train.pictures import STORED
from tools.train.settings import Settings
from tools.train.tasks import task_of

_BATCHES, _ROWS = 12, 32
_WEIGHED = (nn.Conv1d, nn.Conv2d, nn.Linear)


def revive(name: str, model: Path) -> nn.Module:
    """The network of a shipped file, its normalisations doing nothing yet.

    Raises
    ------
    ValueError
        The file is of another design than `tools.train.networks` has now.
    """
    net, size, _ = kind_of(name)
    net.eval()
    shipped = onnx.load(model)
    weights = _weights(shipped)
    order = _order(net, torch.zeros(1, 3, size[1], size[0]))
    # What feeds nothing is left out of a file; all others with a bias keep their names.
    kept = {tensor.name for tensor in shipped.graph.initializer}
    names = {module: f"net.{name}.bias" for name, module in net.named_modules()}
    modules = [
        module
        for module in order
        if isinstance(module, _WEIGHED) and (module.bias is None or names[module] in kept)
    ]
    if len(modules) != len(weights):
        raise ValueError(f"{model}: {len(weights)} layers, {len(modules)} expected")
    with torch.no_grad():
        for module, (weight, bias) in zip(modules, weights, strict=True):
            if tuple(module.weight.shape) != weight.shape:
                raise ValueError(f"{model}: a layer of {weight.shape}, not {module.weight.shape}")
            module.weight.copy_(torch.from_numpy(weight))
            after = order[order.index(module) + 1 :][:1]
            if module.bias is not None:
                module.bias.copy_(torch.from_numpy(bias))
            elif after and isinstance(after[0], nn.BatchNorm2d):
                # The file's bias is all that is left of the layer's mean and shift.
                after[0].reset_running_stats()
                after[0].weight.fill_((1.0 + after[0].eps) ** 0.5)
                after[0].bias.copy_(torch.from_numpy(bias))
    return net


@torch.no_grad()
def settle(net: nn.Module, batches: list[Tensor]) -> None:
    """Give each normalisation the mean and spread it meets, and undo both after it."""
    layers = [module for module in net.modules() if isinstance(module, nn.BatchNorm2d)]
    met: dict[nn.Module, list[Tensor]] = {layer: [] for layer in layers}
    handles = [
        layer.register_forward_pre_hook(
            lambda layer, inputs: met[layer].append(_moments(inputs[0]))
        )
        for layer in layers
    ]
    net.eval()
    for batch in batches:
        net(batch)
    for handle in handles:
        handle.remove()
    for layer in layers:
        mean, square = torch.stack(met[layer]).mean(0)
        variance = (square - mean**2).clamp(min=1e-6)
        # Until now the layer was the identity and a shift, so that this changes nothing.
        layer.running_mean.copy_(mean)
        layer.running_var.copy_(variance)
        layer.weight.copy_((variance + layer.eps).sqrt())
        layer.bias.add_(mean)


def _moments(inputs: Tensor) -> Tensor:
    """Mean and mean square of each channel, shape (2, C)."""
    return torch.stack([inputs.mean((0, 2, 3)), (inputs**2).mean((0, 2, 3))])


def _order(net: nn.Module, example: Tensor) -> list[nn.Module]:
    """Layers in the order in which they are used, as a file lists them."""
    order: list[nn.Module] = []
    kinds = (*_WEIGHED, nn.BatchNorm2d)
    handles = [
        module.register_forward_hook(lambda module, *_: order.append(module))
        for module in net.modules()
        if isinstance(module, kinds)
    ]
    with torch.no_grad():
        net(example)
    for handle in handles:
        handle.remove()
    return order


def _weights(model: Any) -> list[tuple[NDArray[np.float32], NDArray[np.float32]]]:
    graph = model.graph
    known = {t.name: onnx.numpy_helper.to_array(t) for t in graph.initializer}
    known |= {
        n.output[0]: known[n.input[0]]
        for n in graph.node
        if n.op_type == "Cast" and n.input[0] in known
    }
    found = []
    for node in graph.node:
        if node.op_type not in ("Conv", "Gemm"):
            continue
        weight = known[node.input[1]].astype(np.float32)
        bias = known[node.input[2]] if len(node.input) > 2 else np.zeros(len(weight))
        found.append((weight, bias.astype(np.float32)))
    return found


def main() -> None:
    """Revive networks and write their weights and where they come from."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--only", nargs="+", required=True)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--stored", type=int, nargs=2, default=STORED)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    pictures = load(options.data, "cpu", stored=tuple(options.stored), threads=2)
    generator = torch.Generator().manual_seed(5)
    for name in options.only:
        path = options.models / f"{name}.onnx"
        net = revive(name, path)
        task = task_of(name, pictures, Settings())
        rows = task.rows()
        batches = []
        for _ in range(_BATCHES):
            at = torch.randint(len(rows), (_ROWS,), generator=generator)
            batches.append(task.draw(rows[at], generator)[0])
        settle(net, batches)
        torch.save(net.state_dict(), options.out / f"{name}.pt")
        facts = {p.key: p.value for p in onnx.load(path).metadata_props}
        report = {"words": facts.get("training", "")}
        (options.out / f"{name}.json").write_text(json.dumps(report), encoding="utf-8")


if __name__ == "__main__":
    main()
