"""One training step's batch and loss for each kind of network."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train.augment import patches, photometric
from tools.train.networks import (
    CROP_SIZES,
    FINDER_SIZE,
    POSER_PADDING,
    POSER_SIZE,
    Finder,
    Judge,
    Poser,
)
from tools.train.pictures import (
    REGIONS,
    STORED,
    Pictures,
    box_transform,
    cut,
    quad_transform,
    through,
)
from tools.train.settings import Settings

# A corner this far beyond the crop (share of its size) says nothing about the crop.
_CORNER_REACH = 0.35
_VISIBLE_SHARE = 0.6


def _normal(shape: tuple[int, ...], generator: torch.Generator) -> Tensor:
    return torch.randn(shape, device=generator.device, generator=generator)


def _rand(shape: tuple[int, ...], generator: torch.Generator) -> Tensor:
    return torch.rand(shape, device=generator.device, generator=generator)


def finder_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings
) -> tuple[Tensor, Tensor, Tensor, Tensor, Tensor]:
    """Whole photos, zoomed, shifted, mirrored and pasted; boxes in the input's pixels.

    Returns pixels (B, 3, H, W), engine box, tender box (B, 4), flags (B, 2), masks (B, 2, H, W).
    """
    count = len(rows)
    width, height = FINDER_SIZE
    zoom = torch.exp(_rand((count,), generator) * 1.5 - 0.75)  # 0.47 to 2.1 of the frame
    plain = _rand((count,), generator) < 0.3
    zoom = torch.where(plain, torch.ones_like(zoom), zoom)
    stretch = torch.exp(_normal((count,), generator) * 0.06)
    focus = pictures.engine[rows].view(-1, 2, 2).mean(1)
    middle = torch.tensor([STORED[0] / 2, STORED[1] / 2], device=focus.device)
    focus = torch.where(pictures.has_engine[rows][:, None], focus, middle.expand_as(focus))
    # Zoomed in, the crop keeps near the engine; zoomed out, anywhere within the frame.
    pull = torch.where(zoom < 1, 1 - zoom, torch.zeros_like(zoom)).clamp(0, 1)[:, None]
    centre = middle + (focus - middle) * pull
    centre = (
        centre
        + _normal((count, 2), generator) * middle * 0.16 * torch.where(plain, 0.0, 1.0)[:, None]
    )
    angle = _normal((count,), generator) * 0.05 * torch.where(plain, 0.0, 1.0)
    mirror = torch.where(_rand((count,), generator) < 0.5, -1.0, 1.0)
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
    batch = _pasted(batch, layers, generator, share=settings.paste)
    batch, _ = patches(batch, generator, share=settings.patches * 0.5, largest=0.3)
    batch = photometric(batch, generator, strength=settings.photometric)
    inverse = torch.linalg.inv(transform)
    boxes = [_moved_box(b[rows], inverse, FINDER_SIZE) for b in (pictures.engine, pictures.tender)]
    flags = torch.stack([pictures.has_engine[rows], pictures.has_tender[rows]], 1)
    kept = torch.stack([_large(box) for box in boxes], 1)
    return batch, boxes[0], boxes[1], (flags & kept).float(), layers


def _filled(batch: Tensor, transform: Tensor, generator: torch.Generator) -> Tensor:
    """Fill what lies beyond the picture with another picture's blur or a plain border."""
    ones = torch.ones(len(batch), 1, STORED[1], STORED[0], device=batch.device)
    inside = (cut(ones, transform, FINDER_SIZE) > 0.99).float()
    other = batch[torch.randperm(len(batch), device=batch.device, generator=generator)]
    other = other.flip(2) if bool(_rand((1,), generator) < 0.3) else other
    plain = _rand((len(batch), 3, 1, 1), generator)
    chosen = (_rand((len(batch), 1, 1, 1), generator) < 0.5).float()
    return batch * inside + (chosen * plain + (1 - chosen) * other) * (1 - inside)


def _pasted(batch: Tensor, layers: Tensor, generator: torch.Generator, *, share: float) -> Tensor:
    """Cut some engines out and stand them before the scenery of another picture."""
    engine = layers.amax(1, keepdim=True)
    order = torch.randperm(len(batch), device=batch.device, generator=generator)
    other, other_engine = batch[order].flip(3), engine[order].flip(3)
    # Another engine in the scenery would be an unlabelled one: smear it away.
    coarse = F.avg_pool2d(F.avg_pool2d(other, 16), 3, 1, 1, count_include_pad=False)
    smear = F.interpolate(coarse, size=other.shape[2:], mode="bilinear")
    wide = F.max_pool2d(other_engine, 9, 1, 4)
    scenery = other * (1 - wide) + smear * wide
    soft = F.avg_pool2d(engine, 3, 1, 1)
    chosen = (_rand((len(batch), 1, 1, 1), generator) < share).float()
    has = (engine.sum((1, 2, 3), keepdim=True) > 50).float()
    pasted = batch * soft + scenery * (1 - soft)
    return batch + chosen * has * (pasted - batch)


def _moved_box(boxes: Tensor, inverse: Tensor, size: tuple[int, int]) -> Tensor:
    left, top, right, bottom = boxes.unbind(1)
    quad = torch.stack(
        [
            torch.stack([left, top], 1),
            torch.stack([right, top], 1),
            torch.stack([right, bottom], 1),
            torch.stack([left, bottom], 1),
        ],
        1,
    )
    moved = through(inverse, quad)
    low, high = moved.amin(1), moved.amax(1)
    limit = torch.tensor(size, device=boxes.device, dtype=boxes.dtype)
    return torch.cat([low.clamp(min=0).minimum(limit), high.clamp(min=0).minimum(limit)], 1)


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
    low = _rand((count, 2), generator) * torch.tensor([320.0, 240.0], device=box.device)
    extent = torch.tensor([320.0, 200.0], device=box.device) * (
        0.3 + 0.7 * _rand((count, 2), generator)
    )
    box = torch.where(empty[:, None], torch.cat([low, low + extent], 1), box)
    wide = torch.cat([box[:, 2:] - box[:, :2]] * 2, 1)
    box = box + _normal((count, 4), generator) * wide * 0.05 * settings.jitter
    pad = torch.tensor([-1.0, -1.0, 1.0, 1.0], device=box.device) * wide * POSER_PADDING
    box = box + pad
    mirror = _rand((count,), generator) < 0.5
    box = torch.where(mirror[:, None], box[:, [2, 1, 0, 3]], box)
    transform = box_transform(box, POSER_SIZE)
    lean = torch.zeros_like(transform)
    lean[:, 0, 1], lean[:, 1, 0] = _normal((2, count), generator) * 0.04 * settings.jitter
    transform = transform + transform @ lean
    batch = cut(pictures.pixels[rows], transform, POSER_SIZE, finer=2)
    masks = pictures.masks[rows]
    layers = cut(torch.stack([(masks & 24) > 0], 1).float(), transform, POSER_SIZE)
    batch = _pasted(batch, layers, generator, share=settings.paste)
    batch, covered = patches(batch, generator, share=settings.patches, largest=0.35)
    batch = photometric(batch, generator, strength=settings.photometric)
    inverse = torch.linalg.inv(transform)
    unit = torch.tensor(POSER_SIZE, device=box.device, dtype=torch.float32)
    corners = through(inverse, pictures.corners[rows].view(count, 12, 2)) / unit
    reach = (corners > -_CORNER_REACH) & (corners < 1 + _CORNER_REACH)
    known = reach.all(2).float() * pictures.has_engine[rows][:, None]
    heading = pictures.heading[rows]
    swapped = torch.tensor([1, 0, 2, 3], device=box.device)[heading]
    heading = torch.where(mirror, swapped, heading)
    share = pictures.share[rows] * (1 - _covered_share(covered, corners))
    tight = _moved_box(pictures.engine[rows], inverse, (10_000, 10_000))
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


def judge_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings, region: int
) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Rectified regions with unsure corners.

    Returns pixels, present and visible (B,), and the part's place (B, 1, H/4, W/4).
    """
    count = len(rows)
    size = CROP_SIZES[REGIONS[region]]
    quad = pictures.corners[rows, region]
    along = (quad[:, 0] - quad[:, 1]).norm(dim=1)
    # Shared shift, slant and stretch: what the poser's errors look like, seen from here.
    shared = _normal((count, 1, 2), generator) * torch.tensor([0.022, 0.018], device=quad.device)
    each = _normal((count, 4, 2), generator) * torch.tensor([0.018, 0.012], device=quad.device)
    quad = quad + (shared + each) * along[:, None, None] * settings.jitter
    transform = quad_transform(quad, size)
    batch = cut(pictures.pixels[rows], transform, size, finer=2)
    mask = (pictures.masks[rows] & (1 << region)) > 0
    place = cut(mask[:, None].float(), transform, size, finer=2)
    batch, covered = patches(batch, generator, share=settings.patches, largest=0.5)
    batch = photometric(batch, generator, strength=settings.photometric)
    present, visible = pictures.present[rows, region], pictures.visible[rows, region]
    hidden_part = (place * covered).sum((1, 2, 3)) > 0.6 * place.sum((1, 2, 3)).clamp(min=1)
    hidden = torch.where(present > 0.5, hidden_part, covered.mean((1, 2, 3)) > 0.35)
    visible = visible * (~hidden).float()
    place = place * (1 - covered) * visible[:, None, None, None]
    place = F.max_pool2d(place, 4)
    # A lever thinner than a pixel still marks its cell.
    return batch, present, visible, (place > 0.15).float()


def judge_loss(
    net: Judge, batch: tuple[Tensor, Tensor, Tensor, Tensor], *, teach_place: bool = True
) -> Tensor:
    """Cross-entropy of the two decisions, and of the place where it may be judged."""
    pixels, present, visible, place = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        logits, heat = net(pixels)
    logits, heat = logits.float(), heat.float()
    present_error = F.binary_cross_entropy_with_logits(logits[:, 0], present, reduction="none")
    total = (present_error * visible).sum() / visible.sum().clamp(min=1)
    total = total + 0.5 * F.binary_cross_entropy_with_logits(logits[:, 1], visible)
    if teach_place:
        heat_error = F.binary_cross_entropy_with_logits(
            heat, place, reduction="none", pos_weight=heat.new_tensor(8.0)
        ).mean((1, 2, 3))
        # Judge the place only where presence and visibility are both known.
        total = total + 4.0 * (heat_error * visible).sum() / visible.sum().clamp(min=1)
    return total
