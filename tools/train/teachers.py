"""Judges and loupes that have learnt, whose answers another learns from beside the truth.

Hinton, Vinyals & Dean 2015, "Distilling the Knowledge in a Neural Network". What no eye could
tell from a crop the truth still says, and so teaches to guess; several judges that err apart
know better how sure one may be.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import torch
from torch import Tensor

from tools.train import judging, loupe
from tools.train.backbone import Taught
from tools.train.judging import Asked, at_places
from tools.train.layers import Trunk
from tools.train.loupe import Loupe
from tools.train.networks import COUNTING, STRIDES_TO_16, TOLD, Judge

AnyBatch = TypeVar("AnyBatch", judging.Batch, loupe.Batch)
_TRUSTED = 0.5  # against the truth; chosen


class Teachers:
    """Some judges of one region, or loupes, as one that answers the mean of their log odds."""

    def __init__(self, name: str, weights: Sequence[Path], device: torch.device) -> None:
        """Of files of weights, whatever the depth of the trunk that these are for."""
        self._nets = [_net(name, path).to(device).eval() for path in weights]
        for net in self._nets:
            net.to(memory_format=torch.channels_last).requires_grad_(False)
            if device.type == "cuda":
                net.trunk.compile()

    @torch.no_grad()
    def __call__(self, batch: AnyBatch) -> AnyBatch:
        """The batch with what they answer mingled into what it tells as true."""
        pixels, present, visible, place, asked = batch
        with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
            heard = [net(pixels) for net in self._nets]
        decision = torch.stack([out[0].float() for out in heard]).mean(0)
        present = _mingled(present, decision[:, 0])
        if isinstance(asked, Asked) and self._nets[0].told:
            answers = [at_places(along.float(), ends.float(), asked) for _, _, along, ends in heard]
            asked = replace(asked, there=_mingled(asked.there, torch.stack(answers).mean(0)))
        return pixels, present, visible, place, asked


def _mingled(truth: Tensor, logits: Tensor) -> Tensor:
    return torch.lerp(truth, torch.sigmoid(logits), _TRUSTED)


def _net(name: str, path: Path) -> Judge | Loupe:
    weights = torch.load(path, map_location="cpu", weights_only=True)
    if name == "loupe":
        net: Judge | Loupe = Loupe(_trunk(weights))
    else:
        net = Judge(_trunk(weights), told=name in TOLD, counting=name in COUNTING)
    # Nobody asks it how many axles there are: one that has not learnt to count teaches, too.
    lacks, strange = net.load_state_dict(weights, strict=False)
    if strange or not all(layer.startswith("tally.") for layer in lacks):
        raise ValueError(f"{path}: weights of another design")
    return net


def _trunk(weights: Mapping[str, Tensor]) -> Trunk | Taught:
    """The untrained trunk that weights are for."""

    def depth(of: str) -> int:
        found = (re.match(rf"trunk\.{of}\.(\d+)\.", layer) for layer in weights)
        return max((int(at[1]) + 1 for at in found if at), default=0)

    if not (stages := depth("stages")):
        return Taught(64, depth("blocks"))
    depths = tuple(depth(rf"stages\.{stage}") for stage in range(stages))
    return Trunk(STRIDES_TO_16, depths, 64)
