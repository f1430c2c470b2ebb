"""Saddle, side, wing and pannier tanks."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism, rivets
from tools.locomotive.solids import Mesh, arc, rod, round_rect
from tools.locomotive.spec import LocomotiveSpec

TANK_WIDER = 1.28  # saddle tank over boiler radius; chosen by eye


def saddle_span(s: LocomotiveSpec, lay: Layout) -> tuple[float, float]:
    """x range of the saddle tank."""
    reach = lay.smoke_front - lay.cab_front
    return lay.cab_front - 0.02, lay.cab_front + max(s.tank_len, 0.6) * 0.86 * reach


def tank_front(s: LocomotiveSpec, lay: Layout) -> float:
    """x of a side tank's front."""
    x = lay.cab_front + s.tank_len * (lay.smoke_front - lay.cab_front)
    return min(x, float(lay.board[-1, 0]) - 0.1) if s.tank == "side" else x


def tank_top(s: LocomotiveSpec, lay: Layout) -> float:
    """Height of a side tank's top."""
    rise = s.tank_h * (lay.boiler_z - lay.board_z) * 1.1
    return min(lay.board_z + rise, lay.boiler_z + 0.5 * lay.boiler_r)


def level_front(s: LocomotiveSpec, lay: Layout) -> float:
    """x where a side tank's top begins to fall towards its front; of a level one its front."""
    x0, x1 = lay.cab_front, tank_front(s, lay)
    return x1 - min(1.4 * s.tank_slope, 0.6) * (x1 - x0)


def _sloping(
    s: LocomotiveSpec, lay: Layout, y: tuple[float, float], x: tuple[float, float]
) -> Mesh:
    """The left tank with its front part falling, for the driver to see past."""
    low, top = lay.board_z, tank_top(s, lay)
    down = top - s.tank_slope * (top - low)
    outline = [(x[0], low), (x[1], low), (x[1], down), (level_front(s, lay), top), (x[0], top)]
    return prism(outline, y, bevel=0.03)


def _saddle(form: str, w: float, z: float, skirt: float) -> list[tuple[float, float]]:
    """Section (y, z) of a saddle tank `w` from the boiler's axis, which lies at `z`."""
    if form == "flat":  # a flat top, rounded shoulders, upright sides
        top = z + w
        return [
            *((-w, skirt), (w, skirt)),
            *arc(0.55 * w, top - 0.45 * w, 0.45 * w, 0.0, np.pi / 2, 8),
            *arc(-0.55 * w, top - 0.45 * w, 0.45 * w, np.pi / 2, np.pi, 8),
        ]
    if form == "ogee":  # flanks that swing out to the skirt
        u = np.linspace(0.0, 1.0, 9)
        flank = [
            (float(w * (1.12 - 0.3 * (k * k * (3 - 2 * k)))), float(skirt + k * 0.9 * w)) for k in u
        ]
        crown_z = skirt + 0.9 * w
        rise = z + w - crown_z
        crown = [
            (0.82 * w * float(np.cos(a)), crown_z + rise * float(np.sin(a)))
            for a in np.linspace(0.1, np.pi - 0.1, 15)
        ]
        return [(-1.12 * w, skirt), *flank, *crown, *((-a, b) for a, b in flank[:0:-1])]
    if form == "hipped":  # plates bent at three edges
        return [
            *((-w, skirt), (w, skirt), (w, z + 0.42 * w), (0.55 * w, z + 0.96 * w)),
            *((0.0, z + w), (-0.55 * w, z + 0.96 * w), (-w, z + 0.42 * w)),
        ]
    return [(-w, skirt), (w, skirt)] + arc(0, z, w, 0.0, np.pi, 22)


def add_tanks(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Side, saddle or pannier tanks of a tank engine."""
    r, z = lay.boiler_r, lay.boiler_z
    x0, x1 = lay.cab_front - 0.02, tank_front(s, lay)
    if s.tank == "side":
        top = tank_top(s, lay)
        inner = max(0.55 * r, 0.3)
        if s.tank_slope:
            kit.pair("tank", "tank", _sloping(s, lay, (inner, lay.cab_y), (x0, x1)))
        else:
            outline = round_rect((inner, lay.cab_y), (lay.board_z, top), 0.07, 3)
            kit.pair("tank", "tank", prism(outline, (x0, x1), "yz", bevel=0.025))
        lid_x = level_front(s, lay) - 0.4
        kit.pair(
            "tank", "steel", rod(0.16, top, top + 0.07).moved(lid_x, 0.5 * (inner + lay.cab_y))
        )
        if s.rivet_rows:
            pts = [
                [x, lay.cab_y, zz]
                for x in np.linspace(x0 + 0.1, level_front(s, lay) - 0.06, 18)
                for zz in (lay.board_z + 0.08, top - 0.09)
            ]
            kit.pair("tank", "tank", rivets(pts, [0, 1, 0], 0.018))
    elif s.tank == "saddle":
        a, b = saddle_span(s, lay)
        w = TANK_WIDER * r
        skirt = z - 0.25 * r
        outline = _saddle(s.saddle_form, w, z, skirt)
        kit.add("tank", "tank", prism(outline, (a, b), "yz", bevel=0.04))
        kit.add("tank", "steel", rod(0.17, z + w - 0.02, z + w + 0.09).moved(a + 0.72 * (b - a)))
        if s.rivet_rows:
            pts = [
                [x, w, zz]
                for x in np.linspace(a + 0.1, b - 0.1, 16)
                for zz in (skirt + 0.05, z - 0.02)
            ]
            kit.pair("tank", "tank", rivets(pts, [0, 1, 0], 0.018))
    elif s.tank == "wing":
        low, top = lay.board_z, lay.board_z + 0.62 * (lay.boiler_z - lay.board_z)
        start = lay.smoke_rear - 0.45 * (lay.smoke_rear - lay.cab_front)
        end = min(lay.smoke_front + 0.1, float(lay.board[-1, 0]) - 0.1)
        outline = [(start, low), (end, low), (end, top - 0.12), (end - 0.35, top), (start, top)]
        inner = max(0.55 * lay.front_r, 0.3)
        kit.pair("tank", "tank", prism(outline, (inner, lay.cab_y - 0.05), bevel=0.03))
    elif s.tank == "pannier":
        outline = round_rect(
            (0.45 * r, min(1.5 * r, lay.board_y)), (z - 0.35 * r, z + 0.82 * r), 0.22 * r, 5
        )
        kit.pair("tank", "tank", prism(outline, (x0, x1), "yz", bevel=0.03))
