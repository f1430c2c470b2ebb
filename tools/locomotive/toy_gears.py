"""Extra linkages as toys have them: strips, wires, one casting; only training draws them."""

from __future__ import annotations

import itertools

import numpy as np

from tools.locomotive.gears import Anchors, at
from tools.locomotive.prisms import prism
from tools.locomotive.rods import Point, bar
from tools.locomotive.solids import Mesh, bend, rod, round_rect, tube


def _lug(a: Anchors, p: Point, *, k: float = 1.0) -> Mesh:
    """A sheet lug bent down from the running board to the pivot p."""
    return bar(at(float(p[0]) + 0.02, a.under), p, y=a.y - 0.03, h=1.3 * k * a.h, t=0.03)


def pressed_strip(a: Anchors) -> list[Mesh]:
    """One strip of tinplate with slots, from the crank pin to a lug before the cylinder."""
    end = at(a.ahead - 0.04, min(a.under - 0.1, float(a.axle[1]) + 1.1 * a.half))
    length = float(np.linalg.norm(end - a.pin))
    angle = float(np.arctan2(end[1] - a.pin[1], end[0] - a.pin[0]))
    w = 0.75 * a.h
    outline = round_rect((-1.2 * w, length + 1.2 * w), (-w, w), 0.9 * w, 4)
    marks = np.linspace(0.1, 0.9, 4)
    slots = [
        round_rect((p * length, q * length - 0.05), (-0.4 * w, 0.4 * w), 0.35 * w)
        for p, q in itertools.pairwise(marks)
        if (q - p) * length > 0.1
    ]
    sheet = prism(outline, (-0.012, 0.012), holes=slots).turned("y", -angle)
    return [
        sheet.moved(float(a.pin[0]), a.y, float(a.pin[1])),
        rod(0.8 * w, a.lay.rod_y, a.y + 0.03, "y", 10).moved(float(a.pin[0]), 0, float(a.pin[1])),
        rod(0.6 * w, a.y - 0.05, a.y + 0.03, "y", 10).moved(float(end[0]), 0, float(end[1])),
        _lug(a, end),
    ]


def moulded(a: Anchors) -> list[Mesh]:
    """Link, rods and brackets cast as one thick plate, raised ribs where the rods would be."""
    x, z = map(float, a.link)
    foot = at(x, z - a.half)
    valve = at(a.ahead + 0.06, z)
    plate = [
        (x - 0.7 * a.half, a.under + 0.05),
        (x + 0.5 * a.half, a.under + 0.05),
        (float(valve[0]), z + 0.09),
        (float(valve[0]), z - 0.05),
        (x + 0.3 * a.half, z - 0.2 * a.half),
        (x + 0.12, float(foot[1]) - 0.06),
        (x - 0.12, float(foot[1]) - 0.06),
        (x - 0.45 * a.half, z + 0.1 * a.half),
    ]
    thick = max(1.6 * a.t, 0.07)
    ribs = [
        bar(a.reach, foot, y=a.y + 0.02, h=1.3 * a.h, t=1.6 * a.t, style="thick", eyes=False),
        bar(a.link, valve, y=a.y + 0.03, h=a.h, t=1.3 * a.t, style="thick", eyes=False),
        bar(foot, a.link, y=a.y + 0.04, h=1.2 * a.h, t=1.3 * a.t, style="thick", eyes=False),
    ]
    drop = bar(
        *(at(float(a.cross[0]) + 0.1, z), a.cross + [0.06, -0.3 * a.half]),
        y=a.y + 0.01,
        h=a.h,
        t=1.4 * a.t,
        style="thick",
        eyes=False,
    )
    plate_mesh = prism(plate, (a.y - 0.5 * thick, a.y + 0.3 * thick), bevel=0.02)
    return [*a.crank(), plate_mesh, *ribs, *([drop] if a.s.linkage_rods >= 4 else [])]


def drop_link(a: Anchors) -> list[Mesh]:
    """A pendulum link below the board, a thin wire from its foot to the crank pin."""
    x = float(a.pin[0] + 0.62 * (a.ahead - a.pin[0]))
    pivot = at(x, a.under - 0.05)
    foot = at(x - 0.05, min(float(pivot[1]) - 0.9 * a.half, float(a.axle[1]) + 0.3))
    wire = [bar(a.pin, foot, y=a.y + 0.03, h=a.h, t=a.t, style="wire", ends="flat")]
    if a.s.linkage_rods >= 4:
        middle = 0.5 * (pivot + foot)
        ahead = at(a.ahead + 0.1, float(middle[1]) + 0.05)
        wire.append(bar(middle, ahead, y=a.y + 0.03, h=a.h, t=a.t, style="wire"))
        wire += a.seat(ahead)
    pin = rod(0.4 * a.h, a.lay.rod_y, a.y + 0.05, "y", 10)
    return [
        bar(pivot, foot, y=a.y, h=1.2 * a.h, t=a.t, style="waisted"),
        _lug(a, pivot),
        pin.moved(float(a.pin[0]), 0, float(a.pin[1])),
        *wire,
    ]


def bent_wire(a: Anchors) -> list[Mesh]:
    """Everything bent from wire: from the pin up to an eye below the board and on ahead."""
    r = float(np.clip(0.24 * a.h, 0.022, 0.04))
    eye = at(float(a.pin[0] + 0.6 * (a.ahead - a.pin[0])), a.under - 0.08)
    knee = at(float(eye[0]) - 0.06, float(eye[1]) - 0.7 * a.half)
    end = at(a.ahead + 0.08, float(eye[1]) - 0.12)

    def wire(points: list[Point], dy: float) -> Mesh:
        path = [[float(p[0]), a.y + dy, float(p[1])] for p in points]
        return tube(bend(path, 0.09), r, 8)

    turn = np.linspace(0.0, 2 * np.pi, 15)
    ring = [
        at(float(a.pin[0]) + 2.6 * r * np.cos(u), float(a.pin[1]) + 2.6 * r * np.sin(u))
        for u in turn
    ]
    loop = tube([[float(p[0]), a.y, float(p[1])] for p in ring], r, 8)
    pin = rod(1.9 * r, a.lay.rod_y, a.y + 2 * r, "y", 10)
    return [
        wire([a.pin, knee, eye], 0.0),
        wire([knee, at(float(knee[0]) + 0.2, float(knee[1]) + 0.04), end], 0.04),
        tube([[float(eye[0]), a.y, a.under + 0.02], [float(eye[0]), a.y, float(eye[1])]], r, 8),
        loop,
        *a.seat(end),
        pin.moved(float(a.pin[0]), 0, float(a.pin[1])),
    ]
