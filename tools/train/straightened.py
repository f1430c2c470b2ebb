"""Regions straightened as they will be, their corners as unsure, before anything is spoilt."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.mixing import normal, uniform
from tools.train.networks import CROP_SIZES, MARGINS
from tools.train.pictures import BEYOND, REGIONS, Pictures, cut, quad_transform, through
from tools.train.settings import Settings
from tools.train.splicing import Tops, spliced, stretched
from tools.train.sprites import draw_decoys, draw_levers

# Standard deviation of where a lever is asked for, share of the region's length, chosen:
# whoever writes a guide measures its place in a photo.
_PLACE_ERROR = 0.008
# Height at which a region's ends are taken, 0 top, 1 bottom: about where levers stand.
_LEVEL = 0.6
# Of the range of a channel, by which a drawn lever must differ from what it covers; by eye.
_FAINT = 0.09


@dataclass
class Straightened:
    """Regions cut out, and what is known of them.

    Attributes
    ----------
    pixels, place : Tensor, (B, 3, H, W) and (B, 1, H, W)
        The crops, and how much of each pixel the part covers.
    present, visible : Tensor, (B,)
    own, other : Tensor, (B,)
        Where the part is asked for, shares of the region's length from its front: the
        casting's own place, as a guide would state it, and any other.
    held : Tensor, (B,)
        Whether the part stands at its casting's own place.
    ends : Tensor, (B, 2)
        Columns of the crop, pixels, between which the region truly lies.
    """

    pixels: Tensor
    place: Tensor
    present: Tensor
    visible: Tensor
    own: Tensor
    other: Tensor
    held: Tensor
    ends: Tensor


def straightened(
    pictures: Pictures,
    rows: Tensor,
    generator: torch.Generator,
    settings: Settings,
    region: int,
    *,
    finer: float = 1.0,
) -> Straightened:
    """Cut out regions with corners that err as the poser's do.

    Of boiler tops some are stretched, spliced, and drawn upon. `finer` is a factor on the
    size of the judge's own crop.
    """
    count = len(rows)
    name = REGIONS[region]
    size = tuple(round(finer * side) for side in CROP_SIZES[name])
    margin = tuple(round(finer * side) for side in MARGINS.get(name, (0, 0)))
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
        tops = Tops(batch, place, present, visible, ends, column_of(own, ends), held)
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
        batch = draw_decoys(batch, decoy, generator, near=column_of(own, ends), margin=margin)
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
    return Straightened(batch, place, present, visible, own, other, held, ends)


def near_any(place: Tensor, columns: Tensor, reach: float) -> Tensor:
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


def column_of(share: Tensor, ends: Tensor) -> Tensor:
    """Columns of places given as shares of a region's length, (B,) or (B, K)."""
    front, rear = ends[:, 0], ends[:, 1]
    if share.dim() == 2:
        front, rear = front[:, None], rear[:, None]
    return front + share * (rear - front)
