"""Shanks, bosses and joints of rods that only training draws."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc, box, lathe, rod, round_rect, span, tube

SHANKS = ("tapered", "deep", "thick", "wire", "slotted", "channel", "waisted")


def shank(style: str, length: float, h: float, t: float) -> list[Mesh]:
    """A rod of one of `SHANKS` along x from 0 to `length`; `h` high, `t` thick."""
    if style == "wire":
        return [tube([[0.0, 0.0, 0.0], [length, 0.0, 0.0]], max(0.2 * h, 0.02), 8)]
    if style == "deep":
        ends = [
            span((x, x + 0.16 * length), (-0.7 * t, 0.7 * t), (-h / 2, h / 2), 0.1 * t)
            for x in (0.0, 0.84 * length)
        ]
        rims = [
            span((0, length), (-0.7 * t, 0.7 * t), (z - 0.1 * h, z + 0.1 * h), 0.1 * t)
            for z in (-0.42 * h, 0.42 * h)
        ]
        return [*ends, *rims, box([length / 2, 0, 0], [length, 0.3 * t, 0.8 * h])]
    if style == "channel":
        lips = [
            span((0, length), (-0.2 * t, 0.6 * t), (z - 0.05 * h, z + 0.05 * h), 0.002)
            for z in (-0.5 * h, 0.5 * h)
        ]
        return [*lips, span((0, length), (-0.4 * t, -0.1 * t), (-h / 2, h / 2), 0.003)]
    if style == "thick":
        outline = round_rect((-0.6 * h, length + 0.6 * h), (-0.62 * h, 0.62 * h), 0.6 * h, 5)
        return [prism(outline, (-0.9 * t, 0.9 * t), bevel=0.3 * t)]
    if style == "slotted":
        outline = round_rect((-0.6 * h, length + 0.6 * h), (-0.6 * h, 0.6 * h), 0.58 * h, 4)
        slot = round_rect((0.14 * length, 0.86 * length), (-0.2 * h, 0.2 * h), 0.19 * h, 3)
        return [prism(outline, (-0.4 * t, 0.4 * t), holes=[slot])]
    ends_h = {"tapered": (0.72, 0.56, 0.42), "waisted": (0.66, 0.4, 0.66)}[style]
    along = np.array([0.0, 0.5, 1.0]) * length
    top = [(float(x), 0.5 * h * 1.4 * k) for x, k in zip(along, ends_h, strict=True)]
    low = [(x, -z) for x, z in top]
    return [prism(low + top[::-1], (-t / 2, t / 2), bevel=0.15 * t)]


def boss(style: str, h: float, t: float) -> list[Mesh]:
    """The end of a rod round its pin, at the origin: "square", "cups" or "flat"."""
    pin = rod(0.3 * h, 0, 0.9 * t, "y", 10)
    if style == "square":
        block = box([0, 0, 0], [1.7 * h, 1.25 * t, 1.75 * h], 0.15 * t)
        return [block, pin, box([0, 0, 0.95 * h], [0.5 * h, 0.9 * t, 0.3 * h], 0.01)]
    if style == "flat":
        return [rod(0.75 * h, -0.3 * t, 0.3 * t, "y", 16), rod(0.5 * h, 0, 0.7 * t, "y", 6)]
    eye = lathe(
        [(-0.6 * t, 0), (-0.6 * t, h), (0.6 * t, h), (0.7 * t, 0.8 * h), (0.7 * t, 0)], "y", 16
    )
    cup = lathe(
        [(0.8 * h, 0.28 * h), (1.45 * h, 0.28 * h), (1.5 * h, 0.2 * h), (1.6 * h, 0.0)], "z", 10
    )
    return [eye, pin, cup]


def knuckled(
    pins: Sequence[NDArray[np.float64]],
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Ends (p, q) of the pieces of a coupling rod that is jointed beside its middle pins."""
    cuts = [pins[0]]
    for here, after in itertools.pairwise(pins[1:]):
        cuts.append(here + 0.17 * (after - here))
    cuts.append(pins[-1])
    return list(itertools.pairwise(cuts))


def strip(
    pins: Sequence[NDArray[np.float64]], *, y: float, h: float, t: float, slotted: bool
) -> list[Mesh]:
    """One long pressed strip over all pins, with a slot between any two of them or none."""
    x0, x1, z = float(pins[-1][0]), float(pins[0][0]), float(pins[0][1])
    r = 0.62 * h
    half = np.pi / 2
    outline = arc(x1, z, r, -half, half, 6) + arc(x0, z, r, half, 3 * half, 6)
    slots = [
        round_rect((float(b[0]) + 1.6 * h, float(a[0]) - 1.6 * h), (z - 0.22 * h, z + 0.22 * h), h)
        for a, b in itertools.pairwise(pins)
        if a[0] - b[0] > 4.5 * h
    ]
    plate = prism(outline, (y - 0.35 * t, y + 0.35 * t), holes=slots if slotted else [])
    heads = [
        lathe([(0, 0.6 * h), (0.8 * t, 0.55 * h), (1.0 * t, 0.3 * h), (1.0 * t, 0)], "y", 14)
        for _ in pins
    ]
    return [plate, *(m.moved(float(p[0]), y, z) for m, p in zip(heads, pins, strict=True))]
