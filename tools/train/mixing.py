"""What the batches of several networks share: random numbers, pasting, moving boxes."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.pictures import through


def normal(shape: tuple[int, ...], generator: torch.Generator) -> Tensor:
    """Normal numbers on the generator's device."""
    return torch.randn(shape, device=generator.device, generator=generator)


def uniform(shape: tuple[int, ...], generator: torch.Generator) -> Tensor:
    """Numbers in 0..1 on the generator's device."""
    return torch.rand(shape, device=generator.device, generator=generator)


def pasted(batch: Tensor, layers: Tensor, generator: torch.Generator, *, share: float) -> Tensor:
    """Cut some engines out and stand them before the scenery of another picture."""
    engine = layers.amax(1, keepdim=True)
    order = torch.randperm(len(batch), device=batch.device, generator=generator)
    other, other_engine = batch[order].flip(3), engine[order].flip(3)
    # Another engine in the scenery would be an unlabelled one: smear it away.
    coarse = F.avg_pool2d(F.avg_pool2d(other, 16), 3, 1, 1, count_include_pad=False)
    smear = F.interpolate(coarse, size=other.shape[2:], mode="bilinear")
    wide = F.max_pool2d(other_engine, 9, 1, 4)
    scenery = other * (1 - wide) + smear * wide
    soft = F.avg_pool2d(engine, 3, 1, 1)
    chosen = (uniform((len(batch), 1, 1, 1), generator) < share).float()
    has = (engine.sum((1, 2, 3), keepdim=True) > 50).float()
    pasted = batch * soft + scenery * (1 - soft)
    return batch + chosen * has * (pasted - batch)


def moved_box(boxes: Tensor, inverse: Tensor, size: tuple[int, int]) -> Tensor:
    """Upright boxes (B, 4) round boxes carried into a crop of `size`, clipped to it."""
    left, top, right, bottom = boxes.unbind(1)
    quad = torch.stack(
        [
            torch.stack([left, top], 1),
            torch.stack([right, top], 1),
            torch.stack([right, bottom], 1),
            torch.stack([left, bottom], 1),
        ],
        1,
    )
    moved = through(inverse, quad)
    low, high = moved.amin(1), moved.amax(1)
    limit = torch.tensor(size, device=boxes.device, dtype=boxes.dtype)
    return torch.cat([low.clamp(min=0).minimum(limit), high.clamp(min=0).minimum(limit)], 1)
