"""Drawings of numbers painted onto windows, and where their characters then are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor

from tools.train import figures
from tools.train.mixing import normal, uniform
from tools.train.pictures import cut, quad_transform, through

# Width over height; figures stretched further are seen from almost behind.
_MOST_WIDE = 1.5
_BARE = 0.12  # share of drawings left out, for windows without a character
_DRAWINGS, _GROUNDS = 2000, 300
_GROUND_SIZE = (256, 128)
_FRESH = 4  # drawings replaced at each step, and one ground


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
        drawings = [figures.draw(self._rng) for _ in range(_DRAWINGS)]
        self.layers = torch.from_numpy(np.stack([d.layers for d in drawings])).to(device)
        self.boxes = torch.from_numpy(np.stack([d.boxes for d in drawings])).to(device)
        self.classes = torch.from_numpy(np.stack([d.classes for d in drawings])).to(device)
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
        return figures.ground(self._rng, _GROUND_SIZE)


def drawn(
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
    warped = cut(layers, torch.linalg.inv_ex(to_window).inverse, size, finer=2)
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


def ground_pieces(
    generator: torch.Generator, bank: Bank, count: int, size: tuple[int, int]
) -> Tensor:
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
    chosen = (uniform((count, 1, 1, 1), generator) < 0.5) & (plated > 0)
    metal = like.new_tensor([0.85, 0.62, 0.28]).view(1, 3, 1, 1)
    grounds = like.new_tensor(
        [[0.6, 0.09, 0.06], [0.6, 0.15, 0.08], [0.05, 0.05, 0.05], [0.1, 0.2, 0.12]]
    )
    which = torch.randint(4, (count,), device=like.device, generator=generator)
    light = torch.exp(0.35 * normal((count, 1, 1, 1), generator))
    drift = 1 + 0.12 * normal((count, 3, 1, 1), generator)
    brass = (metal * light * drift).clamp(0, 1)
    # A lit plate is as bright as figures in shade: then hue alone tells them apart.
    lit = torch.exp(0.7 * uniform((count, 1, 1, 1), generator))
    field = (grounds[which].view(count, 3, 1, 1) * light.sqrt() * lit * drift.flip(1)).clamp(0, 1)
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
