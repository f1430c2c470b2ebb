"""One training step of the tender's counter."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import coarsened, patches, photometric
from tools.train.networks import TENDER_PADDING, TENDER_SIZE, Counter
from tools.train.pictures import Pictures, box_transform, cut
from tools.train.settings import Settings

_WIDEST_BLUR = 3.5  # pixels of the crop


def counter_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings
) -> tuple[Tensor, Tensor, Tensor]:
    """Tenders in jittered boxes: pixels, counts (B, 2) as class indices, countable (B, 2)."""
    box = pictures.tender[rows].clone()
    wide = torch.cat([box[:, 2:] - box[:, :2]] * 2, 1)
    drawn = torch.randn(box.shape, device=box.device, generator=generator)
    out = torch.tensor([-1.0, -1.0, 1.0, 1.0], device=box.device)
    box = box + out * wide * TENDER_PADDING + drawn * wide * 0.05 * settings.jitter * settings.ease
    mirror = torch.rand(len(rows), device=box.device, generator=generator) < 0.5
    box = torch.where(mirror[:, None], box[:, [2, 1, 0, 3]], box)
    batch = cut(pictures.pixels[rows], box_transform(box, TENDER_SIZE), TENDER_SIZE)
    batch, covered = patches(batch, generator, share=settings.patches * settings.ease, largest=0.4)
    batch = coarsened(batch, generator, share=settings.coarse)
    strength = settings.photometric * settings.ease
    batch = photometric(batch, generator, strength=strength, widest=_WIDEST_BLUR)
    hidden = (covered.mean((1, 2, 3)) > 0.12).float()[:, None]
    return batch, pictures.counts[rows], pictures.countable[rows] * (1 - hidden)


def counter_loss(net: Counter, batch: tuple[Tensor, Tensor, Tensor]) -> Tensor:
    """Cross-entropy of both counts where they can be counted, and of whether they can."""
    pixels, counts, countable = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        axles, lamps, seen = net(pixels)
    total = F.binary_cross_entropy_with_logits(seen.float(), countable)
    for index, logits in enumerate((axles, lamps)):
        error = F.cross_entropy(logits.float(), counts[:, index], reduction="none")
        known = countable[:, index]
        total = total + (error * known).sum() / known.sum().clamp(min=1)
    return total
