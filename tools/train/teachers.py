"""Judges that have learnt, whose answers another learns from beside the truth.

Hinton, Vinyals & Dean 2015, "Distilling the Knowledge in a Neural Network". What no eye could
tell from a crop the truth still says, and so teaches to guess; several judges that err apart
know better how sure one may be.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import torch
from torch import Tensor

from tools.train.judging import Batch, at_places
from tools.train.networks import COUNTING, TOLD, Judge

_TRUSTED = 0.5  # against the truth; chosen


class Teachers:
    """Some judges of one region, as one that answers the mean of their log odds."""

    def __init__(self, region: str, weights: Sequence[Path], device: torch.device) -> None:
        """Of files of weights, whatever the depth of the trunk that these are for."""
        self._nets = [_judge(region, path).to(device).eval() for path in weights]
        for net in self._nets:
            net.to(memory_format=torch.channels_last).requires_grad_(False)

    @torch.no_grad()
    def __call__(self, batch: Batch) -> Batch:
        """The batch with what they answer mingled into what it tells as true."""
        pixels, present, visible, place, asked = batch
        with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
            heard = [net(pixels) for net in self._nets]
        decision = torch.stack([out[0].float() for out in heard]).mean(0)
        present = _mingled(present, decision[:, 0])
        if self._nets[0].told:
            answers = [at_places(along.float(), ends.float(), asked) for _, _, along, ends in heard]
            asked = replace(asked, there=_mingled(asked.there, torch.stack(answers).mean(0)))
        return pixels, present, visible, place, asked


def _mingled(truth: Tensor, logits: Tensor) -> Tensor:
    return torch.lerp(truth, torch.sigmoid(logits), _TRUSTED)


def _judge(region: str, path: Path) -> Judge:
    weights = torch.load(path, map_location="cpu", weights_only=True)
    own = [re.match(r"trunk\.stages\.(\d+)\.(\d+)\.", name) for name in weights]
    depths: dict[int, int] = {}
    for found in filter(None, own):
        stage, block = (int(at) for at in found.groups())
        depths[stage] = max(depths.get(stage, 0), block + 1)
    shape = {"told": region in TOLD, "counting": region in COUNTING}
    net = Judge(taught=not depths, depths=tuple(depths[at] for at in sorted(depths)), **shape)
    net.load_state_dict(weights)
    return net
