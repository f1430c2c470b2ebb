"""Levers and things like levers, drawn onto straightened boiler tops that have none.

A few hundred rendered engines are soon known by heart: then a network answers by the
engine and never looks for the lever. Drawn at a new place every time, on an engine that
comes up without it just as often, the lever itself is all that is left to look at.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.mixing import uniform

# Where levers of rendered engines stand in the straightened region, as shares of its
# height: the foot's row, and the rise above it; measured over 40 of them.
_FOOT = (0.64, 0.76)
_RISE = (0.06, 0.30)
_THICK = (0.018, 0.06)
_BESIDE = 0.02  # standard deviation, as a share of the crop's width; chosen
_STEPS = 7  # straight pieces that a bent shaft is drawn of


@dataclass(frozen=True)
class _Shape:
    """Rise above the foot and thickness, as shares of the region's height; slope, either way."""

    rise: tuple[float, float]
    thick: tuple[float, float]
    tilt: float


# By eye. A pipe, a strap or a band runs down the boiler from where a lever would have its foot.
_DECOYS = (
    _Shape(rise=(0.03, 0.16), thick=(0.09, 0.2), tilt=0.1),  # a valve, short and stout
    _Shape(rise=(0.8, 1.2), thick=(0.02, 0.2), tilt=0.5),  # behind the engine, its foot hidden
    _Shape(rise=(-0.3, -0.06), thick=(0.02, 0.07), tilt=0.2),  # a pipe down the boiler
    _Shape(rise=(-0.02, 0.015), thick=(0.03, 0.09), tilt=0.0),  # a slot or a cap
    _Shape(rise=(0.01, 0.045), thick=(0.02, 0.05), tilt=0.4),  # a stump
)


def draw_levers(
    batch: Tensor,
    chosen: Tensor,
    generator: torch.Generator,
    *,
    margin: tuple[int, int] = (0, 0),
) -> tuple[Tensor, Tensor, Tensor]:
    """Draw one lever into each chosen crop.

    Parameters
    ----------
    batch : Tensor, (B, 3, H, W), 0 to 1
        Straightened boiler tops.
    chosen : Tensor, (B,), bool
    margin : (int, int)
        Pixels that the crop shows beyond the boiler top, at either side and above and below.

    Returns
    -------
    batch : Tensor, (B, 3, H, W)
    place : Tensor, (B, 1, H, W)
        How much of each pixel the lever covers.
    foot : Tensor, (B,)
        Column of each foot, pixels.
    """
    count = len(batch)
    inner = batch.shape[3] - 2 * margin[0]
    across = margin[0] + _between((count,), 0.06, 0.94, generator) * inner
    shape = _Shape(rise=_RISE, thick=_THICK, tilt=0.7)
    return *_drawn(batch, chosen, generator, across, shape, margin[1]), across


def draw_decoys(
    batch: Tensor,
    chosen: Tensor,
    generator: torch.Generator,
    *,
    near: Tensor | None = None,
    margin: tuple[int, int] = (0, 0),
) -> Tensor:
    """Draw into each chosen crop one thing that may be taken for a lever, of one kind a batch.

    Parameters
    ----------
    batch, chosen, margin
        As of `draw_levers`.
    near : Tensor, (B,), optional
        Columns by which half of them are drawn: those of the castings' own levers, which
        come with slots, stumps and pipes beside them, be they there or not.
    """
    count = len(batch)
    across = margin[0] + _between((count,), 0.02, 0.98, generator) * (
        batch.shape[3] - 2 * margin[0]
    )
    if near is not None:
        beside = near + torch.randn(count, device=batch.device, generator=generator) * (
            _BESIDE * batch.shape[3]
        )
        close = (uniform((count,), generator) < 0.5) & beside.isfinite()
        across = torch.where(close, beside, across)
    shape = _DECOYS[int(float(uniform((), generator)) * len(_DECOYS))]
    return _drawn(batch, chosen, generator, across, shape, margin[1])[0]


def _between(shape: tuple[int, ...], low: float, high: float, generator: torch.Generator) -> Tensor:
    return low + (high - low) * uniform(shape, generator)


def _drawn(
    batch: Tensor,
    chosen: Tensor,
    generator: torch.Generator,
    across: Tensor,
    shape: _Shape,
    margin: int,
) -> tuple[Tensor, Tensor]:
    """The batch with a shape in each chosen crop, and how much of each pixel it covers.

    Only those are worked on: the distances from a shaft, taken at every pixel, cost as much
    as all that a crop goes through otherwise.
    """
    some, across = batch[chosen], across[chosen]
    cover = batch.new_zeros(len(batch), 1, *batch.shape[2:])
    if not len(some):
        return batch, cover
    some, cover[chosen] = _into_all(some, generator, across, shape, margin)
    return batch.masked_scatter(chosen.view(-1, 1, 1, 1), some), cover


def _into_all(
    batch: Tensor, generator: torch.Generator, across: Tensor, shape: _Shape, margin: int
) -> tuple[Tensor, Tensor]:
    count, _, rows, cols = batch.shape
    device = batch.device
    inner = rows - 2 * margin
    foot = margin + _between((count,), *_FOOT, generator) * inner
    height = _between((count,), *shape.rise, generator) * inner
    width = _between((count,), *shape.thick, generator) * inner
    lean = _between((count,), -shape.tilt, shape.tilt, generator)
    bent = _between((count,), -1.0, 1.0, generator) * (uniform((count,), generator) < 0.4)
    knob = torch.where(
        uniform((count,), generator) < 0.35, _between((count,), 1.3, 2.0, generator), 1.0
    )
    taper = _between((count,), 0.6, 1.2, generator)
    along = torch.linspace(0.0, 1.0, _STEPS, device=device)[None]
    x = across[:, None] + height[:, None] * (lean[:, None] * along + 0.5 * bent[:, None] * along**2)
    y = foot[:, None] - height[:, None] * along
    half = 0.5 * width[:, None] * (1 + (taper[:, None] - 1) * along)
    grid_x = torch.arange(cols, device=device).view(1, 1, cols) + 0.5
    grid_y = torch.arange(rows, device=device).view(1, rows, 1) + 0.5
    cover = torch.zeros(count, rows, cols, device=device)
    side = torch.zeros_like(cover)
    nearest = torch.full_like(cover, 1e6)
    for k in range(_STEPS - 1):
        ends = [v[:, j, None, None] for v in (x, y) for j in (k, k + 1)]
        x0, x1, y0, y1 = ends
        dx, dy = x1 - x0, y1 - y0
        t = (((grid_x - x0) * dx + (grid_y - y0) * dy) / (dx**2 + dy**2 + 1e-6)).clamp(0, 1)
        radius = half[:, k, None, None] * (1 - t) + half[:, k + 1, None, None] * t
        if k == _STEPS - 2:
            radius = radius * (1 + (knob[:, None, None] - 1) * t)
        off_x, off_y = grid_x - (x0 + t * dx), grid_y - (y0 + t * dy)
        distance = torch.sqrt(off_x**2 + off_y**2 + 1e-6)
        part = (radius + 0.5 - distance).clamp(0, 1)
        side = torch.where(distance < nearest, off_x / (radius + 0.5), side)
        nearest = torch.minimum(nearest, distance)
        cover = torch.maximum(cover, part)
    cover = cover[:, None]
    # No sharper than the picture it is drawn on, or the edges give it away.
    for _ in range(int(float(uniform((), generator)) * 3)):
        cover = F.avg_pool2d(cover, 3, 1, 1)
    return batch * (1 - cover) + _metal(batch, side, generator) * cover, cover


def _metal(batch: Tensor, side: Tensor, generator: torch.Generator) -> Tensor:
    """Nickel, brass or black, lit from one side, in the light of the picture."""
    count = len(batch)
    kind = uniform((count, 1, 1, 1), generator)
    grey = _between((count, 1, 1, 1), 0.35, 0.95, generator)
    warm = torch.tensor([1.0, 0.8, 0.4], device=batch.device).view(1, 3, 1, 1)
    brass = grey * warm
    black = _between((count, 1, 1, 1), 0.02, 0.22, generator)
    paint = torch.where(kind < 0.5, grey.expand_as(brass), torch.where(kind < 0.75, brass, black))
    light = batch.mean((2, 3), keepdim=True) / 0.45
    light = 0.5 + 0.5 * light.clamp(0.2, 2.0)
    glint = _between((count, 1, 1, 1), -0.6, 0.6, generator)
    shine = _between((count, 1, 1, 1), 0.0, 0.6, generator)
    shade = 0.75 + shine * torch.exp(-(((side[:, None] - glint) / 0.35) ** 2))
    return (paint * light * shade).clamp(0, 1)
