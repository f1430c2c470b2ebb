"""One training step of a judge."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import coarsened, patches, photometric
from tools.train.heat import focal
from tools.train.mixing import normal, uniform
from tools.train.networks import CROP_SIZES, Judge
from tools.train.pictures import REGIONS, Pictures, cut, quad_transform
from tools.train.settings import Settings
from tools.train.sprites import draw_decoys, draw_levers

# Pixels of the crop. A lever is lost in less than what linkages and stripes still show in.
_WIDEST_BLUR = {"boiler_top": 2.0, "side_rods": 4.5, "running_board": 4.0}
# How many pixels of the crop one of the photo's becomes at most.
_COARSEST = {"boiler_top": 2.5, "side_rods": 4.0, "running_board": 4.0}
# Factor on how strongly and how often a crop is spoilt, corners apart.
_MILDER = {"boiler_top": 0.6, "side_rods": 1.0, "running_board": 1.0}


def judge_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings, region: int
) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Rectified regions with unsure corners.

    Returns pixels, present and visible (B,), and the part's place (B, 1, H/4, W/4).
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
    if settings.window:
        batch, place = _windowed(batch, place, generator, width=settings.window)
        present = present * (place.amax((1, 2, 3)) > 0.3).float()
    if name == "boiler_top" and settings.drawn > 0:
        decoy = uniform((count,), generator) < 0.5 * settings.drawn
        batch = draw_decoys(batch, decoy, generator)
        bare = (present < 0.5) & (visible > 0.5)
        chosen = bare & (uniform((count,), generator) < settings.drawn)
        batch, cover = draw_levers(batch, chosen, generator)
        present = torch.maximum(present, chosen.float())
        place = torch.maximum(place, cover)
    strength = settings.ease * _MILDER[name]
    batch, covered = patches(batch, generator, share=settings.patches * strength, largest=0.5)
    share = settings.coarse * _MILDER[name]
    batch = coarsened(batch, generator, share=share, most=_COARSEST[name])
    photometry = {"strength": settings.photometric * strength, "widest": _WIDEST_BLUR[name]}
    batch = photometric(batch, generator, **photometry)
    hidden_part = (place * covered).sum((1, 2, 3)) > 0.6 * place.sum((1, 2, 3)).clamp(min=1)
    hidden = torch.where(present > 0.5, hidden_part, covered.mean((1, 2, 3)) > 0.35)
    visible = visible * (~hidden).float()
    place = place * (1 - covered) * visible[:, None, None, None]
    place = F.max_pool2d(place, 4)
    # A lever thinner than a pixel still marks its cell.
    return batch, present, visible, (place > 0.15).float()


def _windowed(
    batch: Tensor, place: Tensor, generator: torch.Generator, *, width: int
) -> tuple[Tensor, Tensor]:
    """A part of each crop, round the cue's place in most of those that have one.

    Most of a boiler top is sky: for the same time a network sees more of what matters.
    """
    count, _, rows, cols = batch.shape
    columns = torch.arange(cols, device=batch.device, dtype=torch.float32)
    weight = place[:, 0].sum(1)
    middle = (weight * columns).sum(1) / weight.sum(1).clamp(min=1e-6)
    anywhere = uniform((count,), generator) * cols
    close = (weight.sum(1) > 1) & (uniform((count,), generator) < 0.85)
    middle = torch.where(
        close, middle + (uniform((count,), generator) - 0.5) * 0.8 * width, anywhere
    )
    left = (middle - width / 2).clamp(0, cols - width).long()
    index = left[:, None] + torch.arange(width, device=batch.device)

    def taken(whole: Tensor) -> Tensor:
        at = index[:, None, None].expand(count, whole.shape[1], rows, width)
        return whole.gather(3, at)

    return taken(batch), taken(place)


def judge_loss(
    net: Judge,
    batch: tuple[Tensor, Tensor, Tensor, Tensor],
    *,
    teach_place: bool = True,
    few_cells: bool = False,
) -> Tensor:
    """Cross-entropy of the two decisions, and of the place where it may be judged.

    A part of `few_cells` is lost in the mean over all of them: its place is taught by the
    focal loss of `tools.train.heat` instead.
    """
    pixels, present, visible, place = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        logits, heat = net(pixels)
    logits, heat = logits.float(), heat.float()
    present_error = F.binary_cross_entropy_with_logits(logits[:, 0], present, reduction="none")
    total = (present_error * visible).sum() / visible.sum().clamp(min=1)
    total = total + 0.5 * F.binary_cross_entropy_with_logits(logits[:, 1], visible)
    if not teach_place:
        return total
    # Judge the place only where presence and visibility are both known.
    if few_cells:
        return total + focal(heat, place, visible[:, None, None, None])
    heat_error = F.binary_cross_entropy_with_logits(
        heat, place, reduction="none", pos_weight=heat.new_tensor(8.0)
    ).mean((1, 2, 3))
    return total + 4.0 * (heat_error * visible).sum() / visible.sum().clamp(min=1)
