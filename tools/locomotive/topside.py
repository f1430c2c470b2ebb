"""What stands on the boiler: chimney, domes, whistle, bell, valves, lamps, and the lever."""

from __future__ import annotations

import numpy as np

from tools.locomotive.boiler import top_at
from tools.locomotive.casing import nose_length
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.profiles import CHIMNEYS as MORE_CHIMNEYS
from tools.locomotive.profiles import DOMES as MORE_DOMES
from tools.locomotive.profiles import LONG_DOMES
from tools.locomotive.solids import Mesh, arc, join, lathe, rod, round_rect
from tools.locomotive.spec import LocomotiveSpec

CHIMNEYS: dict[str, list[tuple[float, float]]] = {
    # (height, radius) in chimney heights and chimney radii
    "stovepipe": [
        (0, 1.25),
        (0.12, 1.02),
        (0.9, 1.0),
        (0.92, 1.1),
        (1, 1.1),
        (1, 0.82),
        (0.8, 0.8),
    ],
    "capped": [
        (0, 1.45),
        (0.1, 1.15),
        (0.2, 1.0),
        (0.78, 0.95),
        (0.84, 1.2),
        (0.9, 1.32),
        (0.97, 1.3),
        (1, 1.12),
        (1, 0.85),
        (0.8, 0.8),
    ],
    "flared": [
        (0, 1.5),
        (0.1, 1.1),
        (0.25, 0.92),
        (0.6, 0.98),
        (0.88, 1.2),
        (0.95, 1.3),
        (1, 1.3),
        (1, 1.05),
        (0.8, 0.95),
    ],
    "short": [(0, 1.5), (0.25, 1.15), (0.8, 1.1), (0.9, 1.25), (1, 1.2), (1, 0.9), (0.7, 0.85)],
    "double": [(0, 1.3), (0.2, 1.0), (0.8, 1.0), (0.86, 1.2), (1, 1.15), (1, 0.85), (0.8, 0.8)],
    "slit": [(0, 1.6), (0.6, 1.45), (1, 1.3), (1, 1.0), (0.5, 0.95)],
    "diamond": [
        (0, 1.2),
        (0.08, 0.85),
        (0.4, 0.8),
        (0.45, 0.9),
        (0.7, 2.0),
        (0.74, 2.0),
        (0.96, 1.2),
        (1, 1.2),
        (1, 1.0),
        (0.8, 0.9),
    ],
    "balloon": [
        (0, 1.2),
        (0.08, 0.9),
        (0.3, 0.85),
        (0.55, 1.5),
        (0.75, 2.0),
        (0.88, 2.1),
        (0.95, 1.95),
        (1, 1.5),
        (1, 1.2),
        (0.9, 1.1),
    ],
    "tall": [
        (0, 1.3),
        (0.05, 1.0),
        (0.9, 0.88),
        (0.92, 1.1),
        (0.97, 1.15),
        (1, 1.0),
        (1, 0.8),
        (0.9, 0.75),
    ],
    "crown": [
        (0, 1.4),
        (0.06, 1.0),
        (0.84, 0.85),
        (0.87, 1.05),
        (0.9, 0.95),
        (0.96, 1.45),
        (1, 1.5),
        (1, 1.2),
        (0.9, 0.8),
    ],
    "bellmouth": [
        (0, 1.3),
        (0.05, 0.95),
        (0.8, 0.85),
        (0.92, 1.15),
        (0.98, 1.55),
        (1, 1.5),
        (1, 1.3),
        (0.85, 0.8),
    ],
    **MORE_CHIMNEYS,
}

DOMES: dict[str, list[tuple[float, float]]] = {
    "round": [
        (-0.3, 1.15),
        (0.0, 1.02),
        (0.1, 0.97),
        *((0.45 + 0.55 * np.sin(a), 0.95 * np.cos(a)) for a in np.linspace(0, np.pi / 2, 8)),
    ],
    "tall": [
        (-0.3, 1.2),
        (0.0, 0.95),
        (0.15, 0.8),
        (0.9, 0.78),
        *((1.0 + 0.4 * np.sin(a), 0.78 * np.cos(a)) for a in np.linspace(0.1, np.pi / 2, 6)),
    ],
    "flat": [
        (-0.3, 1.1),
        (0.0, 1.03),
        (0.45, 1.0),
        (0.58, 0.95),
        (0.66, 0.8),
        (0.7, 0.5),
        (0.71, 0),
    ],
    "ringed": [
        (-0.3, 1.2),
        (0.0, 1.1),
        (0.06, 1.1),
        (0.1, 0.88),
        (0.55, 0.86),
        (0.6, 0.98),
        (0.66, 0.98),
        (0.7, 0.85),
        (0.85, 0.7),
        (0.95, 0.4),
        (1.0, 0.18),
        (1.08, 0.12),
        (1.12, 0),
    ],
    "square_base": [
        (-0.3, 1.3),
        (0.12, 1.3),
        (0.16, 1.2),
        (0.2, 0.85),
        (0.6, 0.8),
        (0.66, 0.95),
        (0.7, 0.95),
        (0.82, 0.75),
        (0.95, 0.35),
        (1.0, 0),
    ],
    "urn": [
        (-0.3, 1.2),
        (0.0, 0.9),
        (0.1, 0.7),
        (0.5, 0.9),
        (0.85, 0.95),
        (0.95, 0.7),
        (1.2, 0.35),
        (1.4, 0.3),
        (1.42, 0),
    ],
    "boxy": [(-0.3, 1.0), (0.5, 1.0), (0.62, 0.9), (0.66, 0)],
    **MORE_DOMES,
}


def chimney_x(s: LocomotiveSpec, lay: Layout) -> float:
    """x of the chimney."""
    if s.casing != "none":
        return lay.front - nose_length(s, lay) - 0.15
    return 0.52 * lay.smoke_rear + 0.48 * lay.smoke_front


def add_chimney(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The chimney in its style; a double one is two funnels in line."""
    x, r = chimney_x(s, lay), max(s.chimney_r * lay.boiler_r, 0.13)
    base = top_at(s, lay, x)
    h = s.chimney_h * lay.boiler_r
    sink = 0.3 * r * r / lay.boiler_r + 0.03
    profile = [(base - sink + a * (h + sink), b * r) for a, b in CHIMNEYS[s.chimney]]
    mesh = lathe(profile, "z", 30)
    if s.chimney == "oblong":
        kit.add("chimney", "chimney", mesh.stretched(1.6, 0.72).moved(x))
        bore = rod(0.8 * r, base, base + 0.86 * h).stretched(1.6, 0.72)
        kit.add("chimney", "soot", bore.moved(x))
        return
    at = (-0.9 * r, 0.9 * r) if s.chimney == "double" else (0.0,)
    kit.add("chimney", "chimney", *(mesh.moved(x + dx) for dx in at))
    kit.add("chimney", "soot", *(rod(0.8 * r, base, base + 0.86 * h).moved(x + dx) for dx in at))
    if s.chimney in ("capped", "crown") and s.chimney_color in ("copper", "brass"):
        top = [(a, b) for a, b in profile if a > base + 0.8 * h]
        kit.add(
            "chimney", s.chimney_color, lathe([(a, b + 0.006) for a, b in top], "z", 30).moved(x)
        )


def stand_points(s: LocomotiveSpec, lay: Layout) -> list[tuple[float, str]]:
    """x and kind ("dome", "sand") of the domes between smokebox and cab."""
    kinds = ["dome"] * s.domes
    if s.sand_box != "none":
        kinds.insert(0 if s.domes < 2 else 1, "sand")
    a, b = lay.cab_front + 0.25, lay.smoke_rear - 0.1
    if s.casing != "none":
        b = chimney_x(s, lay) - 0.8
    n = len(kinds)
    return [
        (b - (b - a) * (k + 0.75) / (n + 0.35) + s.dome_shift * (b - a), kind)
        for k, kind in enumerate(kinds)
    ]


def dome_half(s: LocomotiveSpec, lay: Layout, kind: str) -> float:
    """Half of what a dome or sand box takes along the boiler, metres."""
    half = LONG_DOMES.get(s.dome_style, 1.25) if kind == "dome" else 1.25
    return half * s.dome_r * lay.boiler_r


def _long_dome(style: str, r: float, h: float, sink: float) -> Mesh:
    """A dome lengthwise to the boiler, its foot at the origin."""
    if style == "twin":  # two domes on one base
        one = [(a * h if a >= 0 else -sink, 0.72 * b * r) for a, b in DOMES["round"]]
        pair = [lathe(one, "z", 26).moved(x=sign * r) for sign in (-1, 1)]
        outline = round_rect((-1.85 * r, 1.85 * r), (-0.8 * r, 0.8 * r), 0.8 * r, 6)
        return join([*pair, prism(outline, (-sink, 0.22 * h), "xy", bevel=0.05 * h)])
    if style == "drum":
        ends = [(-2.2 * r, 0), (-2.15 * r, 0.45 * h), (-2.0 * r, 0.62 * h), (2.0 * r, 0.62 * h)]
        body = lathe([*ends, (2.15 * r, 0.45 * h), (2.2 * r, 0)], "x", 28)
        return body.stretched(y=min(0.7 * r / (0.62 * h), 1.2)).moved(z=0.25 * h)
    # A hood: high at the front, running out into the boiler behind.
    along = np.linspace(-2.05 * r, 1.2 * r, 15)
    t = (along + 2.05 * r) / (3.25 * r)
    rise = np.maximum(np.sin(np.pi * t**1.7).clip(0.0) ** 0.7, 0.03)
    body = lathe(list(zip(along, rise, strict=True)), "x", 28)
    return body.stretched(y=0.8 * r, z=h + sink).moved(z=-sink)


def add_domes(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Steam domes and sand boxes."""
    for x, kind in stand_points(s, lay):
        base, r = top_at(s, lay, x), s.dome_r * lay.boiler_r
        h = s.dome_h * lay.boiler_r * (1.0 if kind == "dome" else 0.8)
        sink = 0.5 * r * r / lay.boiler_r
        if kind == "sand" and s.sand_box == "saddle":
            w = lay.radius(x) + 0.05
            outline = arc(0, lay.boiler_z, w, 0.9, np.pi - 0.9, 12) + [
                (-0.5 * w, base + 0.6 * h),
                (0.5 * w, base + 0.6 * h),
            ]
            kit.add("sand_dome", "body", prism(outline, (x - r, x + r), "yz", bevel=0.03))
            continue
        if kind == "dome" and s.dome_style in LONG_DOMES:
            kit.add("dome", "dome", _long_dome(s.dome_style, r, h, sink).moved(x, 0.0, base))
            continue
        if kind == "dome" and s.dome_style == "boxy":
            kit.add(
                "dome",
                "dome",
                prism(
                    round_rect((x - 1.3 * r, x + 1.3 * r), (base - 0.5, base + 0.7 * h), 0.25 * r),
                    (-r, r),
                    bevel=0.1 * r,
                ),
            )
            continue
        style = (
            s.dome_style
            if kind == "dome"
            else ("flat" if s.dome_style in ("round", *LONG_DOMES) else s.dome_style)
        )
        profile = [(base + a * h if a >= 0 else base - sink, b * r) for a, b in DOMES[style]]
        kit.add(
            "dome" if kind == "dome" else "sand_dome",
            "dome" if kind == "dome" else "body",
            lathe(profile, "z", 30).moved(x),
        )
