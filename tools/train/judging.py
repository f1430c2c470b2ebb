"""One training step of a judge."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import coarsened, patches, photometric
from tools.train.heat import focal
from tools.train.mixing import normal, uniform
from tools.train.networks import COLUMN, CROP_SIZES, Judge
from tools.train.pictures import REGIONS, Pictures, cut, quad_transform
from tools.train.settings import Settings
from tools.train.sprites import draw_decoys, draw_levers

# Pixels of the crop. A lever is lost in less than what linkages and stripes still show in.
_WIDEST_BLUR = {"boiler_top": 2.0, "side_rods": 4.5, "running_board": 4.0}
# How many pixels of the crop one of the photo's becomes at most.
_COARSEST = {"boiler_top": 2.5, "side_rods": 4.0, "running_board": 4.0}
# Of a drawn lever, the standard deviation of where it is asked for; and how far from the part
# another place lies; shares of the crop's width. The first is the poser's, measured.
_PLACE_ERROR, _ELSEWHERE = 0.02, 0.1
_COVERED = 0.4  # of a column's pixels, from which on nothing is asked of it
# Factor on how strongly and how often a crop is spoilt, corners apart.
_MILDER = {"boiler_top": 0.6, "side_rods": 1.0, "running_board": 1.0}


@dataclass
class Asked:
    """Columns at which a judge that is told places is asked, (B, 2): its own, and any other."""

    column: Tensor  # pixels of the crop
    there: Tensor  # 1 where the part stands there
    weight: Tensor  # 0 where nobody knows


def judge_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings, region: int
) -> tuple[Tensor, Tensor, Tensor, Tensor, Asked]:
    """Rectified regions with unsure corners.

    Returns pixels, present and visible (B,), the part's place (B, 1, H/4, W/4), and where it
    is asked for.
    """
    count = len(rows)
    name = REGIONS[region]
    size = CROP_SIZES[name]
    quad = pictures.corners[rows, region]
    along = (quad[:, 0] - quad[:, 1]).norm(dim=1)
    # Shared shift, slant and stretch: what the poser's errors look like, seen from here.
    shared = normal((count, 1, 2), generator) * torch.tensor([0.022, 0.018], device=quad.device)
    each = normal((count, 4, 2), generator) * torch.tensor([0.018, 0.012], device=quad.device)
    quad = quad + (shared + each) * along[:, None, None] * settings.jitter * settings.ease
    transform = quad_transform(quad, size)
    mask = ((pictures.masks[rows] & (1 << region)) > 0).to(torch.uint8) * 255
    # A region is about as long in the picture as in the crop: nothing to average over.
    both = cut(torch.cat([pictures.pixels[rows], mask[:, None]], 1), transform, size)
    batch, place = both[:, :3], both[:, 3:]
    present, visible = pictures.present[rows, region], pictures.visible[rows, region]
    # Where a guide would say that it stands, in a crop whose corners err as the poser's do.
    own = pictures.along[rows] * size[0]
    other = uniform((count,), generator) * (settings.window or size[0])
    if settings.window:
        batch, place, left = _windowed(batch, place, generator, width=settings.window)
        present = present * (place.amax((1, 2, 3)) > 0.3).float()
        own = own - left
    if name == "boiler_top" and settings.drawn > 0:
        decoy = uniform((count,), generator) < 0.5 * settings.drawn
        batch = draw_decoys(batch, decoy, generator)
        bare = (present < 0.5) & (visible > 0.5)
        chosen = bare & (uniform((count,), generator) < settings.drawn)
        batch, cover, foot = draw_levers(batch, chosen, generator)
        present = torch.maximum(present, chosen.float())
        place = torch.maximum(place, cover)
        error = normal((count,), generator) * _PLACE_ERROR * size[0] * settings.ease
        # A lever drawn elsewhere leaves its casting's own place as empty as it was.
        other = torch.where(
            chosen & (uniform((count,), generator) < 0.5) & own.isfinite(), own, other
        )
        own = torch.where(chosen, foot + error, own)
    columns = torch.stack([own, other], 1)
    known = (columns >= 0) & (columns < batch.shape[3])  # false of what is not a number
    columns = torch.where(known, columns, 0.0)
    gap = (other - _middle(place)).abs()
    strength = settings.ease * _MILDER[name]
    batch, covered = patches(batch, generator, share=settings.patches * strength, largest=0.5)
    share = settings.coarse * _MILDER[name]
    batch = coarsened(batch, generator, share=share, most=_COARSEST[name])
    photometry = {"strength": settings.photometric * strength, "widest": _WIDEST_BLUR[name]}
    batch = photometric(batch, generator, **photometry)
    hidden_part = (place * covered).sum((1, 2, 3)) > 0.6 * place.sum((1, 2, 3)).clamp(min=1)
    hidden = torch.where(present > 0.5, hidden_part, covered.mean((1, 2, 3)) > 0.35)
    visible = visible * (~hidden).float()
    elsewhere = (present < 0.5) | (gap > _ELSEWHERE * size[0])
    open_ = covered[:, 0].mean(1).gather(1, columns.long()) < _COVERED
    weight = visible[:, None] * (known & open_).float()
    weight = weight * torch.stack([torch.ones_like(present), 0.5 * elsewhere.float()], 1)
    there = torch.stack([present, torch.zeros_like(present)], 1)
    place = place * (1 - covered) * visible[:, None, None, None]
    place = F.max_pool2d(place, 4)
    # A lever thinner than a pixel still marks its cell.
    return batch, present, visible, (place > 0.15).float(), Asked(columns, there, weight)


def _middle(place: Tensor) -> Tensor:
    """Mean column of what is marked, (B,), pixels; 0 where nothing is."""
    columns = torch.arange(place.shape[3], device=place.device, dtype=torch.float32)
    weight = place[:, 0].sum(1)
    return (weight * columns).sum(1) / weight.sum(1).clamp(min=1e-6)


def _windowed(
    batch: Tensor, place: Tensor, generator: torch.Generator, *, width: int
) -> tuple[Tensor, Tensor, Tensor]:
    """A part of each crop, round the cue's place in most of those that have one.

    Most of a boiler top is sky: for the same time a network sees more of what matters.
    Its left edge, pixels of the whole crop, comes third.
    """
    count, _, rows, cols = batch.shape
    middle = _middle(place)
    anywhere = uniform((count,), generator) * cols
    close = (place.sum((1, 2, 3)) > 1) & (uniform((count,), generator) < 0.85)
    middle = torch.where(
        close, middle + (uniform((count,), generator) - 0.5) * 0.8 * width, anywhere
    )
    left = (middle - width / 2).clamp(0, cols - width).long()
    index = left[:, None] + torch.arange(width, device=batch.device)

    def taken(whole: Tensor) -> Tensor:
        at = index[:, None, None].expand(count, whole.shape[1], rows, width)
        return whole.gather(3, at)

    return taken(batch), taken(place), left


def at_column(along: Tensor, column: Tensor) -> Tensor:
    """Answers (B, K) at columns (B, K), pixels, between those of a judge's columns (B, C)."""
    at = (column / COLUMN - 0.5).clamp(0, along.shape[1] - 1)
    low = at.floor().clamp(max=along.shape[1] - 2).long()
    share = at - low
    return along.gather(1, low) * (1 - share) + along.gather(1, low + 1) * share


def judge_loss(
    net: Judge,
    batch: tuple[Tensor, Tensor, Tensor, Tensor, Asked],
    *,
    teach_place: bool = True,
    few_cells: bool = False,
) -> Tensor:
    """Cross-entropy of the two decisions, of the place where it may be judged, and of answers.

    A part of `few_cells` is lost in the mean over all of them: its place is taught by the
    focal loss of `tools.train.heat` instead.
    """
    pixels, present, visible, place, asked = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        logits, heat, *along = net(pixels)
    logits, heat = logits.float(), heat.float()
    present_error = F.binary_cross_entropy_with_logits(logits[:, 0], present, reduction="none")
    total = (present_error * visible).sum() / visible.sum().clamp(min=1)
    total = total + 0.5 * F.binary_cross_entropy_with_logits(logits[:, 1], visible)
    if along:
        answer = at_column(along[0].float(), asked.column)
        error = F.binary_cross_entropy_with_logits(answer, asked.there, reduction="none")
        total = total + (error * asked.weight).sum() / asked.weight.sum().clamp(min=1)
    if not teach_place:
        return total
    # Judge the place only where presence and visibility are both known.
    if few_cells:
        return total + focal(heat, place, visible[:, None, None, None])
    heat_error = F.binary_cross_entropy_with_logits(
        heat, place, reduction="none", pos_weight=heat.new_tensor(8.0)
    ).mean((1, 2, 3))
    return total + 4.0 * (heat_error * visible).sum() / visible.sum().clamp(min=1)
