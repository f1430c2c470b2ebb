"""Coupling and main rods, cylinders, and the extra linkage outside them."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.cylinders import cylinder, guides
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.rod_shapes import SHANKS, boss, knuckled, shank, strip
from tools.locomotive.solids import Mesh, box, join, lathe, rod, span, tube
from tools.locomotive.spec import LocomotiveSpec

Point = NDArray[np.float64]


def bar(
    p: Point,
    q: Point,
    *,
    y: float,
    h: float,
    t: float,
    style: str = "plain",
    eyes: bool = True,
    ends: str = "round",
) -> Mesh:
    """A rod between two pins p and q (x, z) in the plane y; `h` high, `t` thick."""
    p, q = np.asarray(p, float), np.asarray(q, float)
    length = float(np.linalg.norm(q - p))
    angle = float(np.arctan2(q[1] - p[1], q[0] - p[0]))
    parts: list[Mesh] = []
    if style == "round":
        parts.append(tube([[0, 0, 0], [length, 0, 0]], 0.42 * h, 10))
    elif style == "fish":
        top = [
            (length * k, 0.5 * h * (0.62 + 0.62 * np.sin(np.pi * k))) for k in np.linspace(0, 1, 9)
        ]
        parts.append(prism([(a, -b) for a, b in top] + top[::-1], (-t / 2, t / 2), bevel=0.15 * t))
    elif style == "fluted":
        parts.append(box([length / 2, -0.1 * t, 0], [length, 0.5 * t, h * 0.98], 0.003))
        for side in (-1, 1):
            parts.append(box([length / 2, 0, side * 0.36 * h], [length, t, 0.26 * h], 0.08 * t))
    elif style in SHANKS:
        parts += shank(style, length, h, t)
    else:
        parts.append(box([length / 2, 0, 0], [length, t, h], 0.12 * t))
    if eyes and ends != "round":
        parts += [m.moved(x) for x in (0.0, length) for m in boss(ends, h, t)]
    elif eyes:
        grow = 0.95 if style != "stamped" else 0.75
        eye = lathe(
            [
                (-0.55 * t, 0),
                (-0.55 * t, grow * h),
                (0.5 * t, grow * h),
                (0.62 * t, 0.85 * h * grow),
                (0.62 * t, 0),
            ],
            "y",
            16,
        )
        pin = rod(0.42 * h, 0, 0.95 * t, "y", 10)
        parts += [m.moved(x) for x in (0.0, length) for m in (eye, pin)]
    turned = join(parts).turned("y", -angle)
    return turned.moved(p[0], y, p[1])


def crank_pin(lay: Layout, x: float, phase: float) -> Point:
    """Pin (x, z) of the driver whose axle is at x."""
    return np.array([x + lay.crank * np.cos(phase), lay.wheel_d / 2 + lay.crank * np.sin(phase)])


def main_axle(s: LocomotiveSpec, lay: Layout) -> int:
    """Index of the driver that the main rod turns: far enough from the crosshead."""
    want = min(s.main_driver, len(lay.drivers) - 1)
    rear = lay.cylinder_x - lay.cylinder_len / 2
    while want < len(lay.drivers) - 1 and rear - lay.drivers[want] < 4.4 * lay.crank:
        want += 1
    return want


def crosshead(s: LocomotiveSpec, lay: Layout, pin: Point) -> Point:
    """Crosshead pin (x, z): the rod's length keeps the piston inside the cylinder."""
    axle = np.array([lay.drivers[main_axle(s, lay)], lay.wheel_d / 2])
    middle = lay.cylinder_x - lay.cylinder_len / 2 - lay.crank - 0.12
    length = max(middle - axle[0], 1.6 * lay.crank)
    rise = float(pin[1] - lay.cylinder_z * 0.5 - 0.5 * axle[1])
    x = pin[0] + np.sqrt(max(length**2 - rise**2, 0.0))
    slope = (lay.cylinder_z - axle[1]) / max(lay.cylinder_x - axle[0], 0.5)
    return np.array([x, lay.cylinder_z - slope * (lay.cylinder_x - x)])


def quartered(phase: float) -> tuple[tuple[str, float], ...]:
    return (("left", phase), ("right", phase + np.pi / 2))


def add_rods(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Coupling rods and, with outside cylinders, main rods and motion."""
    h, t = s.rod_h * lay.wheel_d, 0.055
    for side, phase in quartered(s.crank_phase):
        pins = [crank_pin(lay, x, phase) for x in lay.drivers]
        meshes = _coupling(s, pins, y=lay.rod_y, h=h, t=t)
        if len(pins) == 1:
            meshes.append(
                rod(0.06, lay.rod_y - 0.1, lay.rod_y + 0.03, "y").moved(pins[0][0], 0, pins[0][1])
            )
        if s.outside_frame:
            meshes += [_outside_crank(lay, x, p) for x, p in zip(lay.drivers, pins, strict=True)]
        if s.cylinders == "outside":
            meshes += _motion(s, lay, pins[main_axle(s, lay)], h=h, t=t)
        kit.add("rods", "rods", *(m if side == "left" else m.mirrored() for m in meshes), side=side)
    if s.cylinders == "outside":
        if s.cylinder_style == "lagged":
            kit.pair("cylinder", "body", *_cylinder(s, lay))
            kit.pair("cylinder", "rods", *_covers(s, lay))
        else:
            for material, meshes in cylinder(s, lay).items():
                kit.pair("cylinder", material, *(_tilted(s, lay, m) for m in meshes))
        if s.tail_rod:
            front = lay.cylinder_len / 2
            tail = rod(0.055, front, front + lay.crank + 0.15, "x", 10)
            kit.pair("cylinder", "rods", _tilted(s, lay, tail))


def _coupling(s: LocomotiveSpec, pins: list[Point], *, y: float, h: float, t: float) -> list[Mesh]:
    """Coupling rods: a piece between any two pins, one strip over all, or jointed pieces."""
    if s.coupling in ("strip", "slotted") and len(pins) > 1:
        return strip(pins, y=y, h=h, t=t, slotted=s.coupling == "slotted")
    if s.coupling == "knuckle" and len(pins) > 2:
        pieces = knuckled(pins)
        round_pin = [bar(p, p + [1e-3, 0.0], y=y, h=h, t=t, ends=s.rod_boss) for p in pins]
        return round_pin + [
            bar(b, a, y=y, h=h, t=t, style=s.rod_style, ends="flat") for a, b in pieces
        ]
    return [
        bar(b, a, y=y, h=h, t=t, style=s.rod_style, ends=s.rod_boss)
        for a, b in itertools.pairwise(pins)
    ]


def _outside_crank(lay: Layout, x: float, pin: Point) -> Mesh:
    y = lay.rod_y - 0.08
    return bar(np.array([x, lay.wheel_d / 2]), pin, y=y, h=0.17, t=0.07, eyes=True)


def _motion(s: LocomotiveSpec, lay: Layout, pin: Point, *, h: float, t: float) -> list[Mesh]:
    """Main rod, crosshead, slide bars and piston rod of the left side."""
    y = lay.cylinder_y
    cross = crosshead(s, lay, pin)
    rear = lay.cylinder_x - lay.cylinder_len / 2
    away = np.array([rear, lay.cylinder_z - 0.02])
    style = s.rod_style if s.main_rod == "same" else s.main_rod
    meshes = [bar(pin, cross, y=y, h=1.05 * h, t=1.2 * t, style=style, ends=s.rod_boss)]
    meshes.append(tube([[cross[0], y, cross[1]], [away[0] + 0.1, y, away[1]]], 0.03, 8))
    if s.crosshead != "block":
        return meshes + guides(s, lay, cross, y)
    return meshes + _guides(s, lay, cross, y)


def _guides(s: LocomotiveSpec, lay: Layout, cross: Point, y: float) -> list[Mesh]:
    """Crosshead, slide bars and what carries their rear ends: false friends of a linkage."""
    tall, gap, bar_h = {
        "plain": (0.19, 0.13, 0.05),
        "one": (0.3, 0.15, 0.09),
        "broad": (0.3, 0.2, 0.1),
        "four": (0.24, 0.15, 0.045),
        "frame": (0.22, 0.15, 0.06),
    }[s.slide_bars]
    rear = lay.cylinder_x - lay.cylinder_len / 2
    meshes = [box([cross[0] + 0.03, y, cross[1]], [0.26, 0.1, tall], 0.02)]
    back = rear - 2 * lay.crank - 0.35
    slope = (lay.cylinder_z - cross[1]) / max(lay.cylinder_x - cross[0], 0.3)
    above = s.slide_bars == "one" or s.valve_chest == "none"
    offsets = [(gap, 0.0)] if above else [(gap, 0.0), (-gap, 0.0)]
    if s.slide_bars == "four":
        offsets += [(dz, -0.09) for dz, _ in offsets]
    drop = slope * (rear - back)
    for dz, dy in offsets:
        z = lay.cylinder_z + dz
        ends = np.array([back, z - drop]), np.array([rear + 0.05, z])
        meshes.append(bar(*ends, y=y + dy, h=bar_h, t=0.07, eyes=False))
    middle = lay.cylinder_z - drop
    if s.slide_bars == "frame":
        # A motion plate: an open frame from the board down, which the bars run into.
        top = max(lay.board_z - middle, 0.3)
        meshes += [
            box([back + dx, y - 0.05, middle + top / 2 - 0.15], [0.05, 0.12, top + 0.3], 0.01)
            for dx in (-0.16, 0.16)
        ]
        meshes.append(box([back, y - 0.05, middle - 0.28], [0.37, 0.12, 0.05], 0.01))
    else:
        meshes.append(box([back, y - 0.1, middle + 0.12], [0.06, 0.3, 0.42], 0.01))
    return meshes


def _tilted(s: LocomotiveSpec, lay: Layout, mesh: Mesh) -> Mesh:
    """A cylinder-axis mesh (origin at its middle, along x) tilted towards its axle and placed."""
    axle = lay.drivers[main_axle(s, lay)]
    slope = np.arctan2(lay.cylinder_z - lay.wheel_d / 2, max(lay.cylinder_x - axle, 0.5))
    return mesh.turned("y", -slope).moved(lay.cylinder_x, lay.cylinder_y, lay.cylinder_z)


def _cylinder(s: LocomotiveSpec, lay: Layout) -> list[Mesh]:
    """Cladding and valve chest of the left cylinder."""
    r, half = lay.cylinder_r, lay.cylinder_len / 2
    body = lathe([(-half, 0.9 * r), (-half + 0.03, r), (half - 0.03, r), (half, 0.9 * r)], "x", 24)
    meshes = [_tilted(s, lay, body)]
    inward = span((-half * 0.9, half * 0.9), (-0.6, 0.0), (-0.6 * r, r * 1.15), 0.02)
    meshes.append(_tilted(s, lay, inward))
    if s.valve_chest == "piston":
        chest = lathe(
            [(-half * 1.05, 0), (-half * 1.05, 0.5 * r), (half * 1.05, 0.5 * r), (half * 1.05, 0)],
            "x",
            18,
        )
        meshes.append(_tilted(s, lay, chest.moved(0, -0.06, 1.28 * r)))
    elif s.valve_chest == "box":
        meshes.append(
            _tilted(
                s,
                lay,
                span((-half * 0.8, half * 0.8), (-0.75 * r, 0.62 * r), (0.6 * r, 1.55 * r), 0.03),
            )
        )
    return meshes


def _covers(s: LocomotiveSpec, lay: Layout) -> list[Mesh]:
    """Bright covers of the left cylinder."""
    r, half = lay.cylinder_r, lay.cylinder_len / 2
    out = []
    for sign in (1, -1):
        p = [(0, 0), (0, 0.93 * r), (0.03, 0.9 * r), (0.035, 0.45 * r), (0.09, 0.3 * r), (0.09, 0)]
        cover = lathe([(sign * (half + a), b) for a, b in p], "x", 22)
        out.append(_tilted(s, lay, cover))
    return out
