"""One training step of the cab number's reader."""

from __future__ import annotations

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train import figures
from tools.train.augment import patches, photometric
from tools.train.heat import focal
from tools.train.mixing import normal, uniform
from tools.train.networks import CHARACTERS, NUMBER_SIZE, Reader
from tools.train.painting import Bank, Marks, drawn, ground_pieces, marks_of
from tools.train.pictures import Pictures, cut, quad_transform, through
from tools.train.settings import Settings

WINDOW = (128, 64)  # what the reader is shown at a time, pixels of the straightened cab side
STRIDE = 4
# Pixels of the photo that come to one of the crop: small figures are enlarged to be read.
# The window divided by each is a multiple of 8, as the JPEG blocks want it.
_ENLARGED = (1.0, 4 / 3, 2.0, 8 / 3)
_HEIGHT = (12.0, 50.0)  # of figures in the crop, pixels
_WIDEST_BLUR = 3.6  # standard deviation, pixels of the photo
_LEAST_PX = 5.0  # of figures in the photo; below, nobody can tell and nothing is taught


def legible(pictures: Pictures, rows: Tensor) -> Tensor:
    """Rows whose cab side shows a whole number or nothing of one; -1 where there are none."""
    there = pictures.cab[rows].abs().sum((1, 2)) > 0
    wide = (pictures.cab[rows, 0] - pictures.cab[rows, 1]).norm(dim=1)
    whole = pictures.digits[rows, 0] >= 0
    kept = rows[there & (whole | ~pictures.inked[rows]) & (wide > 24) & (wide < 2000)]
    return kept if len(kept) else torch.full((1,), -1, device=rows.device)


def number_batch(
    pictures: Pictures, rows: Tensor, generator: torch.Generator, settings: Settings, bank: Bank
) -> tuple[Tensor, Marks]:
    """Windows on cab sides, drawn and rendered: pixels (B, 3, 64, 128) and what they show.

    A row of -1 stands for a made-up ground, as does a share of the others.
    """
    bank.renew()
    rows = rows.masked_fill(uniform((len(rows),), generator) < settings.made_up, -1)
    rows = rows.sort().values  # made-up ones first; scales are dealt out in turn
    pixels, marks = [], []
    for start, times in enumerate(_ENLARGED):
        part = rows[start :: len(_ENLARGED)]
        small = (round(WINDOW[0] / times), round(WINDOW[1] / times))
        many = int((part < 0).sum())
        pieces = []
        if many:
            tall = _heights(generator, many, times)
            canvas = ground_pieces(generator, bank, many, small)
            pieces.append(drawn(generator, bank, canvas, tall))
        if many < len(part):
            pieces += _rendered(pictures, part[many:], generator, settings, bank, times=times)
        batch = torch.cat([piece for piece, _ in pieces])
        mark = _joined([mark for _, mark in pieces])
        mark.told &= mark.boxes[..., 3] >= _LEAST_PX
        share = settings.patches * settings.ease
        batch, covered = patches(batch, generator, share=share, largest=0.35)
        strength = settings.photometric * settings.ease
        batch = photometric(batch, generator, strength=strength, widest=_WIDEST_BLUR)
        mark.told &= _within(covered, mark.boxes) < 0.4
        pixels.append(F.interpolate(batch, size=WINDOW[::-1], mode="bilinear"))
        mark.boxes *= times
        marks.append(mark)
    return torch.cat(pixels), _joined(marks)


def _joined(marks: list[Marks]) -> Marks:
    names = ("boxes", "classes", "told")
    return Marks(*(torch.cat([getattr(mark, name) for mark in marks]) for name in names))


def number_loss(net: Reader, batch: tuple[Tensor, Marks]) -> Tensor:
    """Focal loss of the middles; classes, offsets and sizes at them."""
    pixels, marks = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        out = net(pixels)
    out = out.float()
    heat, classes, boxes, weight, judged = targets(marks, (out.shape[3], out.shape[2]))
    total = focal(out[:, 0], heat, judged)
    near = weight.sum().clamp(min=1)
    kind = F.cross_entropy(
        out[:, 1 : 1 + CHARACTERS], classes, reduction="none", label_smoothing=0.02
    )
    size = F.smooth_l1_loss(out[:, 1 + CHARACTERS :], boxes, reduction="none", beta=0.2).sum(1)
    return total + (kind * weight).sum() / near + (size * weight).sum() / near


def targets(marks: Marks, grid: tuple[int, int]) -> tuple[Tensor, ...]:
    """What each cell of a grid (columns, rows) should say.

    Returns the heat (B, H, W), 1 at middles; classes; offsets and log sizes (B, 4, H, W);
    the weight of both; and where the heat may be judged.
    """
    cols, rows = grid
    device = marks.boxes.device
    x = torch.arange(cols, device=device).view(1, 1, 1, -1)
    y = torch.arange(rows, device=device).view(1, 1, -1, 1)
    cells = marks.boxes / STRIDE
    cx, cy, w, h = (v[..., None, None] for v in cells.unbind(2))
    dx, dy = cx - (x + 0.5), cy - (y + 0.5)
    there = (marks.classes >= 0)[..., None, None]
    sx, sy = (0.16 * w).clamp(min=0.6), (0.16 * h).clamp(min=0.6)
    # The cell that holds the middle is 1 whatever the offset within it.
    inside = (dx.abs() <= 0.5) & (dy.abs() <= 0.5)
    bump = torch.exp(-0.5 * ((dx / sx) ** 2 + (dy / sy) ** 2)).clamp(max=0.98)
    bump = torch.where(inside, torch.ones_like(bump), bump)
    told = there & marks.told[..., None, None]
    heat, whose = (bump * told).max(1)
    unsure = there & ~marks.told[..., None, None]
    unsure = unsure & (dx.abs() < 0.6 * w + 0.5) & (dy.abs() < 0.6 * h + 0.5)
    judged = (~(unsure.any(1) & (heat < 1.0))).float()

    def of_whose(values: Tensor) -> Tensor:
        return values.gather(1, whose[:, None])[:, 0]

    shape = bump.shape
    classes = of_whose(marks.classes.clamp(min=0)[..., None, None].expand(shape))
    parts = [dx, dy, w.clamp(min=0.1).log(), h.clamp(min=0.1).log()]
    boxes = torch.stack([of_whose(part.expand(shape)) for part in parts], 1)
    weight = torch.where(heat > 0.45, heat, torch.zeros_like(heat))
    return heat, classes, boxes, weight, judged


def _heights(generator: torch.Generator, count: int, times: float) -> Tensor:
    """Heights of figures in pixels of the photo, all that may be read alike often."""
    low, high = max(_HEIGHT[0], _LEAST_PX * times), _HEIGHT[1]
    share = uniform((count,), generator)
    return torch.exp(share * float(np.log(high / low)) + float(np.log(low))) / times


def _rendered(
    pictures: Pictures,
    rows: Tensor,
    generator: torch.Generator,
    settings: Settings,
    bank: Bank,
    *,
    times: float,
) -> list[tuple[Tensor, Marks]]:
    """Windows on rendered cab sides: with their own number, or painted over and drawn anew."""
    count, device = len(rows), rows.device
    size = (round(WINDOW[0] / times), round(WINDOW[1] / times))
    quad = pictures.cab[rows]
    along = (quad[:, 0] - quad[:, 1]).norm(dim=1)[:, None, None]
    # Shared shift and each corner's own: what the poser's errors look like, seen from here.
    moved = normal((count, 1, 2), generator) * 0.02 + normal((count, 4, 2), generator) * 0.03
    side = torch.tensor(NUMBER_SIZE, device=device, dtype=torch.float32)
    to_picture = quad_transform(quad + moved * along * settings.jitter * settings.ease, NUMBER_SIZE)
    corners, classes = pictures.figures[rows], pictures.digits[rows]
    flat = through(torch.linalg.inv_ex(to_picture).inverse, corners.flatten(1, 2)).view(
        count, -1, 4, 2
    )
    known = (classes >= 0)[..., None]
    low = flat.amin(2).masked_fill(~known, 1e4).amin(1)
    high = flat.amax(2).masked_fill(~known, -1e4).amax(1)
    # A cab side without a number: any place, as if one stood there.
    bare = ~known.any(1)[:, 0]
    anywhere = (0.15 + 0.7 * uniform((count, 2), generator)) * side
    middle = torch.where(bare[:, None], anywhere, (low + high) / 2)
    own = torch.where(bare, 24.0 * torch.exp(0.3 * normal((count,), generator)), (high - low)[:, 1])
    tall = _heights(generator, count, times)
    extent = torch.where(bare, 2 * own, (high - low)[:, 0])
    tall = torch.minimum(tall, 0.95 * size[0] * own / extent.clamp(min=1.0))
    scale = (tall / own.clamp(min=1.0)).clamp(0.05, 4.0)
    shown = torch.tensor(size, device=device, dtype=torch.float32)
    half = torch.stack([extent, own], 1) * scale[:, None] / 2
    room = (shown - 2 * half).clamp(min=0)
    at = shown / 2 + (uniform((count, 2), generator) - 0.5) * room
    stretch = torch.exp((uniform((count,), generator) - 0.5) * 0.4)
    angle = normal((count,), generator).clamp(-2.5, 2.5) * 0.06
    cos, sin, zero, one = angle.cos(), angle.sin(), torch.zeros_like(angle), torch.ones_like(angle)
    turn = torch.stack([cos / stretch, sin, -sin / stretch, cos], 1).view(-1, 2, 2)
    turn = turn / scale[:, None, None]
    shift = middle - torch.einsum("bij,bj->bi", turn, at)
    upper = torch.cat([turn, shift[..., None]], 2)
    to_side = torch.cat([upper, torch.stack([zero, zero, one], 1)[:, None]], 1)
    window = to_picture @ to_side
    pixels = cut(pictures.pixels[rows], window, size, finer=2)
    inside = through(torch.linalg.inv_ex(window).inverse, corners.flatten(1, 2)).view(
        count, -1, 4, 2
    )
    marks = marks_of(inside, classes, size)
    filler = (0, figures.MOST - classes.shape[1])
    marks = Marks(
        F.pad(marks.boxes, (0, 0, *filler)),
        F.pad(classes, filler, value=-1),
        F.pad(marks.told, filler),
    )
    anew = uniform((count,), generator) < settings.drawn
    kept = [(pixels[~anew], Marks(marks.boxes[~anew], marks.classes[~anew], marks.told[~anew]))]
    if not bool(anew.any()):
        return kept
    hidden = (at[anew], half[anew] * 1.25 + 0.25 * tall[anew, None])
    return [*kept, drawn(generator, bank, pixels[anew], tall[anew], hidden=hidden)]


def _within(covered: Tensor, boxes: Tensor) -> Tensor:
    """Share of each box (B, K, 4), middle and size, that is covered (B, 1, H, W)."""
    steps = torch.tensor([-0.3, 0.0, 0.3], device=boxes.device)
    x = boxes[..., 0, None] + boxes[..., 2, None] * steps.repeat(3)
    y = boxes[..., 1, None] + boxes[..., 3, None] * steps.repeat_interleave(3)
    size = torch.tensor([covered.shape[3], covered.shape[2]], device=boxes.device)
    grid = torch.stack([x, y], -1) * 2.0 / size - 1.0
    taken = F.grid_sample(covered, grid, mode="nearest", align_corners=False)
    return taken[:, 0].mean(2)
