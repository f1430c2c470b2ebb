"""One training step of a judge."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.looks import RODS_IN_SIGHT
from tools.train.augment import coarsened, grainy, patches, photometric
from tools.train.heat import focal
from tools.train.networks import COLUMN, CROP_SIZES, MARGINS, Judge
from tools.train.pictures import REGIONS, Pictures
from tools.train.settings import Settings
from tools.train.straightened import column_of, near_any, straightened

# Pixels of the crop. A lever is lost in less than what linkages and stripes still show in.
_WIDEST_BLUR = {"boiler_top": 3.6, "side_rods": 6.5, "running_board": 4.0}
# How many pixels of the crop one of the photo's becomes at most.
_COARSEST = {"boiler_top": 2.5, "side_rods": 4.0, "running_board": 4.0}
# How far from the part another place lies at least, share of the region's length; chosen.
_ELSEWHERE = 0.1
# An end guessed worse than this, as a share of the crop's width, is not asked by.
_WILD = 0.05
_COVERED = 0.4  # of a column's pixels, from which on nothing is asked of it
# Factor on how strongly and how often a crop is spoilt, corners apart.
_MILDER = {"boiler_top": 0.7, "side_rods": 1.0, "running_board": 1.0}


# Of a crop covered by a patch, from which on wheels may be hidden.
_HIDES_WHEELS = 0.12
_COUNTS_FOR = 0.5  # of the loss; chosen


@dataclass
class Asked:
    """What a judge is asked besides whether the part is there.

    Of one that is told places these are two, (B, 2): the casting's own, and any other.
    """

    share: Tensor  # of the region's length, from its front
    there: Tensor  # 1 where the part stands there
    weight: Tensor  # 0 where nobody knows
    ends: Tensor  # (B, 2) columns of the crop, pixels, between which the region truly lies
    axles: Tensor  # (B,) long: index into DRIVING_AXLES
    countable: Tensor  # (B,) 1 where these can be counted


Batch = tuple[Tensor, Tensor, Tensor, Tensor, Asked]


def judge_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings, region: int
) -> Batch:
    """Rectified regions with unsure corners.

    Returns pixels, present and visible (B,), the part's place (B, 1, H/4, W/4), and where it
    is asked for. The crop's corners err as the poser's do.
    """
    name = REGIONS[region]
    size, margin = CROP_SIZES[name], MARGINS.get(name, (0, 0))
    cut_out = straightened(pictures, rows, generator, settings, region)
    batch, place, ends = cut_out.pixels, cut_out.place, cut_out.ends
    present, visible, held = cut_out.present, cut_out.visible, cut_out.held
    share = torch.stack([cut_out.own, cut_out.other], 1)
    columns = column_of(share, ends)
    known = (columns >= 0) & (columns < size[0])  # false of what is not a number
    share, columns = torch.where(known, share, 0.0), torch.where(known, columns, 0.0)
    elsewhere = ~near_any(place, columns[:, 1], _ELSEWHERE * (size[0] - 2 * margin[0]))
    strength = settings.ease * _MILDER[name]
    batch, covered = patches(batch, generator, share=settings.patches * strength, largest=0.5)
    coarse = settings.coarse * _MILDER[name]
    batch = coarsened(batch, generator, share=coarse, most=_COARSEST[name])
    photometry = {"strength": settings.photometric * strength, "widest": _WIDEST_BLUR[name]}
    batch = photometric(batch, generator, **photometry)
    batch = grainy(batch, generator, share=settings.grainy * settings.ease)
    hidden_part = (place * covered).sum((1, 2, 3)) > 0.6 * place.sum((1, 2, 3)).clamp(min=1)
    hidden = torch.where(present > 0.5, hidden_part, covered.mean((1, 2, 3)) > 0.35)
    visible = visible * (~hidden).float()
    open_ = covered[:, 0].mean(1).gather(1, columns.long()) < _COVERED
    weight = visible[:, None] * (known & open_).float()
    weight = weight * torch.stack([torch.ones_like(present), 0.5 * elsewhere.float()], 1)
    there = torch.stack([held, torch.zeros_like(held)], 1)
    place = place * (1 - covered) * visible[:, None, None, None]
    place = F.max_pool2d(place, 4)
    # A lever thinner than a pixel still marks its cell.
    axles = pictures.driving[rows]
    shown = (pictures.share[rows, region] >= RODS_IN_SIGHT) & (axles >= 0)
    countable = (shown & (covered.mean((1, 2, 3)) < _HIDES_WHEELS)).float()
    asked = Asked(share, there, weight, ends, axles.clamp(min=0), countable)
    return batch, present, visible, (place > 0.15).float(), asked


def at_column(along: Tensor, column: Tensor) -> Tensor:
    """Answers (B, K) at columns (B, K), pixels, between those of a judge's columns (B, C)."""
    at = (column / COLUMN - 0.5).clamp(0, along.shape[1] - 1)
    low = at.floor().clamp(max=along.shape[1] - 2).long()
    share = at - low
    return along.gather(1, low) * (1 - share) + along.gather(1, low + 1) * share


def at_places(along: Tensor, ends: Tensor, asked: Asked) -> Tensor:
    """Answers (B, 2) at the places asked for, where the region lies between `ends` (B, 2)."""
    return at_column(along, column_of(asked.share, ends))


def answered(net: Judge, batch: Batch) -> Tensor:
    """Logits (B,) that the part is there; of a judge that is told places, at its own place."""
    pixels, *_, asked = batch
    logits, _, *more = net(pixels)
    if not net.told:
        return logits[:, 0]
    along, ends = more
    return at_places(along, ends, asked)[:, 0]


def _miscounted(axles: Tensor, countable: Tensor, asked: Asked) -> Tensor:
    """Cross-entropy of the driving axles where they can be counted, and of whether they can."""
    error = F.cross_entropy(axles.float(), asked.axles, reduction="none") * asked.countable
    doubt = F.binary_cross_entropy_with_logits(countable[:, 0].float(), asked.countable)
    return error.sum() / asked.countable.sum().clamp(min=1) + 0.3 * doubt


def judge_loss(
    net: Judge,
    batch: Batch,
    *,
    teach_place: bool = True,
    few_cells: bool = False,
) -> Tensor:
    """Cross-entropy of the two decisions, of the place where it may be judged, and of answers.

    And how far the region's ends are missed.

    A part of `few_cells` is lost in the mean over all of them: its place is taught by the
    focal loss of `tools.train.heat` instead.
    """
    pixels, present, visible, place, asked = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        logits, heat, *more = net(pixels)
    logits, heat = logits.float(), heat.float()
    present_error = F.binary_cross_entropy_with_logits(logits[:, 0], present, reduction="none")
    total = (present_error * visible).sum() / visible.sum().clamp(min=1)
    total = total + 0.5 * F.binary_cross_entropy_with_logits(logits[:, 1], visible)
    if net.counting:
        total = total + _COUNTS_FOR * _miscounted(*more, asked)
    if net.told:
        along, ends = (out.float() for out in more)
        wide = float(pixels.shape[3])
        miss = F.smooth_l1_loss(ends / wide, asked.ends / wide, reduction="none", beta=0.01)
        total = total + 12.0 * (miss.sum(1) * visible).sum() / visible.sum().clamp(min=1)
        # Asked where it will be asked; a wild guess would teach nothing.
        wild = (ends - asked.ends).abs() > _WILD * wide
        ends = torch.where(wild, asked.ends, ends.detach())
        answer = at_places(along, ends, asked)
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
