"""Cab sides and roofs that only training draws."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc

Loop = list[tuple[float, float]]
ROOFS = {"turtle": 0.3, "clerestory": 0.16, "wrapped": 0.62}
"""Rise of the roof, in half widths."""


def side(style: str, lay: Layout, mid: float) -> tuple[Loop, float]:
    """Outline (x, z) of the cab side, and x where its closed part begins.

    `mid` is the height of the lower panel's top.
    """
    a, b, z0, z1 = lay.cab_rear, lay.cab_front, lay.board_z, lay.roof_z
    w = b - a
    start = [(a, z0), (b, z0), (b, z1)]
    if style == "swept":  # its rear edge rises to the roof in one sweep
        sweep = [
            (float(a + 0.5 * w * (1 - np.cos(u))), float(mid + (z1 - mid) * np.sin(u)))
            for u in np.linspace(0.0, np.pi / 2, 9)
        ]
        return [*start, *sweep[::-1]], a + 0.5 * w
    # An awning: closed in front alone, the roof on pillars behind.
    low, split = z0 + 0.4 * (z1 - z0), a + 0.55 * w
    corner = arc(split - 0.15, low + 0.15, 0.15, -np.pi / 2, 0.0, 4)
    return [*start, (split, z1), *corner[::-1], (a, low)], split


STYLES = ("swept", "awning")


def roof_line(style: str, half: float, z: float) -> Loop:
    """Section (y, z) of a roof of another radius at the sides than on top, from -y to +y."""
    rise, power = ROOFS[style] * half, 0.5 if style == "turtle" else 0.75
    t = np.linspace(0, np.pi, 21)
    y = -half * np.sign(np.cos(t)) * np.abs(np.cos(t)) ** power
    return [(float(u), float(z + rise * v)) for u, v in zip(y, np.sin(t), strict=True)]


def printed_frames(holes: Sequence[Loop], y: float) -> list[Mesh]:
    """Frames round the windows as lithographed tin has them, on the plane `y`."""
    out = []
    for hole in holes:
        p = np.array(hole)
        mid, size = 0.5 * (p.min(0) + p.max(0)), float(np.ptp(p, axis=0).min())
        wide = mid + (p - mid) * (1.0 + 0.16)
        if size > 0.1:
            out.append(prism(wide, (y - 0.002, y + 0.006), holes=[p]))
    return out
