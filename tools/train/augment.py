"""Photometric and occluding changes to a batch of crops, on the card.

Strong augmentation is the first ingredient that carries rendered pictures over to real
ones. Each change hits a random part of the batch, with its own strength per picture.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional as F

_SMEARED_SHARE = 0.5  # of the blurs: half of these by motion, half out of focus
_TAPS = 21
# Cells of fog's wisps across half a crop, and the share of each size; how thick fog gets, and
# how much of the light is its at most.
_WISPS = ((2, 0.4), (4, 0.35), (9, 0.25))
_THICKEST, _MOST_HAZE = 1.6, 0.85
_GRAINY_ROWS = 0.25  # of a batch that has grain
# Search window in pixels and strength, of the range 0 to 1: OpenCV's, which counts lightness
# and colour apart, comes out alike at two thirds of this one.
_GRAIN_SEARCH, _GRAIN_STRENGTH = 9, 60.0 / 255.0


def _some(batch: Tensor, share: float, generator: torch.Generator) -> Tensor:
    chosen = torch.rand(len(batch), device=batch.device, generator=generator) < share
    return chosen.to(batch.dtype).view(-1, 1, 1, 1)


def _uniform(batch: Tensor, low: float, high: float, generator: torch.Generator) -> Tensor:
    drawn = torch.rand(len(batch), 1, 1, 1, device=batch.device, generator=generator)
    return (low + (high - low) * drawn).to(batch.dtype)


def photometric(
    batch: Tensor, generator: torch.Generator, *, strength: float = 1.0, widest: float = 2.4
) -> Tensor:
    """Light, colour, blur, noise and JPEG blocks over RGB in 0..1, shape (B, 3, H, W).

    `widest` is the largest standard deviation of the blur, in pixels.
    """
    # Halves on a card: these passes are bound by memory, and 11 bits exceed a photo's 8.
    kind = batch.dtype
    batch = batch.half() if batch.is_cuda else batch
    batch = _light(batch, generator, strength)
    batch = _colour(batch, generator, strength)
    batch = _blur(batch, generator, strength, widest)
    batch = _noise(batch, generator, strength)
    return _blocks(batch, generator, strength).clamp(0, 1).to(kind)


def _light(batch: Tensor, generator: torch.Generator, strength: float) -> Tensor:
    gamma = torch.exp(_uniform(batch, -0.6, 0.6, generator) * strength)
    batch = batch.clamp(1e-4, 1) ** gamma
    gain = torch.exp(_uniform(batch, -0.45, 0.45, generator) * strength)
    mean = batch.mean(dim=(1, 2, 3), keepdim=True)
    contrast = torch.exp(_uniform(batch, -0.5, 0.4, generator) * strength)
    batch = ((batch - mean) * contrast + mean) * gain
    # A slope of light across the picture: a window at one side, a lamp at the other.
    rows, cols = batch.shape[2:]
    x = torch.linspace(-1, 1, cols, device=batch.device, dtype=batch.dtype).view(1, 1, 1, -1)
    y = torch.linspace(-1, 1, rows, device=batch.device, dtype=batch.dtype).view(1, 1, -1, 1)
    slope = (
        _uniform(batch, -0.35, 0.35, generator) * x + _uniform(batch, -0.35, 0.35, generator) * y
    )
    batch = batch * (1 + slope * _some(batch, 0.5, generator) * strength)
    haze = _haze(batch, generator) * _some(batch, 0.15, generator) * strength
    return batch * (1 - haze) + haze * _uniform(batch, 0.5, 1.0, generator)


def _haze(batch: Tensor, generator: torch.Generator) -> Tensor:
    """How much of the light is fog's, (B, 1, H, W): in wisps, most of it at most."""
    like = {"device": batch.device, "dtype": batch.dtype, "generator": generator}
    size, total = batch.shape[2:], torch.zeros_like(batch[:, :1])
    for cells, share in _WISPS:
        wisps = torch.rand(len(batch), 1, cells, 2 * cells, **like)
        total = total + share * F.interpolate(wisps, size=size, mode="bilinear")
    return (total * _uniform(batch, 0.0, _THICKEST, generator)).clamp(max=_MOST_HAZE)


def _colour(batch: Tensor, generator: torch.Generator, strength: float) -> Tensor:
    drawn = torch.rand(len(batch), 3, 1, 1, device=batch.device, generator=generator)
    batch = batch * torch.exp((drawn - 0.5) * 0.5 * strength).to(batch.dtype)
    grey = _brightness(batch)
    saturation = _uniform(batch, 1 - 0.7 * strength, 1 + 0.7 * strength, generator)
    saturation = saturation * (1 - _some(batch, 0.1, generator))
    batch = grey + (batch - grey) * saturation
    # Turning the hue of paint: a network must not learn that engines are black and green.
    angle = _uniform(batch, -math.pi, math.pi, generator) * _some(batch, 0.35, generator) * strength
    cos, sin = torch.cos(angle).view(-1, 1, 1), torch.sin(angle).view(-1, 1, 1)
    third = batch.new_full((3, 3), 1 / 3)
    root = math.sqrt(1 / 3)
    cross = batch.new_tensor([[0, -root, root], [root, 0, -root], [-root, root, 0]])
    turn = (
        cos * torch.eye(3, device=batch.device, dtype=batch.dtype) + (1 - cos) * third + sin * cross
    )
    return torch.einsum("bij,bjhw->bihw", turn, batch)


def _brightness(batch: Tensor) -> Tensor:
    return (batch * batch.new_tensor([0.299, 0.587, 0.114]).view(1, 3, 1, 1)).sum(1, keepdim=True)


def coarsened(
    batch: Tensor, generator: torch.Generator, *, share: float, most: float = 4.0
) -> Tensor:
    """Take detail out of some crops: what is left of a part that is small in its photo.

    One factor a batch, up to `most` pixels of the crop for one of the photo's.
    """
    factor = 1.0 + (most - 1.0) * float(torch.rand((), device=batch.device, generator=generator))
    rows, cols = batch.shape[2:]
    size = (max(8, round(rows / factor)), max(8, round(cols / factor)))
    small = F.interpolate(batch, size=size, mode="area")
    coarse = F.interpolate(small, size=(rows, cols), mode="bilinear", align_corners=False)
    return torch.where(_some(batch, share, generator) > 0, coarse, batch)


def _blur(batch: Tensor, generator: torch.Generator, strength: float, widest: float) -> Tensor:
    # One width a batch, another the next: separate filters per picture cost more than they give.
    drawn = float(torch.rand((), device=batch.device, generator=generator))
    sigma = 0.5 + (widest - 0.5) * drawn**2
    kind = float(torch.rand((), device=batch.device, generator=generator))
    if kind < _SMEARED_SHARE:  # motion, or a lens out of focus: both have edges a bell has not
        offsets = _line(sigma, kind) if kind < _SMEARED_SHARE / 2 else _disk(sigma)
        chosen = _some(batch, 0.35 * strength, generator)
        return torch.where(chosen > 0, _smeared(batch, offsets), batch)
    reach = math.ceil(2.2 * widest)
    axis = torch.arange(-reach, reach + 1, device=batch.device, dtype=batch.dtype)
    kernel = torch.exp(-(axis**2) / (2 * sigma**2))
    kernel = (kernel / kernel.sum()).view(1, 1, 1, -1)
    # What lies beyond a crop is more of the same, not darkness.
    wide = F.pad(batch, (reach, reach, reach, reach), mode="replicate")
    flat = wide.flatten(0, 1)[:, None]
    blurred = F.conv2d(F.conv2d(flat, kernel), kernel.transpose(2, 3)).view_as(batch)
    chosen = _some(batch, 0.35 * strength, generator)
    # Unsharp masking, the halo a phone draws round everything, takes the same filter.
    amount = _uniform(batch, 0.2, 1.6, generator) * _some(batch, 0.3, generator) * strength
    return batch + torch.where(chosen > 0, chosen, -amount) * (blurred - batch)


def _line(sigma: float, drawn: float) -> list[tuple[int, int]]:
    """Steps (x, y) of a hand's movement in any direction, `sigma` its standard deviation."""
    angle = 2 * math.pi * drawn / _SMEARED_SHARE
    half = math.sqrt(3.0) * sigma
    along = [half * (2 * n / (_TAPS - 1) - 1) for n in range(_TAPS)]
    return [(round(a * math.cos(angle)), round(a * math.sin(angle))) for a in along]


def _disk(sigma: float) -> list[tuple[int, int]]:
    """Steps (x, y) evenly over a disk: sunflower seeds (Vogel 1979)."""
    golden = math.pi * (3.0 - math.sqrt(5.0))
    radii = [2.0 * sigma * math.sqrt((n + 0.5) / _TAPS) for n in range(_TAPS)]
    return [
        (round(r * math.cos(golden * n)), round(r * math.sin(golden * n)))
        for n, r in enumerate(radii)
    ]


def _smeared(batch: Tensor, offsets: list[tuple[int, int]]) -> Tensor:
    """The mean of the batch moved by each offset."""
    reach = max(max(abs(x), abs(y)) for x, y in offsets)
    wide = F.pad(batch, (reach, reach, reach, reach), mode="replicate")
    rows, cols = batch.shape[2:]
    total = torch.zeros_like(batch)
    for x, y in offsets:
        total += wide[:, :, reach + y : reach + y + rows, reach + x : reach + x + cols]
    return total / len(offsets)


def _noise(batch: Tensor, generator: torch.Generator, strength: float) -> Tensor:
    level = (
        _uniform(batch, 0.0, 0.09, generator) ** 1.5 * 2 * _some(batch, 0.5, generator) * strength
    )
    like = {"device": batch.device, "dtype": batch.dtype, "generator": generator}
    noise = torch.randn(batch.shape, **like)
    coarse = torch.randn(len(batch), 3, batch.shape[2] // 2, batch.shape[3] // 2, **like)
    noise = noise + F.interpolate(coarse, size=batch.shape[2:], mode="bilinear")
    return batch + noise * level


def _blocks(batch: Tensor, generator: torch.Generator, strength: float) -> Tensor:
    """Quantise 8 by 8 cosine blocks as JPEG does (ITU-T T.81, table K.1 for brightness)."""
    # Rows come in random order: the first ones are as good a choice as any, and the rest is spared.
    chosen = round(0.35 * strength * len(batch))
    if chosen == 0:
        return batch
    batch, rest = _colour_halved(batch[:chosen], generator), batch[chosen:]
    table = batch.new_tensor(_K1).view(8, 8) / 255.0
    k = torch.arange(8, device=batch.device, dtype=batch.dtype)
    basis = torch.cos((2 * k[None, :] + 1) * k[:, None] * math.pi / 16) * 0.5
    basis[0] *= math.sqrt(0.5)
    count, channels, rows, cols = batch.shape
    tiles = (
        (batch - 0.5).view(count, channels, rows // 8, 8, cols // 8, 8).permute(0, 1, 2, 4, 3, 5)
    )
    # Rows and columns in turn, always as one tall product: small batched ones crawl.
    cosines = ((tiles @ basis.T).transpose(4, 5) @ basis.T).transpose(4, 5)
    step = table * torch.exp(_uniform(batch, -1.5, 1.3, generator)).view(-1, 1, 1, 1, 1, 1)
    cosines = torch.round(cosines / step) * step
    tiles = ((cosines @ basis).transpose(4, 5) @ basis).transpose(4, 5)
    coded = tiles.permute(0, 1, 2, 4, 3, 5).reshape(batch.shape) + 0.5
    return torch.cat([coded, rest])


def _colour_halved(batch: Tensor, generator: torch.Generator) -> Tensor:
    """Half of the pictures with colour at half the resolution, as JPEG mostly keeps it.

    What differs in hue more than in brightness loses its edges (the 4:2:0 sampling of
    JFIF, ITU-T T.871, which phones and scanners write).
    """
    bright = _brightness(batch)
    coarse = F.interpolate(F.avg_pool2d(batch - bright, 2), scale_factor=2.0, mode="bilinear")
    return torch.where(_some(batch, 0.5, generator) > 0, bright + coarse, batch)


def grainy(
    batch: Tensor, generator: torch.Generator, *, share: float, strongest: float = 0.2
) -> Tensor:
    """Strong grain over some pictures, averaged away as far as `without_grain` does it.

    What it leaves is patchy: a judge that never saw that takes patches for parts. Only every
    so many batches have any, since like patches are dear to find.

    Parameters
    ----------
    batch : Tensor, (B, 3, H, W), 0 to 1
    share : float
        Of all pictures.
    strongest : float
        Largest standard deviation of the grain; severity 3 of ImageNet-C has 0.18
        (Hendrycks and Dietterich 2019).
    """
    # Rows come in random order.
    chosen = round(_GRAINY_ROWS * len(batch))
    often = float(torch.rand((), device=batch.device, generator=generator))
    if chosen == 0 or often >= share / _GRAINY_ROWS:
        return batch
    kind = batch.dtype
    some = batch[:chosen].half() if batch.is_cuda else batch[:chosen]
    like = {"device": some.device, "dtype": some.dtype, "generator": generator}
    level = _uniform(some, 0.03, strongest, generator)
    some = (some + torch.randn(some.shape, **like) * level).clamp(0, 1)
    return torch.cat([evened(some).to(kind), batch[chosen:]])


def evened(batch: Tensor) -> Tensor:
    """Like patches near by averaged, about as OpenCV's `fastNlMeansDenoisingColored` does it."""
    reach = _GRAIN_SEARCH // 2
    wide = F.pad(batch, (reach, reach, reach, reach), mode="reflect")
    rows, cols = batch.shape[2:]
    total, weights = torch.zeros_like(batch), torch.zeros_like(batch[:, :1])
    for y in range(_GRAIN_SEARCH):
        for x in range(_GRAIN_SEARCH):
            moved = wide[:, :, y : y + rows, x : x + cols]
            unlike = ((batch - moved) ** 2).mean(1, keepdim=True)
            unlike = F.avg_pool2d(unlike, 3, 1, 1, count_include_pad=False)
            weight = torch.exp(-unlike / _GRAIN_STRENGTH**2)
            total += weight * moved
            weights += weight
    return total / weights


_K1 = (
    [16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55]
    + [14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62]
    + [18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92]
    + [49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99]
)  # fmt: skip


def patches(
    batch: Tensor, generator: torch.Generator, *, share: float, largest: float
) -> tuple[Tensor, Tensor]:
    """Lay a rectangle of another picture of the batch over some pictures.

    Returns the batch and the covered pixels (B, 1, H, W) as 0 or 1: a finger, a box
    corner, a price tag. `largest` bounds its sides as a share of the crop's.
    """
    count, _, rows, cols = batch.shape
    other = batch[torch.randperm(count, device=batch.device, generator=generator)].flip(3)
    tint = torch.rand(count, 3, 1, 1, device=batch.device, generator=generator)
    plain = _some(batch, 0.5, generator)
    cover = plain * (0.25 * other + 0.75 * tint) + (1 - plain) * other
    drawn = torch.rand(4, count, 1, 1, 1, device=batch.device, generator=generator)
    x = torch.arange(cols, device=batch.device).view(1, 1, 1, -1) / cols
    y = torch.arange(rows, device=batch.device).view(1, 1, -1, 1) / rows
    half_w, half_h = drawn[0] * largest / 2 + 0.03, drawn[1] * max(largest, 0.5) / 2 + 0.05
    inside = ((x - drawn[2]).abs() < half_w) & ((y - drawn[3]).abs() < half_h)
    covered = inside.float() * _some(batch, share, generator)
    return batch * (1 - covered) + cover * covered, covered
