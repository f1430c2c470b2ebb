"""Whistles, safety valves and bells in shapes that only training draws."""

from __future__ import annotations

from tools.locomotive.prisms import prism, ribbon
from tools.locomotive.solids import Mesh, bend, box, lathe, rod, tube

BELL_HALF = {"cradle": 0.2, "arch": 0.2, "pedestal": 0.2}
"""Half of what a bell takes along the boiler, metres of the full-size engine."""


def _pop(r: float, h: float) -> Mesh:
    return lathe(
        [(-0.05, r), (0.45 * h, r), (0.5 * h, 0.8 * r), (0.95 * h, 0.7 * r), (h, 0.45 * r), (h, 0)],
        "z",
        14,
    )


def whistle(style: str, unit: float) -> list[Mesh]:
    """A whistle round the origin; `unit` is half of the boiler's radius."""
    if style == "squat":
        h = 0.42 * unit
        p = [(0, 0.07), (0.3 * h, 0.07), (0.34 * h, 0.1), (0.9 * h, 0.1), (h, 0.07), (h, 0)]
        return [lathe(p, "z", 14)]
    cups = []
    for y, tall in ((-0.17, 0.62), (0.0, 0.5), (0.17, 0.4)):
        h = tall * unit
        p = [(0.06, 0.05), (0.3 * h, 0.05), (0.32 * h, 0.075), (0.95 * h, 0.075), (h, 0.05), (h, 0)]
        cups.append(lathe(p, "z", 12).moved(y=y))
    return [*cups, box([0, 0, 0.04], [0.16, 0.5, 0.14], 0.02)]


def valves(style: str, unit: float) -> list[Mesh]:
    """Safety valves round the origin."""
    if style == "lockup":
        h = 0.55 * unit
        base = box([0, 0, 0.03], [0.38, 0.34, 0.12], 0.02)
        p = [(0, 0.16), (0.7 * h, 0.15), (0.72 * h, 0.18), (0.9 * h, 0.18), (h, 0.1), (h, 0)]
        return [base, lathe(p, "z", 18)]
    if style == "bridge":
        h = 0.5 * unit
        columns = [_pop(0.085, h).moved(x=x) for x in (-0.11, 0.11)]
        base = box([0, 0, 0.02], [0.39, 0.24, 0.1], 0.02)
        return [base, *columns, box([0, 0, 0.82 * h], [0.34, 0.06, 0.06], 0.012)]
    if style == "lidded":
        h = 0.6 * unit
        body = box([0, 0, 0.5 * h - 0.05], [0.28, 0.34, h + 0.1], 0.03)
        lid = box([0, 0, h], [0.36, 0.42, 0.06], 0.02)
        return [body, lid, rod(0.05, h, h + 0.08, "z", 12)]
    if style == "trumpet":
        h = 0.8 * unit
        p = [(-0.1, 0.19), (0.1 * h, 0.17), (0.35 * h, 0.11), (0.7 * h, 0.11), (0.92 * h, 0.16)]
        return [lathe([*p, (h, 0.19), (h, 0.13), (0.8 * h, 0.09)], "z", 22)]
    disc = lathe([(-0.06, 0.19), (0.07, 0.19), (0.09, 0.17), (0.09, 0)], "z", 20)
    spots = ((0.08, 0.0), (-0.05, 0.08), (-0.05, -0.08))
    return [disc, *(_pop(0.06, 0.34 * unit).moved(x, y, 0.09) for x, y in spots)]


VALVES = ("lockup", "bridge", "lidded", "trumpet", "cluster")
WHISTLES = ("squat", "chime")


def bell_stand(style: str, x: float, z: float, top: float) -> list[Mesh]:
    """What carries a bell whose crown is at height `top` over the boiler's top `z`."""
    low = z - 0.06
    if style == "cradle":
        outline = [(x - 0.19, low), (x + 0.19, low), (x + 0.05, top + 0.06), (x - 0.05, top + 0.06)]
        cheeks = [prism(outline, (y - 0.02, y + 0.02), bevel=0.006) for y in (-0.25, 0.25)]
        return [*cheeks, rod(0.03, -0.27, 0.27, "y", 10).moved(x, 0, top)]
    if style == "arch":
        path = [
            [-0.27, low],
            [-0.25, top - 0.06],
            [0.0, top + 0.08],
            [0.25, top - 0.06],
            [0.27, low],
        ]
        return [prism(ribbon(bend(path, 0.16), 0.04), (x - 0.08, x + 0.08), "yz")]
    post = lathe([(low, 0.19), (z + 0.05, 0.15), (z + 0.08, 0.1), (top - 0.3, 0.07)], "z", 16)
    fork = [
        [x, -0.23, top - 0.08],
        [x, -0.2, top - 0.44],
        [x, 0.2, top - 0.44],
        [x, 0.23, top - 0.08],
    ]
    return [
        post.moved(x),
        tube(bend(fork, 0.1), 0.035, 8),
        rod(0.03, -0.25, 0.25, "y").moved(x, 0, top - 0.06),
    ]
