"""Extra linkages after the full-size valve gears; only training draws them.

Each takes the points that the linkage is driven by and hung from and gives the meshes
of the left side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tools.locomotive.layout import Layout
from tools.locomotive.links import hanger_of, link_of
from tools.locomotive.prisms import prism
from tools.locomotive.rods import Point, bar
from tools.locomotive.solids import Mesh, arc, lathe, rod, round_rect, span
from tools.locomotive.spec import LocomotiveSpec


@dataclass(frozen=True, slots=True)
class Anchors:
    """Points (x, z) and sizes in metres that a gear is laid out by.

    Attributes
    ----------
    pin, reach, axle : ndarray, shape (2,)
        Crank pin, end of the return crank, axle.
    cross : ndarray, shape (2,)
        Crosshead pin, or where it would be.
    ahead, under : float
        x where the cylinder begins; z below the running board.
    y, h, t : float
        Plane of the rods, their height and thickness.
    """

    s: LocomotiveSpec
    lay: Layout
    pin: Point
    reach: Point
    axle: Point
    cross: Point
    ahead: float
    under: float
    y: float
    h: float
    t: float

    @property
    def half(self) -> float:
        """Half the height of a link."""
        room = max(self.under - self.axle[1], 0.3)
        return float(np.clip(min(0.24 * self.lay.wheel_d, 0.55 * room), 0.15, 0.42))

    @property
    def link(self) -> Point:
        """The trunnion of a link."""
        x = np.clip(0.45 * self.pin[0] + 0.55 * self.ahead, self.axle[0] + 0.3, self.ahead - 0.2)
        z = max(self.under - 0.75 * self.half, self.axle[1] + 0.1)
        return np.array([float(x), z])

    def rod(self, p: Point, q: Point, *, dy: float = 0.0, k: float = 1.0) -> Mesh:
        """A rod of the linkage's own shape, `dy` farther out and `k` times as high."""
        style = self.s.linkage_rod
        return bar(p, q, y=self.y + dy, h=k * self.h, t=self.t, style=style)

    def plain(self, p: Point, q: Point, *, dy: float = 0.0, k: float = 1.0) -> Mesh:
        """A short flat link."""
        return bar(p, q, y=self.y + dy, h=k * self.h, t=self.t, ends=self.s.rod_boss)

    def seat(self, p: Point) -> list[Mesh]:
        """Where no cylinder is outside: the bracket in which a valve rod ends at p."""
        if self.s.cylinders == "outside":
            return []
        x, z = map(float, p)
        foot = (z - 0.08, max(self.under + 0.05, z + 0.05))
        return [span((x - 0.06, x + 0.06), (self.y - 0.09, self.y + 0.09), foot, 0.012)]

    def crank(self) -> list[Mesh]:
        """The return crank and the pin that it sits on."""
        pin = rod(0.5 * self.h, self.lay.rod_y - 0.02, self.y + self.t, "y", 12)
        return [
            self.plain(self.pin, self.reach, k=1.2),
            pin.moved(float(self.pin[0]), 0.0, float(self.pin[1])),
        ]


def at(x: float, z: float) -> Point:
    """The point (x, z)."""
    return np.array([x, z])


def _hung_link(a: Anchors) -> list[Mesh]:
    x, z = map(float, a.link)
    own = {"half": a.half, "y": a.y + 0.05, "t": a.t}
    link = link_of(a.s.link_shape, x, z, **own)
    return link + hanger_of(a.s.link_hanger, x, z, a.under, ahead=a.ahead, **own)


def _valve_end(a: Anchors, *, die: float) -> list[Mesh]:
    """Radius rod, combination lever, union link and valve spindle, as many as there are."""
    count, link = a.s.linkage_rods, a.link
    outside = a.s.cylinders == "outside"
    high = float(link[1])
    top = at(float(a.cross[0]) + 0.22, high + 0.4 * die * a.half)
    drop = at(float(a.cross[0]) + 0.12, float(a.cross[1]) - 0.55 * a.half - 0.06)
    arm = a.cross + [0.0, -0.5 * a.half - 0.06]
    valve = at(a.ahead + 0.12, float(top[1]) - 0.03)
    out = []
    if count >= 3:
        out.append(a.rod(link + [0.0, die * a.half], top, dy=0.01, k=0.8))
    if count >= 4:
        if outside:
            out.append(a.plain(drop, top, dy=0.04, k=0.85))
        out.append(bar(top, valve, y=a.y - 0.03, h=0.05, t=0.04, style="round", eyes=False))
        out += a.seat(valve)
    if count >= 5 and outside:
        out.append(a.plain(arm, drop, dy=0.02, k=0.7))
        out.append(bar(a.cross, arm, y=a.y - 0.02, h=a.h, t=a.t, eyes=False))
    return out


def radial(a: Anchors) -> list[Mesh]:
    """Return crank, eccentric rod sloping up to the foot of a link, and all that follows it."""
    x, z = map(float, a.link)
    foot = at(x - 0.04, z - a.half)
    return [*a.crank(), a.rod(a.reach, foot, dy=0.05), *_hung_link(a), *_valve_end(a, die=0.35)]


def level_radial(a: Anchors) -> list[Mesh]:
    """The same with a long tail on the link, so that the eccentric rod lies level."""
    x, z = map(float, a.link)
    foot = at(x - 0.06, min(z - a.half, float(a.axle[1]) + 0.04))
    tail = a.plain(at(x, z - 0.8 * a.half), foot, dy=0.05, k=0.9)
    rods = [a.rod(a.reach, foot, dy=0.09), tail]
    return [*a.crank(), *rods, *_hung_link(a), *_valve_end(a, die=-0.35)]


def twin_eccentric(a: Anchors) -> list[Mesh]:
    """Two eccentric rods, one to either end of the link."""
    x, z = map(float, a.link)
    other = a.axle + (a.axle - a.reach)
    rods = [
        a.rod(a.reach, at(x - 0.04, z - 0.85 * a.half), dy=0.05),
        a.rod(other, at(x - 0.04, z + 0.6 * a.half), dy=0.09),
        a.plain(a.reach, other, dy=0.02, k=1.3),
    ]
    valve = at(a.ahead + 0.1, z)
    return [*a.crank(), *rods, *_hung_link(a), a.rod(a.link, valve, dy=0.02, k=0.8), *a.seat(valve)]


def eccentric_sheave(a: Anchors) -> list[Mesh]:
    """A disc off the axle's centre with a strap round it that ends in a rod to the link."""
    r = float(np.clip(0.15 * a.lay.wheel_d, 0.13, 0.26))
    cx, cz = map(float, a.axle + 0.4 * (a.reach - a.axle))
    x, z = map(float, a.link)
    disc = rod(0.86 * r, a.lay.rod_y + 0.02, a.y + 0.6 * a.t, "y", 24).moved(cx, 0, cz)
    strap = lathe(
        [(-0.5 * a.t, 0.8 * r), (-0.5 * a.t, 1.1 * r), (0.5 * a.t, 1.1 * r), (0.5 * a.t, 0.8 * r)],
        "y",
        26,
    ).moved(cx, a.y, cz)
    nut = rod(0.25 * r, a.y, a.y + 1.2 * a.t, "y", 6).moved(*map(float, [cx, 0.0, cz]))
    end = at(x - 0.04, z - a.half)
    way = (end - [cx, cz]) / max(float(np.linalg.norm(end - [cx, cz])), 1e-6)
    lug = a.plain(at(cx, cz) + 0.95 * r * way, at(cx, cz) + 1.5 * r * way, k=1.1)
    rods = [lug, a.rod(at(cx, cz) + 1.3 * r * way, end)]
    return [disc, strap, nut, *rods, *_hung_link(a), *_valve_end(a, die=0.2)]


def rocking_arm(a: Anchors) -> list[Mesh]:
    """No return crank: an arm below the board, rocked by the crosshead, works the valve."""
    x = min(float(a.cross[0]) - 0.16, a.ahead - 0.25)
    pivot = at(x, max(a.under - 0.12, float(a.cross[1]) + 0.2))
    low = at(x + 0.06, float(a.cross[1]) - 0.12)
    high = at(x + 0.02, float(pivot[1]) + 0.04)
    valve = at(a.ahead + 0.1, float(pivot[1]) - 0.08)
    post = hanger_of(
        a.s.link_hanger if a.s.link_hanger in ("plate", "bracket") else "bracket",
        *(x, float(pivot[1]), a.under),
        half=0.8 * a.half,
        y=a.y - 0.06,
        t=a.t,
        ahead=a.ahead,
    )
    return [
        bar(low, high, y=a.y + 0.03, h=1.2 * a.h, t=a.t, style="tapered"),
        a.plain(a.cross + [0.04, 0.0], low, dy=0.05, k=0.9),
        a.rod(pivot + [0.0, -0.06], valve, dy=0.06, k=0.8),
        *post,
    ]


def marine(a: Anchors) -> list[Mesh]:
    """A vibrating lever that stands on the main rod, an anchor link and a slide above."""
    on_rod = a.pin + 0.45 * (a.cross - a.pin)
    x = float(on_rod[0])
    top = at(x + 0.05, max(a.under - 0.1, float(on_rod[1]) + 0.3))
    foot = on_rod + [0.0, -0.5 * a.half - 0.06]
    anchor = at(min(x + 0.34 + 0.8 * a.half, a.ahead - 0.1), float(foot[1]) + 0.03)
    die = on_rod + 0.62 * (top - on_rod)
    slide = [
        *arc(x - 0.1, float(top[1]) - 0.05, 0.8 * a.half, -1.1, 1.1, 8),
        *arc(x - 0.1, float(top[1]) - 0.05, 0.8 * a.half - 0.09, 1.1, -1.1, 8),
    ]
    return [
        bar(foot, top, y=a.y + 0.04, h=1.1 * a.h, t=a.t),
        a.plain(foot, anchor, dy=0.07, k=0.8),
        bar(anchor, at(float(anchor[0]), a.under), y=a.y - 0.01, h=a.h, t=a.t, eyes=False),
        prism(slide, (a.y - 0.06, a.y - 0.01), bevel=0.005),
        a.rod(die, at(a.ahead + 0.1, float(top[1]) - 0.1), dy=0.08, k=0.8),
    ]


def direct(a: Anchors) -> list[Mesh]:
    """A return crank whose rod goes straight to the valve spindle, in a guide."""
    z = float(np.clip(a.lay.cylinder_z + 1.1 * a.lay.cylinder_r, a.axle[1] + 0.1, a.under - 0.05))
    joint = at(max(a.ahead - 0.45, float(a.reach[0]) + 0.4), z)
    guide = prism(
        round_rect((float(joint[0]) + 0.1, float(joint[0]) + 0.2), (z - 0.1, a.under + 0.04), 0.02),
        (a.y - 0.06, a.y + 0.04),
        bevel=0.01,
    )
    spindle = bar(joint, at(a.ahead + 0.12, z), y=a.y, h=0.07, t=0.05, style="round", eyes=False)
    rods = [a.rod(a.reach, joint, dy=0.05), spindle]
    return [*a.crank(), *rods, guide, *a.seat(at(a.ahead + 0.12, z))]


def bell_crank(a: Anchors) -> list[Mesh]:
    """A three-armed crank of sheet between the eccentric rod and the valve rod."""
    x, z = map(float, a.link)
    low, up = at(x - 0.05, z - a.half), at(x + 0.55 * a.half, z + 0.25 * a.half)
    plate = [
        *arc(x, z, 0.9 * a.h, 0.9, 2.6, 4),
        *arc(float(low[0]), float(low[1]), 0.7 * a.h, np.pi, 2 * np.pi, 5),
        *arc(float(up[0]), float(up[1]), 0.7 * a.h, -1.2, 1.2, 5),
    ]
    mesh = prism(plate, (a.y + 0.01, a.y + 0.01 + 0.7 * a.t), bevel=0.004)
    bolt = rod(0.5 * a.h, a.y - 0.06, a.y + 1.4 * a.t, "y", 6).moved(x, 0, z)
    valve = at(a.ahead + 0.1, float(up[1]) - 0.03)
    return [
        *a.crank(),
        a.rod(a.reach, low, dy=0.06),
        mesh,
        bolt,
        a.rod(up, valve, dy=0.05, k=0.85),
        *a.seat(valve),
        *hanger_of("bracket", x, z, a.under, half=a.half, y=a.y - 0.08, t=a.t, ahead=a.ahead),
    ]
