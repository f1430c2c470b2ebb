"""A closer look at the place where a casting has its lever, and one training step of it.

A judge of the whole boiler top answers for columns that are wider than what sets a lever
apart from the pipe beside it. Whoever knows where to look takes a loupe: a third of the
length, the place in its middle, half as large again.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from tools.train.augment import grainy, patches, photometric
from tools.train.backbone import Taught
from tools.train.heat import focal
from tools.train.layers import STRIP, Trunk, head_of, looked_at, strip_of
from tools.train.mixing import normal, uniform
from tools.train.networks import CROP_SIZES, MARGINS
from tools.train.pictures import REGIONS, Pictures
from tools.train.settings import Settings
from tools.train.straightened import column_of, near_any, straightened

Batch = tuple[Tensor, Tensor, Tensor, Tensor, Tensor]

REGION = "boiler_top"
LOUPE_SIZE = (192, 192)
# Factor on the judge's crop: as high as the loupe is, margins and all.
FINER = LOUPE_SIZE[1] / CROP_SIZES[REGION][1]
# Standard deviation of what is left of the error of a place after the judge has put the
# region's ends right, share of its length: mostly, and of one in so many. Chosen.
_ASTRAY, _FAR_ASTRAY, _SELDOM = 0.008, 0.03, 0.15
_ELSEWHERE = 0.15  # of the looks, at a place where no lever stands; chosen
_REACH = 0.07  # how far from a lever that is, share of the region's length
# How many pixels of the loupe one of the photo's becomes at most, and of how many looks more
# than one: what a loupe shows of most photos is enlarged.
_COARSEST, _COARSE = 4.2, 0.8
_WIDEST_BLUR = 5.0  # pixels of the loupe
_BLOCK = 8  # pixels of a JPEG's blocks


class Loupe(nn.Module):
    """The straightened surroundings of a place in; does a part stand at their middle, out.

    Output: logits (B, 2) that it stands there and that this can be seen; heat map logits
    (B, 1, H/4, W/4) of where a part stands, in the middle or not.
    """

    def __init__(self, trunk: Trunk | Taught | None = None) -> None:
        """Of a trunk of width 64; without one, of a published network's layers."""
        super().__init__()
        self.trunk = trunk or Taught(64)
        self.heat = head_of(64, 1)
        nn.init.constant_(self.heat[-1].bias, -3.0)
        self.features = nn.Sequential(head_of(64, 64), nn.ReLU(inplace=True))
        # Columns are kept apart to the end: a lever is told by where it stands.
        self.along = nn.Sequential(
            nn.Conv1d(STRIP, 64, 5, 1, 2),
            nn.ReLU(inplace=True),
            nn.Conv1d(64, 32, 5, 2, 2),
            nn.ReLU(inplace=True),
        )
        columns = LOUPE_SIZE[0] // 4 // 2
        self.decide = nn.Sequential(
            nn.Linear(32 * columns + 64 + self.trunk.coarse + 2, 64),
            nn.ReLU(inplace=True),
            nn.Dropout(0.2),
            nn.Linear(64, 2),
        )

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        merged, coarse = self.trunk(x)
        heat, features = self.heat(merged[0]), self.features(merged[0])
        told = self.along(strip_of(features, heat)).flatten(1).float()
        pooled = coarse.mean(dim=(2, 3)).float()
        looked, summary = looked_at(features, heat)
        return self.decide(torch.cat([told, looked, pooled, summary], dim=1)), heat


def loupe_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings
) -> Batch:
    """Looks at the castings' own places, and some at others.

    Returns pixels, whether a part stands in the middle and whether that can be seen (B,),
    where one stands (B, 1, H/4, W/4), and 0 where nobody knows of the middle (B,).
    """
    region = REGIONS.index(REGION)
    whole = straightened(pictures, rows, generator, settings, region, finer=FINER)
    count, width = len(rows), whole.pixels.shape[3]
    elsewhere = uniform((count,), generator) < _ELSEWHERE
    astray = torch.where(uniform((count,), generator) < _SELDOM, _FAR_ASTRAY, _ASTRAY)
    share = torch.where(elsewhere, whole.other, whole.own)
    share = share + normal((count,), generator) * astray * settings.ease
    column = column_of(share, whole.ends)
    known = (column >= 0) & (column < width)  # false of what is not a number
    column = torch.where(known, column, 0.5 * width)
    inner = width - 2 * FINER * MARGINS[REGION][0]
    bare = ~near_any(whole.place, column, _REACH * inner)
    batch, place = _windows(torch.cat([whole.pixels, whole.place], 1), column).split([3, 1], 1)
    # A lever that stands a little beside another place that was asked for is nobody's business.
    asked = (known & (~elsewhere | bare)).float()
    present = torch.where(elsewhere, 0.0, whole.held)
    batch, covered = patches(batch, generator, share=settings.patches * settings.ease, largest=0.5)
    batch = _spoilt(batch, generator, settings)
    part = (place * covered).sum((1, 2, 3)) > 0.6 * place.sum((1, 2, 3)).clamp(min=1)
    middle = covered[:, 0, :, LOUPE_SIZE[0] // 2].mean(1) > 0.4
    hidden = torch.where(present > 0.5, part, middle)
    visible = whole.visible * (~hidden).float()
    place = F.max_pool2d(place * (1 - covered) * visible[:, None, None, None], 4)
    # From either side a lever is the same.
    turned = uniform((count, 1, 1, 1), generator) < 0.5
    batch, place = (torch.where(turned, both.flip(3), both) for both in (batch, place))
    return batch, present, visible, (place > 0.15).float(), asked


def _windows(layers: Tensor, column: Tensor) -> Tensor:
    """What the loupe shows of crops (B, C, H, W) about columns (B,), their edges drawn out."""
    height, width = layers.shape[2:]
    x = torch.arange(LOUPE_SIZE[0], device=layers.device) + 0.5 - LOUPE_SIZE[0] / 2
    x = (column[:, None, None] + x[None, None]) * (2.0 / width) - 1.0
    y = (torch.arange(height, device=layers.device) + 0.5) * (2.0 / height) - 1.0
    grid = torch.stack(torch.broadcast_tensors(x, y[None, :, None]), -1)
    return F.grid_sample(layers, grid, align_corners=False, padding_mode="border")


def _spoilt(batch: Tensor, generator: torch.Generator, settings: Settings) -> Tensor:
    """Light, blur, noise and blocks at the photo's own pixels, which the loupe then enlarges."""
    factor = 1.0
    if float(uniform((), generator)) < _COARSE and settings.coarse > 0:
        factor = math.exp(math.log(_COARSEST) * float(uniform((), generator)))
    side = max(_BLOCK, _BLOCK * round(LOUPE_SIZE[0] / factor / _BLOCK))
    small = F.interpolate(batch, size=(side, side), mode="area") if factor > 1 else batch
    widest = max(_WIDEST_BLUR / factor, 1.0)
    strength = 0.8 * settings.photometric * settings.ease
    small = photometric(small, generator, strength=strength, widest=widest)
    small = grainy(small, generator, share=settings.grainy * settings.ease)
    if factor == 1:
        return small
    return F.interpolate(small, size=LOUPE_SIZE[::-1], mode="bilinear", align_corners=False)


def loupe_loss(net: Loupe, batch: Batch) -> Tensor:
    """Cross-entropy of both decisions, and the focal loss of where the part stands."""
    pixels, present, visible, place, asked = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        logits, heat = net(pixels)
    logits, heat = logits.float(), heat.float()
    error = F.binary_cross_entropy_with_logits(logits[:, 0], present, reduction="none")
    weight = visible * asked
    total = 2.0 * (error * weight).sum() / weight.sum().clamp(min=1)
    unseen = F.binary_cross_entropy_with_logits(logits[:, 1], visible, reduction="none")
    total = total + 0.3 * (unseen * asked).sum() / asked.sum().clamp(min=1)
    return total + focal(heat, place, visible[:, None, None, None])
