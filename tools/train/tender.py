"""One training step of the tender's counter."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import coarsened, patches, photometric
from tools.train.mixing import normal, uniform
from tools.train.networks import MARGINS, TENDER_PADDING, TENDER_SIZE, Counter
from tools.train.pictures import BEYOND, Pictures, box_transform, cut, quad_transform, through
from tools.train.settings import Settings

_WIDEST_BLUR = 3.5  # pixels of the crop
# Shares of the rows that show the side straightened, and the rear.
_SIDE, _REAR = 0.35, 0.2
# How far a corner of a face errs, shares of the face's width and height, and all of them
# together; as found, chosen somewhat larger than what the trained network errs by.
_EACH, _ALL = 0.03, 0.03
# A corner this far beyond the crop (share of its size) says nothing about the crop.
_REACH = 0.3


@dataclass
class Tenders:
    """What a batch of crops shows; shapes begin with B.

    Attributes
    ----------
    counts, countable : Tensor, (B, 2)
        Class indices of axles and lamps, and 1 where they can be counted in the crop.
    asked : Tensor, (B, 2)
        0 where nobody knows whether they can: lamps in a straightened side.
    corners : Tensor, (B, 2, 4, 2)
        Of side and rear, shares of the crop.
    known : Tensor, (B, 2)
        1 where those of a face are taught.
    """

    counts: Tensor
    countable: Tensor
    asked: Tensor
    corners: Tensor
    known: Tensor


def counter_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings
) -> tuple[Tensor, Tenders]:
    """Tenders in jittered boxes, and some of their faces straightened: pixels and truth."""
    count, jitter = len(rows), settings.jitter * settings.ease
    transform = _boxed(pictures.tender[rows], generator, jitter)
    faces = pictures.faces[rows]
    told = faces.abs().sum((2, 3)) > 0
    drawn = uniform((count,), generator)
    usable = told & (pictures.countable[rows] > 0)
    side = usable[:, 0] & (drawn < _SIDE)
    rear = usable[:, 1] & (drawn > 1 - _REAR)
    for index, chosen in enumerate((side, rear)):
        straight = _straightened(faces[:, index], generator, jitter)
        transform = torch.where(chosen[:, None, None], straight, transform)
    batch = cut(pictures.pixels[rows], transform, TENDER_SIZE, beyond=BEYOND)
    share = settings.patches * settings.ease
    batch, covered = patches(batch, generator, share=share, largest=0.4)
    batch = coarsened(batch, generator, share=settings.coarse)
    strength = settings.photometric * settings.ease
    batch = photometric(batch, generator, strength=strength, widest=_WIDEST_BLUR)
    open_ = (covered.mean((1, 2, 3)) <= 0.12).float()[:, None]
    whole = ~(side | rear)
    asked = torch.stack([whole | side, whole | rear], 1).float()
    unit = torch.tensor(TENDER_SIZE, device=faces.device, dtype=torch.float32)
    inverse = torch.linalg.inv_ex(transform).inverse
    corners = _from_the_left(through(inverse, faces.flatten(1, 2)).view(count, 2, 4, 2) / unit)
    near = ((corners > -_REACH) & (corners < 1 + _REACH)).flatten(2).all(2)
    known = (told & near & whole[:, None]).float()
    countable = pictures.countable[rows] * open_
    return batch, Tenders(pictures.counts[rows], countable, asked, corners, known)


def _boxed(box: Tensor, generator: torch.Generator, jitter: float) -> Tensor:
    """Homographies of padded boxes (B, 4) that err, half of them mirrored."""
    wide = torch.cat([box[:, 2:] - box[:, :2]] * 2, 1)
    out = torch.tensor([-1.0, -1.0, 1.0, 1.0], device=box.device)
    error = normal(tuple(box.shape), generator) * 0.05 * jitter
    box = box + (out * TENDER_PADDING + error) * wide
    mirror = uniform((len(box),), generator) < 0.5
    box = torch.where(mirror[:, None], box[:, [2, 1, 0, 3]], box)
    return box_transform(box, TENDER_SIZE)


def _straightened(quad: Tensor, generator: torch.Generator, jitter: float) -> Tensor:
    """Homographies of faces (B, 4, 2) whose corners err, half of them mirrored."""
    count = len(quad)
    across = (quad[:, 1] - quad[:, 0] + quad[:, 2] - quad[:, 3])[:, None] / 2
    down = (quad[:, 3] - quad[:, 0] + quad[:, 2] - quad[:, 1])[:, None] / 2
    error = normal((count, 1, 2), generator) * _ALL + normal((count, 4, 2), generator) * _EACH
    quad = quad + (error[..., :1] * across + error[..., 1:] * down) * jitter
    mirror = uniform((count, 1, 1), generator) < 0.5
    quad = torch.where(mirror, quad[:, [1, 0, 3, 2]], quad)
    return quad_transform(quad, TENDER_SIZE, margin=MARGINS["tender"])


def _from_the_left(corners: Tensor) -> Tensor:
    """Corners (B, 2, 4, 2) with the left ones first, also where the crop is mirrored."""
    mirrored = corners[..., [0, 3], 0].sum(2) > corners[..., [1, 2], 0].sum(2)
    return torch.where(mirrored[..., None, None], corners[:, :, [1, 0, 3, 2]], corners)


def counter_loss(net: Counter, batch: tuple[Tensor, Tenders]) -> Tensor:
    """Cross-entropy of both counts where they can be counted, and of whether they can.

    And how far the corners of side and rear are missed.
    """
    pixels, truth = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        axles, lamps, seen, corners = net(pixels)
    doubt = F.binary_cross_entropy_with_logits(seen.float(), truth.countable, reduction="none")
    total = (doubt * truth.asked).sum() / truth.asked.sum().clamp(min=1)
    for index, logits in enumerate((axles, lamps)):
        error = F.cross_entropy(logits.float(), truth.counts[:, index], reduction="none")
        known = (truth.countable * truth.asked)[:, index]
        total = total + (error * known).sum() / known.sum().clamp(min=1)
    # Those of other crops may be anywhere, even without end; they must not spoil the sum.
    target = torch.where(truth.known[..., None, None] > 0, truth.corners, 0.0)
    miss = F.smooth_l1_loss(corners.float(), target, reduction="none", beta=0.02)
    return total + 3.0 * (miss.sum((2, 3)) * truth.known).sum() / truth.known.sum().clamp(min=1)
