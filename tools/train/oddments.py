"""Round things strewn over pictures without an engine: coins, plates, dials, cart wheels.

A finder that has seen wheels on nothing but rolling stock takes a tray of coins for an
engine. What is drawn here is flat and made up; it need only be round, rimmed and spoked.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from tools.train.mixing import uniform

_MOST = 16  # on one picture
_AMID = 0.2
_RADIUS = (0.015, 0.22)  # of the picture's width


def strewn(batch: Tensor, bare: Tensor, generator: torch.Generator, *, share: float) -> Tensor:
    """Draw discs, rings and spoked wheels onto some pictures.

    Parameters
    ----------
    batch : Tensor, (B, 3, H, W), 0 to 1
    bare : Tensor, (B,) bool
        Pictures without an engine.
    generator : torch.Generator
    share : float
        Of the bare pictures; `_AMID` of it of the others.

    Returns
    -------
    Tensor
        The batch, a new one where anything was drawn.
    """
    chosen = uniform((len(batch),), generator) < torch.where(bare, share, share * _AMID)
    rows = chosen.nonzero()[:, 0]
    if len(rows) == 0:
        return batch
    part, count = batch[rows], len(rows)
    height, width = batch.shape[2:]
    x = torch.arange(width, device=batch.device).view(1, 1, -1) / width
    y = torch.arange(height, device=batch.device).view(1, -1, 1) / width
    # Things that lie together are mostly of one kind: of one metal, about one size.
    metal = uniform((count, 3, 1, 1), generator)
    size = _spread(uniform((count, 1, 1), generator))
    often = uniform((count, 1, 1), generator)
    for _ in range(_MOST):
        drawn = uniform((10, count, 1, 1), generator)
        there = drawn[0] < often
        radius = (size * torch.exp((drawn[1] - 0.5) * 0.8)).clamp(max=_RADIUS[1])
        dx, dy = x - drawn[2], (y - drawn[3] * height / width) / (0.35 + 0.65 * drawn[4])
        turn = 2 * math.pi * drawn[5]
        across = (dx * torch.cos(turn) + dy * torch.sin(turn)) / radius
        down = (dy * torch.cos(turn) - dx * torch.sin(turn)) / radius
        out = torch.sqrt(across**2 + down**2)
        hollow = torch.where(drawn[6] < 0.35, 0.75 + 0.2 * drawn[7], 0.0)
        spokes = torch.round(4 + 12 * drawn[8])
        spoke = torch.cos(spokes * torch.atan2(down, across)) > 0.75
        inside = (out < 1) & ((out > hollow) | (spoke & (drawn[7] < 0.6)) | (out < 0.15))
        # Lit from one side, bright at the rim, and with some relief.
        light = 0.75 + 0.3 * across + 0.35 * (out > 0.88) + 0.15 * torch.cos(9 * out + 6 * drawn[9])
        colour = (metal + (uniform((count, 3, 1, 1), generator) - 0.5) * 0.2) * light[:, None]
        cover = (inside & there)[:, None].to(part.dtype)
        part = part * (1 - cover) + colour.clamp(0, 1).to(part.dtype) * cover
    batch = batch.clone()
    batch[rows] = part
    return batch


def _spread(share: Tensor) -> Tensor:
    """Sizes as evenly spread over the logarithm."""
    low, high = (math.log(r) for r in _RADIUS)
    return torch.exp(low + (high - low) * share)
