"""Wheel centres and balance weights that only training draws; the axis is y."""

from __future__ import annotations

import numpy as np

from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc, join, lathe, rod

CENTRES = ("thick", "pressed", "boxed", "solid", "wire", "embossed", "kidney")
BALANCES = ("sector", "chord", "round", "rim")


def _blades(d: float, width: float, count: int, start: float, *, w: tuple[float, float]) -> Mesh:
    """Spokes `w` wide at hub and rim, in driver diameters."""
    r0, r1 = 0.08 * d, 0.5 * d - max(0.07 * d, 0.045)
    outline = [(r0, -w[0] * d / 2), (r1, -w[1] * d / 2), (r1, w[1] * d / 2), (r0, w[0] * d / 2)]
    blade = prism(outline, (-0.35 * width, 0.32 * width), bevel=0.2 * w[1] * d)
    return join([blade.turned("y", start + 2 * np.pi * k / count) for k in range(count)])


def _pierced(
    d: float, width: float, count: int, start: float, *, at: tuple[float, float], share: float
) -> Mesh:
    """A plate with ring segments cut out between the radii `at` (in diameters)."""
    r = 0.5 * d - 0.045
    half = share * np.pi / count
    cuts = []
    for a in start + 2 * np.pi * (np.arange(count) + 0.5) / count:
        outer = arc(0, 0, at[1] * d, a - half, a + half, 5)
        narrow = half * (0.75 if share > 0.6 else 1.0)
        cuts.append(outer + arc(0, 0, at[0] * d, a + narrow, a - narrow, 5))
    disc = arc(0, 0, r, 0, 2 * np.pi, 36)[:-1]
    return prism(disc, (-0.25 * width, 0.25 * width), holes=cuts)


def centre(style: str, d: float, width: float, count: int, start: float) -> Mesh:
    """What fills a wheel of one of `CENTRES` between hub and rim."""
    r = 0.5 * d - 0.045
    if style == "thick":
        return _blades(d, width, max(count // 2, 5), start, w=(0.1, 0.075))
    if style == "wire":
        return _blades(d, width, count + 6, start, w=(0.02, 0.014))
    if style == "boxed":
        return _pierced(d, width, max(count // 2, 5), start, at=(0.17, 0.38), share=0.55)
    if style == "kidney":
        return _pierced(d, width, 4, start, at=(0.2, 0.34), share=0.72)
    if style == "pressed":
        # A shallow tin cup: holes in its bottom, a rolled lip.
        r1 = 0.3 * d
        cuts = [
            arc(r1 * np.cos(a), r1 * np.sin(a), 0.065 * d, 0, 2 * np.pi, 10)[:-1]
            for a in start + 2 * np.pi * np.arange(6) / 6
        ]
        disc = prism(arc(0, 0, r, 0, 2 * np.pi, 36)[:-1], (-0.12 * width, 0.0), holes=cuts)
        lip = lathe([(0.0, 0.86 * r), (0.45 * width, 0.9 * r), (0.45 * width, r)], "y", 36)
        return join([disc, lip])
    if style == "embossed":
        # A cast disc on which spokes stand out in relief.
        disc = lathe([(-0.2 * width, r), (0.1 * width, r), (0.1 * width, 0.0)], "y", 36)
        return join([disc, _blades(d, 0.9 * width, count, start, w=(0.045, 0.03))])
    profile = [
        (-0.2 * width, r),
        (0.3 * width, r),
        (0.34 * width, 0.86 * r),
        (0.02 * width, 0.82 * r),
        (0.02 * width, 0.55 * r),
        (0.16 * width, 0.5 * r),
        (0.16 * width, 0.42 * r),
        (0.05 * width, 0.36 * r),
        (0.05 * width, 0.0),
    ]
    return lathe(profile, "y", 36)


def weight(style: str, d: float, width: float, angle: float) -> Mesh:
    """A balance weight of one of `BALANCES`, centred on `angle` (from +x towards +z)."""
    r = 0.5 * d - 0.06
    depth = (-0.15 * width, 0.36 * width)
    if style == "round":
        disc = rod(0.15 * d, *depth, "y", 18)
        return disc.moved(0.62 * r * np.cos(angle), 0, 0.62 * r * np.sin(angle))
    if style == "sector":
        shape = arc(0, 0, r, angle - 0.7, angle + 0.7, 10) + arc(
            0, 0, 0.3 * r, angle + 0.7, angle - 0.7, 4
        )
    elif style == "rim":
        shape = arc(0, 0, r, angle - 1.3, angle + 1.3, 14) + arc(
            0, 0, 0.82 * r, angle + 1.3, angle - 1.3, 14
        )
    else:
        shape = arc(0, 0, r, angle - 1.15, angle + 1.15, 14)
    return prism(shape, depth, bevel=0.05 * width)
