"""One training step of the cab number's reader."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional as F

from tools.train import figures
from tools.train.augment import patches, photometric
from tools.train.mixing import normal, uniform
from tools.train.networks import CHARACTERS, NUMBER_SIZE, Reader
from tools.train.pictures import Pictures, cut, quad_transform, through
from tools.train.settings import Settings

WINDOW = (128, 64)  # what the reader is shown at a time, pixels of the straightened cab side
STRIDE = 4
# Pixels of the photo that come to one of the crop: small figures are enlarged to be read.
# The window divided by each is a multiple of 8, as the JPEG blocks want it.
_ENLARGED = (1.0, 4 / 3, 2.0, 8 / 3)
_HEIGHT = (12.0, 50.0)  # of figures in the crop, pixels
_LEAST_PX = 5.0  # of figures in the photo; below, nobody can tell and nothing is taught
_MOST_WIDE = 1.5  # width over height; figures stretched further are seen from almost behind
_BARE = 0.12  # share of windows without a character
_DRAWINGS, _GROUNDS = 2000, 300
_FRESH = 4  # drawings and, now and then, a ground replaced at each step


@dataclass
class Marks:
    """Characters of a batch: middle x, y, width, height in window pixels, and class.

    Attributes
    ----------
    boxes : Tensor, (B, K, 4)
    classes : Tensor, (B, K)
        -1 where there is none.
    told : Tensor, (B, K), bool
        False for what may be a character or not: hidden, cut off, too small.
    """

    boxes: Tensor
    classes: Tensor
    told: Tensor


class Bank:
    """Drawings and grounds on the device, some of them replaced at every step."""

    def __init__(self, device: torch.device, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        drawn = [figures.draw(self._rng) for _ in range(_DRAWINGS)]
        self.layers = torch.from_numpy(np.stack([d.layers for d in drawn])).to(device)
        self.boxes = torch.from_numpy(np.stack([d.boxes for d in drawn])).to(device)
        self.classes = torch.from_numpy(np.stack([d.classes for d in drawn])).to(device)
        grounds = np.stack([self._ground() for _ in range(_GROUNDS)])
        self.grounds = torch.from_numpy(grounds).permute(0, 3, 1, 2).contiguous().to(device)

    def renew(self) -> None:
        """Draw a few anew."""
        for index in self._rng.integers(0, _DRAWINGS, _FRESH):
            drawing = figures.draw(self._rng)
            self.layers[index] = torch.from_numpy(drawing.layers)
            self.boxes[index] = torch.from_numpy(drawing.boxes)
            self.classes[index] = torch.from_numpy(drawing.classes)
        index = int(self._rng.integers(0, _GROUNDS))
        self.grounds[index] = torch.from_numpy(self._ground()).permute(2, 0, 1)

    def _ground(self) -> np.ndarray:
        return figures.ground(self._rng, (2 * WINDOW[0], 2 * WINDOW[1]))


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
            canvas = _grounds(generator, bank, many, small)
            pieces.append(_drawn(generator, bank, canvas, tall))
        if many < len(part):
            pieces += _rendered(pictures, part[many:], generator, settings, bank, times=times)
        batch = torch.cat([piece for piece, _ in pieces])
        mark = _joined([mark for _, mark in pieces])
        mark.told &= mark.boxes[..., 3] >= _LEAST_PX
        share = settings.patches * settings.ease
        batch, covered = patches(batch, generator, share=share, largest=0.35)
        batch = photometric(batch, generator, strength=settings.photometric * settings.ease)
        mark.told &= _within(covered, mark.boxes) < 0.4
        pixels.append(F.interpolate(batch, size=WINDOW[::-1], mode="bilinear"))
        mark.boxes *= times
        marks.append(mark)
    return torch.cat(pixels), _joined(marks)


def _joined(marks: list[Marks]) -> Marks:
    names = ("boxes", "classes", "told")
    return Marks(*(torch.cat([getattr(mark, name) for mark in marks]) for name in names))


def number_loss(net: Reader, batch: tuple[Tensor, Marks]) -> Tensor:
    """Focal loss of the middles; classes, offsets and sizes at them.

    The focal loss of Law and Deng 2018 (CornerNet, equation 1), its exponents too.
    """
    pixels, marks = batch
    with torch.autocast("cuda", torch.bfloat16, enabled=pixels.is_cuda):
        out = net(pixels)
    out = out.float()
    heat, classes, boxes, weight, judged = targets(marks, (out.shape[3], out.shape[2]))
    logit = out[:, 0]
    p = torch.sigmoid(logit)
    middle = (heat >= 1.0).float()
    error = -middle * (1 - p) ** 2 * F.logsigmoid(logit)
    error = error - (1 - middle) * (1 - heat) ** 4 * p**2 * F.logsigmoid(-logit)
    count = (middle * judged).sum().clamp(min=1)
    total = (error * judged).sum() / count
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
    drawn = uniform((count,), generator) * float(np.log(high / low)) + float(np.log(low))
    return torch.exp(drawn) / times


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
    flat = through(torch.linalg.inv(to_picture), corners.flatten(1, 2)).view(count, -1, 4, 2)
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
    inside = through(torch.linalg.inv(window), corners.flatten(1, 2)).view(count, -1, 4, 2)
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
    return [*kept, _drawn(generator, bank, pixels[anew], tall[anew], hidden=hidden)]


def _drawn(
    generator: torch.Generator,
    bank: Bank,
    canvas: Tensor,
    tall: Tensor,
    *,
    hidden: tuple[Tensor, Tensor] | None = None,
) -> tuple[Tensor, Marks]:
    """Drawings with figures `tall` pixels high painted on a canvas (B, 3, H, W).

    What stands on the canvas already, by middle and half size, is painted over.
    """
    count, _, height, width = canvas.shape
    size, device = (width, height), bank.layers.device
    pick = torch.randint(len(bank.layers), (count,), device=device, generator=generator)
    layers, boxes, classes = bank.layers[pick], bank.boxes[pick], bank.classes[pick]
    bare = uniform((count,), generator) < _BARE
    layers = layers * (~bare).view(-1, 1, 1, 1)
    classes = classes.masked_fill(bare[:, None], -1)
    stretch = torch.exp((uniform((count,), generator) - 0.5) * 0.6)
    extent = boxes[..., 2].amax(1) - boxes.masked_fill(boxes < 0, 1e3)[..., 0].amin(1)
    # Long numbers must fit, or most of their figures would never be seen.
    tall = torch.minimum(tall, 1.05 * width / (extent * stretch / figures.TALL))
    scale = tall / figures.TALL
    half = torch.stack([extent * scale * stretch, tall], 1) / 2
    limit = torch.tensor([width, height], device=device, dtype=torch.float32)
    room = (limit - 2 * half).clamp(min=0)
    middle = limit / 2 + (uniform((count, 2), generator) - 0.5) * room * 1.05
    if hidden is not None:
        middle = torch.minimum(torch.maximum(hidden[0], half), torch.maximum(limit - half, half))
    to_window = quad_transform(_quads(generator, count, middle, scale, stretch), figures.SIZE)
    warped = cut(layers, torch.linalg.inv(to_window), size, finer=2)
    batch = _painted(generator, canvas, warped, middle, half, hidden)
    corners = torch.stack(
        [boxes[..., [0, 1]], boxes[..., [2, 1]], boxes[..., [2, 3]], boxes[..., [0, 3]]], 2
    )
    moved = through(to_window, corners.flatten(1, 2)).view(count, -1, 4, 2)
    marks = marks_of(moved, classes, size)
    return batch, Marks(marks.boxes, classes, marks.told)


def marks_of(corners: Tensor, classes: Tensor, size: tuple[int, int]) -> Marks:
    """Marks from corners (B, K, 4, 2) clockwise from the top left, as the figure reads."""
    middle = corners.mean(2)
    wide = ((corners[:, :, 1] - corners[:, :, 0]).norm(dim=2)
            + (corners[:, :, 2] - corners[:, :, 3]).norm(dim=2)) / 2  # fmt: skip
    tall = ((corners[:, :, 3] - corners[:, :, 0]).norm(dim=2)
            + (corners[:, :, 2] - corners[:, :, 1]).norm(dim=2)) / 2  # fmt: skip
    boxes = torch.cat([middle, wide[..., None], tall[..., None]], 2)
    limit = torch.tensor(size, device=corners.device, dtype=corners.dtype)
    inside = ((middle - 0.4 * boxes[..., 2:] > 0) & (middle + 0.4 * boxes[..., 2:] < limit)).all(2)
    return Marks(boxes, classes, inside & (wide < _MOST_WIDE * tall))


def _quads(
    generator: torch.Generator, count: int, middle: Tensor, scale: Tensor, stretch: Tensor
) -> Tensor:
    """Where the corners of drawings come to lie: turned, slanted, seen at an angle."""
    half = torch.tensor(figures.SIZE, device=middle.device, dtype=torch.float32) / 2
    signs = torch.tensor([[-1.0, -1], [1, -1], [1, 1], [-1, 1]], device=middle.device)
    corners = (signs * half)[None] * scale[:, None, None]
    across, down = corners[..., 0] * stretch[:, None], corners[..., 1]
    angle = normal((count, 1), generator).clamp(-2.5, 2.5) * 0.08
    slant = normal((count, 1), generator).clamp(-2.5, 2.5) * 0.08
    across = across + slant * down
    turned = torch.stack(
        [across * angle.cos() - down * angle.sin(), across * angle.sin() + down * angle.cos()], 2
    )
    # A nearer end is larger: one factor for the left corners, its inverse for the right.
    near = torch.exp(normal((count, 1, 1), generator).clamp(-2, 2) * 0.08 * signs[None, :, :1])
    return middle[:, None] + turned * near


def _grounds(generator: torch.Generator, bank: Bank, count: int, size: tuple[int, int]) -> Tensor:
    """Pieces of grounds, enlarged or not, mirrored half the time."""
    device = bank.grounds.device
    rows, cols = bank.grounds.shape[2:]
    pick = torch.randint(len(bank.grounds), (count,), device=device, generator=generator)
    scale = torch.exp(uniform((count,), generator) * 1.4 - 0.7)
    wide, tall = (size[0] * scale).clamp(max=cols), (size[1] * scale).clamp(max=rows)
    left = uniform((count,), generator) * (cols - wide)
    top = uniform((count,), generator) * (rows - tall)
    mirror = uniform((count,), generator) < 0.5
    x0, x1 = torch.where(mirror, left + wide, left), torch.where(mirror, left, left + wide)
    quad = torch.stack(
        [
            torch.stack([x0, top], 1),
            torch.stack([x1, top], 1),
            torch.stack([x1, top + tall], 1),
            torch.stack([x0, top + tall], 1),
        ],
        1,
    )
    return cut(bank.grounds[pick], quad_transform(quad, size), size)


def _painted(
    generator: torch.Generator,
    canvas: Tensor,
    layers: Tensor,
    middle: Tensor,
    half: Tensor,
    hidden: tuple[Tensor, Tensor] | None,
) -> Tensor:
    """The layers laid over the canvas in drawn colours; the side they stand on is plain."""
    count, _, rows, cols = canvas.shape
    device = canvas.device
    x = torch.arange(cols, device=device).view(1, 1, 1, -1) + 0.5
    y = torch.arange(rows, device=device).view(1, 1, -1, 1) + 0.5
    grown = half[:, :, None] + half[:, 1, None, None] * (
        0.3 + 2.5 * uniform((count, 2, 2), generator) ** 2
    )
    left, right = (middle[:, 0] - grown[:, 0, 0], middle[:, 0] + grown[:, 0, 1])
    top, bottom = (middle[:, 1] - grown[:, 1, 0], middle[:, 1] + grown[:, 1, 1])
    left, right, top, bottom = (v.view(-1, 1, 1, 1) for v in (left, right, top, bottom))
    panel = ((x > left) & (x < right) & (y > top) & (y < bottom)).float()
    panel = panel * (uniform((count, 1, 1, 1), generator) < 0.85)
    panel = panel * (0.55 + 0.45 * uniform((count, 1, 1, 1), generator).sqrt())
    if hidden is not None:
        off = [(x, hidden[0][:, 0], hidden[1][:, 0]), (y, hidden[0][:, 1], hidden[1][:, 1])]
        near = [((v - m.view(-1, 1, 1, 1)).abs() < h.view(-1, 1, 1, 1)) for v, m, h in off]
        panel = torch.maximum(panel, (near[0] & near[1]).float())
    side = _colour(generator, count, uniform((count, 1, 1, 1), generator) ** 1.7)
    out = canvas * (1 - panel) + side * panel
    # What the figures stand on: their plate where there is one, or else the side.
    plated = (layers[:, 2:3].mean((1, 2, 3), keepdim=True) > 1e-3).float()
    plate = _colour(generator, count, uniform((count, 1, 1, 1), generator))
    under = plated * plate + (1 - plated) * (panel.amax((2, 3), keepdim=True) * side
        + (1 - panel.amax((2, 3), keepdim=True)) * canvas.mean((2, 3), keepdim=True))  # fmt: skip
    level = under.mean(1, keepdim=True)
    # Far enough in brightness from what is under it, towards the side with more room.
    least = 0.1 + 0.25 * uniform((count, 1, 1, 1), generator)
    up = uniform((count, 1, 1, 1), generator) < 1 - level
    reach = uniform((count, 1, 1, 1), generator)
    lighter = level + least + (1 - level - least).clamp(min=0) * reach
    darker = level - least - (level - least).clamp(min=0) * reach
    ink = _colour(generator, count, torch.where(up, lighter, darker).clamp(0, 1))
    contrary = torch.where(up, level * 0.4 * reach, level + (1 - level) * reach)
    shade = _colour(generator, count, contrary.clamp(0, 1))
    rim = torch.where(
        uniform((count, 1, 1, 1), generator) < 0.6,
        ink,
        _colour(generator, count, uniform((count, 1, 1, 1), generator)),
    )
    ink, rim, plate = _cast(generator, plated, (ink, rim, plate))
    for index, colour in ((2, plate), (3, rim), (1, shade), (0, ink)):
        cover = layers[:, index : index + 1]
        out = out * (1 - cover) + colour * cover
    return out.clamp(0, 1)


def _cast(
    generator: torch.Generator, plated: Tensor, colours: tuple[Tensor, Tensor, Tensor]
) -> tuple[Tensor, Tensor, Tensor]:
    """Some plates cast in brass: figures and rim of one metal, the ground red or dark.

    Brass on red differs more in hue than in brightness, which drawn colours seldom do.
    """
    count, like = len(plated), plated
    chosen = (uniform((count, 1, 1, 1), generator) < 0.35) & (plated > 0)
    metal = like.new_tensor([0.85, 0.62, 0.28]).view(1, 3, 1, 1)
    grounds = like.new_tensor([[0.6, 0.09, 0.06], [0.05, 0.05, 0.05], [0.1, 0.2, 0.12]])
    which = torch.randint(3, (count,), device=like.device, generator=generator)
    light = torch.exp(0.35 * normal((count, 1, 1, 1), generator))
    drift = 1 + 0.12 * normal((count, 3, 1, 1), generator)
    brass = (metal * light * drift).clamp(0, 1)
    field = (grounds[which].view(count, 3, 1, 1) * light.sqrt() * drift.flip(1)).clamp(0, 1)
    ink, rim, plate = colours
    return (
        torch.where(chosen, brass, ink),
        torch.where(chosen, brass, rim),
        torch.where(chosen, field, plate),
    )


def _colour(generator: torch.Generator, count: int, level: Tensor) -> Tensor:
    """Colours (B, 3, 1, 1) of the brightness given, grey to vivid."""
    tint = uniform((count, 3, 1, 1), generator) - 0.5
    tint = tint - tint.mean(1, keepdim=True)
    vivid = uniform((count, 1, 1, 1), generator) ** 1.5
    return (level + tint * vivid * (0.3 + level)).clamp(0, 1)


def _within(covered: Tensor, boxes: Tensor) -> Tensor:
    """Share of each box (B, K, 4), middle and size, that is covered (B, 1, H, W)."""
    steps = torch.tensor([-0.3, 0.0, 0.3], device=boxes.device)
    x = boxes[..., 0, None] + boxes[..., 2, None] * steps.repeat(3)
    y = boxes[..., 1, None] + boxes[..., 3, None] * steps.repeat_interleave(3)
    size = torch.tensor([covered.shape[3], covered.shape[2]], device=boxes.device)
    grid = torch.stack([x, y], -1) * 2.0 / size - 1.0
    taken = F.grid_sample(covered, grid, mode="nearest", align_corners=False)
    return taken[:, 0].mean(2)
