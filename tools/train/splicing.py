"""Boiler tops that nobody rendered: stretched unevenly, and made of two engines' halves.

A few thousand rendered engines, each seen a hundred times in a training, are known by heart
in the end: right in 97 of 100 of these views, and in 88 of 100 of fresh engines'. Whether
there is a lever at a place is a question about that place alone. So the parts before and
behind it may be another engine's, and may stand nearer or farther off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.mixing import uniform

# Stretch at most, by waves of one, two and three halves along the crop; chosen. Together they
# stay below one, so that no column comes before one that it stood behind.
_STRETCH = (0.25, 0.2, 0.2)
# Where two halves meet, shares of the crop's width.
_SEAM = (0.2, 0.8)
_CLEAR = 14.0  # pixels from the seam to a place that may be asked for
_WHOLE = 0.001  # of a lever's pixels that may be lost at the seam, or be left over


@dataclass(frozen=True)
class Tops:
    """Straightened boiler tops and what is known of them.

    Attributes
    ----------
    pixels, place : Tensor, (B, 3, H, W) and (B, 1, H, W)
        The crop, and how much of each pixel a lever covers.
    present, visible : Tensor, (B,)
        Whether there is a lever anywhere, and whether that can be seen.
    ends : Tensor, (B, 2)
        Columns between which the region truly lies, pixels.
    own : Tensor, (B,)
        Column of the casting's own place; not a number where nobody knows.
    held : Tensor, (B,)
        Whether a lever stands there.
    """

    pixels: Tensor
    place: Tensor
    present: Tensor
    visible: Tensor
    ends: Tensor
    own: Tensor
    held: Tensor


def stretched(tops: Tops, generator: torch.Generator, *, share: float) -> Tops:
    """Stretch and squeeze some crops along their length, their two edges held."""
    count, _, rows, cols = tops.pixels.shape
    device = tops.pixels.device
    chosen = (uniform((count, 1), generator) < share).float()
    u = (torch.arange(cols, device=device) + 0.5) / cols
    shift = torch.zeros(count, cols, device=device)
    for halves, most in enumerate(_STRETCH, start=1):
        slope = (2 * uniform((count, 1), generator) - 1) * most * chosen
        shift = shift + slope / (math.pi * halves) * torch.sin(math.pi * halves * u)
    source = (u + shift).clamp(0, 1)  # of what each column shows
    x = (2 * source - 1)[:, None, :].expand(count, rows, cols)
    y = (2 * (torch.arange(rows, device=device) + 0.5) / rows - 1).view(1, rows, 1)
    grid = torch.stack([x, y.expand(count, rows, cols)], -1)
    layers = F.grid_sample(
        torch.cat([tops.pixels, tops.place], 1), grid, align_corners=False, padding_mode="border"
    )

    def moved(columns: Tensor) -> Tensor:
        # What lies beyond the crop stays there, or it would be asked for at its edge.
        within = (columns >= 0) & (columns <= cols)  # false of what is not a number
        share_at = torch.where(within, columns / cols, 0.0)
        at = torch.searchsorted(source, share_at).clamp(1, cols - 1)
        low, high = source.gather(1, at - 1), source.gather(1, at)
        between = ((share_at - low) / (high - low).clamp(min=1e-6)).clamp(-0.5, 1.5)
        return torch.where(within, at - 0.5 + between, columns)

    return replace(
        tops,
        pixels=layers[:, :3],
        place=layers[:, 3:],
        ends=moved(tops.ends),
        own=moved(tops.own[:, None])[:, 0],
    )


def spliced(tops: Tops, generator: torch.Generator, *, share: float) -> Tops:
    """Give some crops the rear of another one.

    Both must be in sight, and the seam runs through no lever. The place to ask for is one of
    the two castings' own, as far as it is still there.
    """
    count, _, _, cols = tops.pixels.shape
    device = tops.pixels.device
    partner = torch.randperm(count, device=device, generator=generator)
    low, high = _SEAM
    seam = (low + (high - low) * uniform((count,), generator)) * cols
    middles = torch.arange(cols, device=device) + 0.5
    front = (middles[None] < seam[:, None]).float()
    column = tops.place[:, 0].sum(1)  # of lever, (B, W)
    total = column.sum(1).clamp(min=1e-6)
    mine = (column * front).sum(1) / total
    other = column[partner]
    theirs = (other * (1 - front)).sum(1) / total[partner]
    whole = ((mine < _WHOLE) | (mine > 1 - _WHOLE)) & ((theirs < _WHOLE) | (theirs > 1 - _WHOLE))
    seen = (tops.visible > 0.5) & (tops.visible[partner] > 0.5)
    chosen = (uniform((count,), generator) < share) & whole & seen
    keeps, gains = (mine > 0.5).float(), (theirs > 0.5).float()
    present = torch.maximum(tops.present * keeps, tops.present[partner] * gains)
    # Of the two places the one that is left, or either.
    own, foreign = tops.own, tops.own[partner]
    before, behind = own < seam - _CLEAR, foreign > seam + _CLEAR
    takes = behind & (~before | (uniform((count,), generator) < 0.5))
    asked = torch.where(takes, foreign, torch.where(before, own, torch.full_like(own, torch.nan)))
    held = torch.where(takes, tops.held[partner], tops.held)
    wide = chosen.view(-1, 1, 1, 1)
    share_of = torch.where(wide, front[:, None, None, :], torch.ones((), device=device))
    ends = torch.stack([tops.ends[:, 0], tops.ends[partner, 1]], 1)
    return replace(
        tops,
        pixels=torch.lerp(tops.pixels[partner], tops.pixels, share_of),
        place=torch.lerp(tops.place[partner], tops.place, share_of),
        present=torch.where(chosen, present, tops.present),
        ends=torch.where(chosen[:, None], ends, tops.ends),
        own=torch.where(chosen, asked, tops.own),
        held=torch.where(chosen, held, tops.held),
    )
