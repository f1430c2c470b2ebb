"""Turn trained weights into the shipped ONNX files.

python -m tools.export --weights DIR --models models --version 2026.11

Fails unless ONNX equals torch within tolerance on fixed pictures.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime
import torch
from torch import Tensor, nn

from tools.sums import write_sums
from tools.train.loupe import LOUPE_SIZE, Loupe
from tools.train.networks import (
    CHARACTERS,
    COUNTING,
    CROP_SIZES,
    FINDER_SIZE,
    MARGINS,
    NUMBER_SIZE,
    POSER_SIZE,
    TENDER_SIZE,
    TOLD,
    Counter,
    Finder,
    Judge,
    Poser,
    Reader,
    judge_of,
)
from tools.train.number import STRIDE
from vision.network import FORMAT, NAMES

# Largest difference allowed between torch and onnxruntime, as a share of 1 + |output|:
# probabilities are of order 1, log odds of order 10. Normalisations are folded into the
# weights before these are rounded to halves, which alone makes differences of this size.
TOLERANCE = 5e-3
# Values from which on weights are stored as halves: the filters of single channels, which are
# few, keep all their digits, because what they are rounded by shows in all that follows.
_STORED_AS_HALVES = 16384
_OUTPUTS = {
    "finder": ["maps"],
    "poser": ["corners", "heading", "sight", "box", "engine"],
    "judge": ["decision", "heat"],
    "told": ["decision", "heat", "along", "ends"],
    "counting": ["decision", "heat", "axles", "countable"],
    "tender": ["axles", "lamps", "countable", "corners"],
    "number": ["there", "values", "boxes"],
}


class _Shipped(nn.Module):
    """Bytes in, probabilities out: what the project's own code would otherwise repeat."""

    def __init__(self, net: nn.Module) -> None:
        super().__init__()
        self.net = net

    def forward(self, pixels: Tensor) -> tuple[Tensor, ...]:
        x = pixels.permute(0, 3, 1, 2).float() / 255.0
        out = self.net(x)
        if isinstance(self.net, Finder):
            return (
                torch.cat([torch.sigmoid(out[:, :2]), out[:, 2:10], torch.sigmoid(out[:, 10:])], 1),
            )
        if isinstance(self.net, Poser):
            corners, heading, sight, box, engine = out
            return (
                corners,
                torch.softmax(heading, 1),
                torch.sigmoid(sight),
                box,
                torch.sigmoid(engine),
            )
        if isinstance(self.net, Counter):
            axles, lamps, seen, corners = out
            return torch.softmax(axles, 1), torch.softmax(lamps, 1), torch.sigmoid(seen), corners
        if isinstance(self.net, Reader):
            return _characters(out)
        decision, heat, *more = out
        if isinstance(self.net, Judge) and self.net.counting:
            axles, countable = more
            more = [torch.softmax(axles, 1), torch.sigmoid(countable)]
        return decision, torch.sigmoid(heat), *more


def _characters(out: Tensor) -> tuple[Tensor, ...]:
    """Of the reader: probabilities, and boxes in pixels in place of cells and logarithms."""
    there, values, offset, size = out.split([1, CHARACTERS, 2, 2], 1)
    rows, cols = out.shape[2:]
    x = (torch.arange(cols, dtype=torch.float32) + 0.5).view(1, 1, 1, -1).expand(1, 1, rows, cols)
    y = (torch.arange(rows, dtype=torch.float32) + 0.5).view(1, 1, -1, 1).expand(1, 1, rows, cols)
    middle = torch.cat([x, y], 1) + offset
    # Bounded: no character is larger than the crop, and an untrained cell must stay finite.
    boxes = STRIDE * torch.cat([middle, torch.exp(size.clamp(-3.0, 4.0))], 1)
    return _unfocused(torch.sigmoid(there)), torch.softmax(values, 1), boxes


def _unfocused(p: Tensor) -> Tensor:
    """The probability that a cell trained with the focal loss, exponent 2, means by p.

    Where the expected loss is least, its derivatives for "there" and "not there" balance:
    that gives the share of "there" at which p is the best answer. Focal answers lie nearer
    to a half than that share.
    """
    p = p.clamp(1e-4, 1 - 1e-4)
    q = 1 - p
    rising, falling = q**2 / p - 2 * q * p.log(), p**2 / q - 2 * p * q.log()
    return falling / (rising + falling)


def kind_of(name: str) -> tuple[nn.Module, tuple[int, int], str]:
    """An untrained network, its input size and its kind, by the name of its file."""
    if name == "finder":
        return Finder(), FINDER_SIZE, "finder"
    if name == "poser":
        return Poser(), POSER_SIZE, "poser"
    if name == "tender":
        return Counter(), TENDER_SIZE, "tender"
    if name == "number":
        return Reader(), NUMBER_SIZE, "number"
    if name == "loupe":
        return Loupe(), LOUPE_SIZE, "judge"
    kind = "told" if name in TOLD else "counting" if name in COUNTING else "judge"
    return judge_of(name), CROP_SIZES[name], kind


def export(name: str, weights: Path, target: Path, *, version: str) -> float:
    """Write one ONNX file and return its largest difference from torch.

    Raises
    ------
    ValueError
        The two differ by more than TOLERANCE.
    """
    net, size, kind = kind_of(name)
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    # Most shipped weights are halves: rounded here, they differ little from those below.
    net = net.half().float()
    shipped = _Shipped(net).eval()
    example = torch.zeros(1, size[1], size[0], 3, dtype=torch.uint8)
    torch.onnx.export(
        shipped,
        (example,),
        str(target),
        input_names=["pixels"],
        output_names=_OUTPUTS[kind],
        dynamic_axes=_free_rows(kind),
        opset_version=17,
        dynamo=False,
    )
    model = onnx.load(target)
    report = weights.with_suffix(".json")
    trained = training_words(json.loads(report.read_text("utf-8"))) if report.exists() else ""
    facts = {"format": FORMAT, "version": version, "name": name, "training": trained}
    margin = ",".join(str(pixels) for pixels in MARGINS.get(name, (0, 0)))
    onnx.helper.set_model_props(model, facts | {"rows": str(size[1]), "margin": margin})
    _store_halves(model)
    onnx.save(model, target)
    worst = _difference(shipped, target, size)
    if not worst <= TOLERANCE:
        target.unlink()
        raise ValueError(f"{name}: ONNX differs from torch by {worst:.2g}, {TOLERANCE} allowed")
    return worst


def renamed(target: Path, *, version: str) -> None:
    """Say of a network that stays as it is that it belongs to a version."""
    model = onnx.load(target)
    facts = {fact.key: fact.value for fact in model.metadata_props}
    onnx.helper.set_model_props(model, facts | {"version": version})
    onnx.save(model, target)


def _free_rows(kind: str) -> dict[str, dict[int, str]] | None:
    """The reader of numbers may be given fewer rows: a line of figures needs half of them."""
    if kind != "number":
        return None
    return {"pixels": {1: "rows"}, **{name: {2: "cells"} for name in _OUTPUTS[kind]}}


def training_words(report: dict[str, Any]) -> str:
    """How long a network was trained and on how much, from the training's own report."""
    kept = _kept_words(report)
    if "words" in report:  # of a network that came back from a shipped file
        return ", ".join(filter(None, (str(report["words"]), *kept)))
    if mixed := report.get("mean_of"):
        each = "; ".join(f"({at}) {training_words(one)}" for at, one in enumerate(mixed, start=1))
        mean = f"the mean of {len(mixed)} trainings' weights"
        return f"{', '.join((mean, *kept))}: {each}"
    before = f"{training_words(report['before'])}, then " if report.get("before") else ""
    cut = "" if report.get("finished", True) else ", cut off"
    many = f"{report['steps']} steps of {report['batch']} on {report['pictures']} pictures"
    if "engines" in report:  # older reports do not know
        many += f" of {report['engines']} engines"
    if "teachers" in report:
        many += f", with the answers of {report['teachers']} judges before them"
    if "part" in report:
        many += f" for its {report['part']} alone"
    return ", ".join((before + many + cut, *kept))


def _kept_words(report: dict[str, Any]) -> Iterator[str]:
    """What was made of the weights after their training, whatever that was."""
    if "share" in report:
        yield f"of which {report['share']:.0%} of the way is kept"
    if chosen := report.get("chosen"):
        yield str(chosen)


def _store_halves(model: onnx.ModelProto) -> None:
    """Keep large weights as 16-bit floats, cast when the session starts."""
    graph = model.graph
    casts = []
    for tensor in list(graph.initializer):
        values = onnx.numpy_helper.to_array(tensor)
        if values.dtype != np.float32 or values.size < _STORED_AS_HALVES:
            continue
        name = f"{tensor.name}_half"
        graph.initializer.remove(tensor)
        graph.initializer.append(onnx.numpy_helper.from_array(values.astype(np.float16), name))
        cast = onnx.helper.make_node("Cast", [name], [tensor.name], to=onnx.TensorProto.FLOAT)
        casts.append(cast)
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)


def _difference(shipped: nn.Module, target: Path, size: tuple[int, int]) -> float:
    session = onnxruntime.InferenceSession(str(target), providers=["CPUExecutionProvider"])
    rng = np.random.default_rng(5)
    worst = 0.0
    for smooth in (1, 4, 16):
        coarse = rng.integers(0, 256, (1, size[1] // smooth, size[0] // smooth, 3), dtype=np.uint8)
        pixels = coarse.repeat(smooth, 1).repeat(smooth, 2)
        with torch.no_grad():
            expected = [t.numpy() for t in shipped(torch.from_numpy(pixels))]
        got = session.run(None, {"pixels": pixels})
        gaps = [
            float((np.abs(e - g) / (1 + np.abs(e))).max())
            for e, g in zip(expected, got, strict=True)
        ]
        worst = max(worst, *gaps)
    return worst


def main() -> None:
    """Export every network whose weights lie in the folder; the others join the version."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--version", required=True)
    arguments = parser.parse_args()
    arguments.models.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        target, weights = arguments.models / f"{name}.onnx", arguments.weights / f"{name}.pt"
        if not weights.exists():
            print(f"{name}: no weights in {arguments.weights}, left as it is")
            if target.exists():
                renamed(target, version=arguments.version)
            continue
        worst = export(name, weights, target, version=arguments.version)
        print(f"{name}: {target.stat().st_size / 1e6:.2f} MB, differs from torch by {worst:.1e}")
    write_sums(arguments.models)


if __name__ == "__main__":
    main()
