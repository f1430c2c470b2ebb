"""One training step of the poser."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import patches, photometric
from tools.train.mixing import moved_box, normal, pasted, uniform
from tools.train.networks import POSER_PADDING, POSER_SIZE, Poser
from tools.train.oddments import strewn
from tools.train.pictures import BEYOND, Pictures, box_transform, cut, through
from tools.train.settings import Settings

# A corner this far beyond the crop (share of its size) says nothing about the crop.
_CORNER_REACH = 0.35
_WIDEST_BLUR = 5.0  # pixels of the crop


def poser_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings
) -> tuple[Tensor, ...]:
    """Engines in jittered boxes.

    Returns pixels, corners (B, 12, 2) as shares of the crop, which corners are known,
    heading, visible share of each region, box as shares of the crop, and engine or not.
    """
    count = len(rows)
    box = pictures.engine[rows].clone()
    empty = ~pictures.has_engine[rows]
    # Where there is no engine the finder's mistakes look like any box of any size.
    low = uniform((count, 2), generator) * torch.tensor([320.0, 240.0], device=box.device)
    extent = torch.tensor([320.0, 200.0], device=box.device) * (
        0.3 + 0.7 * uniform((count, 2), generator)
    )
    box = torch.where(empty[:, None], torch.cat([low, low + extent], 1), box)
    wide = torch.cat([box[:, 2:] - box[:, :2]] * 2, 1)
    box = box + normal((count, 4), generator) * wide * 0.05 * settings.jitter * settings.ease
    pad = torch.tensor([-1.0, -1.0, 1.0, 1.0], device=box.device) * wide * POSER_PADDING
    box = box + pad
    mirror = uniform((count,), generator) < 0.5
    box = torch.where(mirror[:, None], box[:, [2, 1, 0, 3]], box)
    transform = box_transform(box, POSER_SIZE)
    lean = torch.zeros_like(transform)
    lean[:, 0, 1], lean[:, 1, 0] = (
        normal((2, count), generator) * 0.04 * settings.jitter * settings.ease
    )
    transform = transform + transform @ lean
    mask = ((pictures.masks[rows] & 24) > 0).to(torch.uint8) * 255
    # The crop is at most one and a half times finer than the network's input.
    layers = torch.cat([pictures.pixels[rows], mask[:, None]], 1)
    both = cut(layers, transform, POSER_SIZE, beyond=BEYOND)
    batch, layers = both[:, :3], both[:, 3:]
    batch = pasted(batch, layers, generator, share=settings.paste)
    batch = strewn(batch, empty, generator, share=settings.strewn)
    batch, covered = patches(batch, generator, share=settings.patches * settings.ease, largest=0.35)
    batch = photometric(
        batch, generator, strength=settings.photometric * settings.ease, widest=_WIDEST_BLUR
    )
    inverse = torch.linalg.inv(transform)
    unit = torch.tensor(POSER_SIZE, device=box.device, dtype=torch.float32)
    corners = through(inverse, pictures.corners[rows].view(count, 12, 2)) / unit
    reach = (corners > -_CORNER_REACH) & (corners < 1 + _CORNER_REACH)
    known = reach.all(2).float() * pictures.has_engine[rows][:, None]
    heading = pictures.heading[rows]
    swapped = torch.tensor([1, 0, 2, 3], device=box.device)[heading]
    heading = torch.where(mirror, swapped, heading)
    share = pictures.share[rows] * (1 - _covered_share(covered, corners))
    tight = moved_box(pictures.engine[rows], inverse, (10_000, 10_000))
    tight = torch.cat(
        [through(inverse, pictures.engine[rows].view(-1, 2, 2)).amin(1), tight[:, 2:]], 1
    )
    tight = tight / torch.cat([unit, unit])
    return batch, corners, known, heading, share, tight, pictures.has_engine[rows].float()


def _covered_share(covered: Tensor, corners: Tensor) -> Tensor:
    """Share of each region (B, 3) that a patch covers, sampled over the quadrilateral."""
    quads = corners.view(-1, 3, 4, 2)
    u = torch.linspace(0.05, 0.95, 12, device=covered.device)
    v = torch.linspace(0.3, 0.8, 4, device=covered.device)
    uu, vv = (t.reshape(1, 1, -1, 1) for t in torch.meshgrid(u, v, indexing="ij"))
    c = quads[:, :, :, None, :]
    points = (
        c[:, :, 0] * (1 - uu) * (1 - vv)
        + c[:, :, 1] * uu * (1 - vv)
        + c[:, :, 2] * uu * vv
        + c[:, :, 3] * (1 - uu) * vv
    )
    sampled = F.grid_sample(covered, points * 2 - 1, mode="nearest", align_corners=False)
    return sampled[:, 0].mean(2)


def poser_loss(net: Poser, batch: tuple[Tensor, ...]) -> Tensor:
    """Smooth L1 over corners and box, cross-entropy over the rest."""
    pixels, corners, known, heading, share, box, engine = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        guess, heading_logits, sight, box_guess, engine_logit = net(pixels)
    corner_error = F.smooth_l1_loss(guess.float(), corners, reduction="none", beta=0.02).sum(2)
    total = 12.0 * (corner_error * known).sum() / known.sum().clamp(min=1)
    heading_error = F.cross_entropy(
        heading_logits.float(), heading, reduction="none", label_smoothing=0.02
    )
    sight_error = F.binary_cross_entropy_with_logits(sight.float(), share, reduction="none").sum(1)
    box_error = F.smooth_l1_loss(box_guess.float(), box, reduction="none", beta=0.02).sum(1)
    each = 0.5 * heading_error + 0.4 * sight_error + 6.0 * box_error
    total = total + (each * engine).sum() / engine.sum().clamp(min=1)
    return total + F.binary_cross_entropy_with_logits(engine_logit.float()[:, 0], engine)
