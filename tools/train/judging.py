"""One training step of a judge."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import coarsened, grainy, patches, photometric
from tools.train.heat import focal
from tools.train.mixing import normal, uniform
from tools.train.networks import COLUMN, CROP_SIZES, MARGINS, Judge
from tools.train.pictures import BEYOND, REGIONS, Pictures, cut, quad_transform, through
from tools.train.settings import Settings
from tools.train.splicing import Tops, spliced, stretched
from tools.train.sprites import draw_decoys, draw_levers

# Pixels of the crop. A lever is lost in less than what linkages and stripes still show in.
_WIDEST_BLUR = {"boiler_top": 3.6, "side_rods": 4.5, "running_board": 4.0}
# How many pixels of the crop one of the photo's becomes at most.
_COARSEST = {"boiler_top": 2.5, "side_rods": 4.0, "running_board": 4.0}
# Standard deviation of where a lever is asked for, share of the region's length, chosen:
# whoever writes a guide measures its place in a photo.
_PLACE_ERROR = 0.008
# How far from the part another place lies at least, share of the region's length; chosen.
_ELSEWHERE = 0.1
# Height at which a region's ends are taken, 0 top, 1 bottom: about where levers stand.
_LEVEL = 0.6
# Of the range of a channel, by which a drawn lever must differ from what it covers; by eye.
_FAINT = 0.09
# An end guessed worse than this, as a share of the crop's width, is not asked by.
_WILD = 0.05
_COVERED = 0.4  # of a column's pixels, from which on nothing is asked of it
# Factor on how strongly and how often a crop is spoilt, corners apart.
_MILDER = {"boiler_top": 0.7, "side_rods": 1.0, "running_board": 1.0}


@dataclass
class Asked:
    """Places at which a judge that is told places is asked, (B, 2): its own, and any other."""

    share: Tensor  # of the region's length, from its front
    there: Tensor  # 1 where the part stands there
    weight: Tensor  # 0 where nobody knows
    ends: Tensor  # (B, 2) columns of the crop, pixels, between which the region truly lies


def judge_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings, region: int
) -> tuple[Tensor, Tensor, Tensor, Tensor, Asked]:
    """Rectified regions with unsure corners.

    Returns pixels, present and visible (B,), the part's place (B, 1, H/4, W/4), and where it
    is asked for. The crop's corners err as the poser's do.
    """
    count = len(rows)
    name = REGIONS[region]
    size, margin = CROP_SIZES[name], MARGINS.get(name, (0, 0))
    true = quad = pictures.corners[rows, region]
    along = (quad[:, 0] - quad[:, 1]).norm(dim=1)
    # Shared shift, slant and stretch: what the poser's errors look like, seen from here.
    shared = normal((count, 1, 2), generator) * torch.tensor([0.022, 0.018], device=quad.device)
    each = normal((count, 4, 2), generator) * torch.tensor([0.018, 0.012], device=quad.device)
    quad = quad + (shared + each) * along[:, None, None] * settings.jitter * settings.ease
    transform = quad_transform(quad, size, margin=margin)
    ends = _ends(transform, true, size)
    mask = ((pictures.masks[rows] & (1 << region)) > 0).to(torch.uint8) * 255
    # A region is about as long in the picture as in the crop: nothing to average over.
    layers = torch.cat([pictures.pixels[rows], mask[:, None]], 1)
    both = cut(layers, transform, size, beyond=BEYOND)
    batch, place = both[:, :3], both[:, 3:]
    present, visible = pictures.present[rows, region], pictures.visible[rows, region]
    held, own = present, pictures.along[rows]
    if name == "boiler_top" and settings.spliced + settings.stretched > 0:
        tops = Tops(batch, place, present, visible, ends, _column(own, ends), held)
        tops = spliced(tops, generator, share=settings.spliced)
        tops = stretched(tops, generator, share=settings.stretched)
        batch, place, present, held = tops.pixels, tops.place, tops.present, tops.held
        ends = tops.ends
        own = (tops.own - ends[:, 0]) / (ends[:, 1] - ends[:, 0])
    # Where a guide would say that it stands.
    error = normal((count,), generator) * _PLACE_ERROR * settings.ease
    own, other = own + error, uniform((count,), generator)
    if name == "boiler_top" and settings.drawn > 0:
        decoy = uniform((count,), generator) < 0.8 * settings.drawn
        bare = batch
        batch = draw_decoys(batch, decoy, generator, near=_column(own, ends), margin=margin)
        # A lever that is there stands before them, or they would be taught as one.
        batch = batch + (bare - batch) * place
        empty = (present < 0.5) & (visible > 0.5)
        chosen = empty & (uniform((count,), generator) < settings.drawn)
        bare = batch
        batch, cover, foot = draw_levers(batch, chosen, generator, margin=margin)
        # One of its background's colour is seen by nobody.
        stands_out = (batch - bare).abs().mean(1, keepdim=True).sum((1, 2, 3))
        faint = chosen & (stands_out < _FAINT * cover.sum((1, 2, 3)))
        visible = visible * (~faint).float()
        present = torch.maximum(present, chosen.float())
        place = torch.maximum(place, cover)
        foot = (foot - ends[:, 0]) / (ends[:, 1] - ends[:, 0])
        # A lever drawn elsewhere leaves its casting's own place as empty as it was.
        other = torch.where(
            chosen & (uniform((count,), generator) < 0.5) & own.isfinite(), own, other
        )
        own = torch.where(chosen, foot + error, own)
        held = torch.where(chosen, 1.0, held)
    share = torch.stack([own, other], 1)
    columns = _column(share, ends)
    known = (columns >= 0) & (columns < size[0])  # false of what is not a number
    share, columns = torch.where(known, share, 0.0), torch.where(known, columns, 0.0)
    elsewhere = ~_near(place, columns[:, 1], _ELSEWHERE * (size[0] - 2 * margin[0]))
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
    return batch, present, visible, (place > 0.15).float(), Asked(share, there, weight, ends)


def _near(place: Tensor, columns: Tensor, reach: float) -> Tensor:
    """Whether anything is marked (B, 1, H, W) within so many pixels of columns (B,)."""
    marked = place[:, 0].amax(1)
    wide = F.max_pool1d(marked[:, None], 2 * round(reach) + 1, 1, round(reach))[:, 0]
    return wide.gather(1, columns.long()[:, None])[:, 0] > 0.1


def _ends(transform: Tensor, quad: Tensor, size: tuple[int, int]) -> Tensor:
    """Columns (B, 2) of a crop between which regions (B, 4, 2) of the picture lie."""
    x = through(torch.linalg.inv_ex(transform).inverse, quad)[..., 0]
    front = (1 - _LEVEL) * x[:, 0] + _LEVEL * x[:, 3]
    rear = (1 - _LEVEL) * x[:, 1] + _LEVEL * x[:, 2]
    # A region folded by its jitter has ends anywhere; it must not carry the mean away.
    front = front.nan_to_num(0.0).clamp(0, 0.4 * size[0])
    return torch.stack([front, rear.nan_to_num(size[0]).clamp(0.6 * size[0], size[0])], 1)


def _column(share: Tensor, ends: Tensor) -> Tensor:
    """Columns of places given as shares of a region's length, (B,) or (B, K)."""
    front, rear = ends[:, 0], ends[:, 1]
    if share.dim() == 2:
        front, rear = front[:, None], rear[:, None]
    return front + share * (rear - front)


def at_column(along: Tensor, column: Tensor) -> Tensor:
    """Answers (B, K) at columns (B, K), pixels, between those of a judge's columns (B, C)."""
    at = (column / COLUMN - 0.5).clamp(0, along.shape[1] - 1)
    low = at.floor().clamp(max=along.shape[1] - 2).long()
    share = at - low
    return along.gather(1, low) * (1 - share) + along.gather(1, low + 1) * share


def answered(net: Judge, batch: tuple[Tensor, Tensor, Tensor, Tensor, Asked]) -> Tensor:
    """Logits (B,) that the part is there; of a judge that is told places, at its own place."""
    pixels, *_, asked = batch
    logits, _, *told = net(pixels)
    if not told:
        return logits[:, 0]
    along, ends = told
    return at_column(along, _column(asked.share, ends))[:, 0]


def judge_loss(
    net: Judge,
    batch: tuple[Tensor, Tensor, Tensor, Tensor, Asked],
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
        logits, heat, *told = net(pixels)
    logits, heat = logits.float(), heat.float()
    present_error = F.binary_cross_entropy_with_logits(logits[:, 0], present, reduction="none")
    total = (present_error * visible).sum() / visible.sum().clamp(min=1)
    total = total + 0.5 * F.binary_cross_entropy_with_logits(logits[:, 1], visible)
    if told:
        along, ends = (out.float() for out in told)
        wide = float(pixels.shape[3])
        miss = F.smooth_l1_loss(ends / wide, asked.ends / wide, reduction="none", beta=0.01)
        total = total + 12.0 * (miss.sum(1) * visible).sum() / visible.sum().clamp(min=1)
        # Asked where it will be asked; a wild guess would teach nothing.
        wild = (ends - asked.ends).abs() > _WILD * wide
        ends = torch.where(wild, asked.ends, ends.detach())
        answer = at_column(along, _column(asked.share, ends))
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
