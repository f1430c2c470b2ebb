"""One training step of the finder."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import patches, photometric
from tools.train.mixing import moved_box, normal, pasted, uniform
from tools.train.networks import FINDER_SIZE, Finder
from tools.train.oddments import strewn
from tools.train.pictures import STORED, Pictures, cut
from tools.train.settings import Settings

# Pixels of the input; a photo out of focus is no sharper than this once it is made small.
_WIDEST_BLUR = 5.0


def finder_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings
) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
    """Whole photos, zoomed, shifted, mirrored and pasted; boxes in the input's pixels.

    Returns pixels (B, 3, H, W), engine box, tender box (B, 4), flags (B, 2), masks (B, 2, H, W).
    """
    count = len(rows)
    width, height = FINDER_SIZE
    zoom = torch.exp(uniform((count,), generator) * 1.85 - 0.75)  # 0.47 to 3 of the frame
    plain = uniform((count,), generator) < 0.3
    zoom = torch.where(plain, torch.ones_like(zoom), zoom)
    stretch = torch.exp(normal((count,), generator) * 0.06)
    focus = pictures.engine[rows].view(-1, 2, 2).mean(1)
    middle = torch.tensor([STORED[0] / 2, STORED[1] / 2], device=focus.device)
    focus = torch.where(pictures.has_engine[rows][:, None], focus, middle.expand_as(focus))
    # Zoomed in, the crop keeps near the engine; zoomed out, anywhere within the frame.
    pull = torch.where(zoom < 1, 1 - zoom, torch.zeros_like(zoom)).clamp(0, 1)[:, None]
    centre = middle + (focus - middle) * pull
    centre = (
        centre
        + normal((count, 2), generator) * middle * 0.16 * torch.where(plain, 0.0, 1.0)[:, None]
    )
    angle = normal((count,), generator) * 0.05 * torch.where(plain, 0.0, 1.0)
    mirror = torch.where(uniform((count,), generator) < 0.5, -1.0, 1.0)
    base = max(STORED[0] / width, STORED[1] / height) * zoom
    base_x, base_y = base * stretch, base / stretch
    linear = torch.stack(
        [
            torch.stack([torch.cos(angle) * base_x * mirror, -torch.sin(angle) * base_y], 1),
            torch.stack([torch.sin(angle) * base_x * mirror, torch.cos(angle) * base_y], 1),
        ],
        1,
    )
    half = torch.tensor([width / 2, height / 2], device=focus.device)
    shift = centre - (linear @ half[:, None])[..., 0]
    transform = torch.zeros(count, 3, 3, device=focus.device)
    transform[:, :2, :2], transform[:, :2, 2], transform[:, 2, 2] = linear, shift, 1.0
    source = pictures.pixels[rows]
    masks = pictures.masks[rows]
    layers = torch.stack([(masks & 8) > 0, (masks & 16) > 0], 1).float()
    batch = cut(source, transform, FINDER_SIZE, finer=2)
    layers = cut(layers, transform, FINDER_SIZE)
    batch = _filled(batch, transform, generator)
    batch = pasted(batch, layers, generator, share=settings.paste)
    bare = ~(pictures.has_engine[rows] | pictures.has_tender[rows])
    batch = strewn(batch, bare, generator, share=settings.strewn)
    batch, _ = patches(batch, generator, share=settings.patches * settings.ease * 0.5, largest=0.3)
    batch = photometric(
        batch, generator, strength=settings.photometric * settings.ease, widest=_WIDEST_BLUR
    )
    inverse = torch.linalg.inv(transform)
    boxes = [moved_box(b[rows], inverse, FINDER_SIZE) for b in (pictures.engine, pictures.tender)]
    flags = torch.stack([pictures.has_engine[rows], pictures.has_tender[rows]], 1)
    kept = torch.stack([_large(box) for box in boxes], 1)
    return batch, boxes[0], boxes[1], (flags & kept).float(), layers


def _filled(batch: Tensor, transform: Tensor, generator: torch.Generator) -> Tensor:
    """Fill what lies beyond the picture with another picture's blur or a plain border."""
    ones = torch.ones(len(batch), 1, STORED[1], STORED[0], device=batch.device)
    inside = (cut(ones, transform, FINDER_SIZE) > 0.99).float()
    other = batch[torch.randperm(len(batch), device=batch.device, generator=generator)]
    other = other.flip(2) if bool(uniform((1,), generator) < 0.3) else other
    # So blurred that an engine in it, which nothing tells of, is none any more.
    other = F.interpolate(F.avg_pool2d(other, 32), size=batch.shape[2:], mode="bilinear")
    plain = uniform((len(batch), 3, 1, 1), generator)
    chosen = (uniform((len(batch), 1, 1, 1), generator) < 0.5).float()
    return batch * inside + (chosen * plain + (1 - chosen) * other) * (1 - inside)


def _large(box: Tensor) -> Tensor:
    """Enough of the box left within the input to be called one."""
    return (box[:, 2] - box[:, 0] > 12) & (box[:, 3] - box[:, 1] > 8)


def finder_loss(net: Finder, batch: tuple[Tensor, Tensor, Tensor, Tensor, Tensor]) -> Tensor:
    """Focal centre loss (Lin et al. 2017; Zhou et al. 2019), L1 and IoU of boxes, mask loss."""
    pixels, engine, tender, flags, layers = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        out = net(pixels)
    out = out.float()
    rows, cols = out.shape[2:]
    x = (torch.arange(cols, device=out.device) + 0.5) * 8
    y = (torch.arange(rows, device=out.device) + 0.5) * 8
    total = out.new_zeros(())
    for index, box in enumerate((engine, tender)):
        flag = flags[:, index]
        centre = box.view(-1, 2, 2).mean(1)
        spread = (box[:, 2:] - box[:, :2]).clamp(min=8) * 0.14 + 4
        dx = (x[None, None, :] - centre[:, 0, None, None]) / spread[:, 0, None, None]
        dy = (y[None, :, None] - centre[:, 1, None, None]) / spread[:, 1, None, None]
        target = torch.exp(-0.5 * (dx**2 + dy**2)) * flag[:, None, None]
        total = total + 2.0 * _soft_focal(out[:, index], target)
        near = (target > 0.5).float()
        sides = (
            torch.stack(
                [
                    (x[None, None, :] - box[:, 0, None, None]).expand_as(target),
                    (y[None, :, None] - box[:, 1, None, None]).expand_as(target),
                    (box[:, 2, None, None] - x[None, None, :]).expand_as(target),
                    (box[:, 3, None, None] - y[None, :, None]).expand_as(target),
                ],
                1,
            )
            / FINDER_SIZE[0]
        )
        guess = out[:, 2 + 4 * index : 6 + 4 * index]
        weight = near / near.sum((1, 2), keepdim=True).clamp(min=1)
        scale = (box[:, 2] - box[:, 0]).clamp(min=16)[:, None, None, None] / FINDER_SIZE[0]
        error = ((guess - sides).abs() / scale).sum(1) + 0.5 * (1 - _iou(guess, sides.clamp(min=0)))
        total = total + 1.5 * (error * weight).sum() / flag.sum().clamp(min=1)
    small = F.avg_pool2d(layers, 8)
    return total + 0.5 * F.binary_cross_entropy_with_logits(out[:, 10:12], small)


def _iou(one: Tensor, two: Tensor) -> Tensor:
    shared = torch.minimum(one, two)
    overlap = (shared[:, 0] + shared[:, 2]) * (shared[:, 1] + shared[:, 3])
    areas = [(b[:, 0] + b[:, 2]) * (b[:, 1] + b[:, 3]) for b in (one, two)]
    return overlap / (areas[0] + areas[1] - overlap).clamp(min=1e-6)


def _soft_focal(logits: Tensor, target: Tensor) -> Tensor:
    """Quality focal loss (Li et al. 2020): cross-entropy weighted by the error squared."""
    p = torch.sigmoid(logits)
    loss = F.binary_cross_entropy_with_logits(logits, target, reduction="none")
    return (loss * (target - p) ** 2).sum((1, 2)).mean() * 0.2
