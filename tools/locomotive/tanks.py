"""Saddle, side and pannier tanks."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism, rivets
from tools.locomotive.solids import arc, rod, round_rect
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


def add_tanks(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Side, saddle or pannier tanks of a tank engine."""
    r, z = lay.boiler_r, lay.boiler_z
    x0, x1 = lay.cab_front - 0.02, tank_front(s, lay)
    if s.tank == "side":
        top = tank_top(s, lay)
        inner = max(0.55 * r, 0.3)
        outline = round_rect((inner, lay.cab_y), (lay.board_z, top), 0.07, 3)
        kit.pair("tank", "tank", prism(outline, (x0, x1), "yz", bevel=0.025))
        kit.pair(
            "tank", "steel", rod(0.16, top, top + 0.07).moved(x1 - 0.4, 0.5 * (inner + lay.cab_y))
        )
        if s.rivet_rows:
            pts = [
                [x, lay.cab_y, zz]
                for x in np.linspace(x0 + 0.1, x1 - 0.06, 18)
                for zz in (lay.board_z + 0.08, top - 0.09)
            ]
            kit.pair("tank", "tank", rivets(pts, [0, 1, 0], 0.018))
    elif s.tank == "saddle":
        a, b = saddle_span(s, lay)
        w = TANK_WIDER * r
        skirt = z - 0.25 * r
        outline = [(-w, skirt), (w, skirt)] + arc(0, z, w, 0.0, np.pi, 22)
        kit.add("tank", "tank", prism(outline, (a, b), "yz", bevel=0.04))
        kit.add("tank", "steel", rod(0.17, z + w - 0.02, z + w + 0.09).moved(a + 0.72 * (b - a)))
        if s.rivet_rows:
            pts = [
                [x, w, zz]
                for x in np.linspace(a + 0.1, b - 0.1, 16)
                for zz in (skirt + 0.05, z - 0.02)
            ]
            kit.pair("tank", "tank", rivets(pts, [0, 1, 0], 0.018))
    elif s.tank == "pannier":
        outline = round_rect(
            (0.45 * r, min(1.5 * r, lay.board_y)), (z - 0.35 * r, z + 0.82 * r), 0.22 * r, 5
        )
        kit.pair("tank", "tank", prism(outline, (x0, x1), "yz", bevel=0.03))
