"""Painted and printed lines on cab and tanks."""

from __future__ import annotations

from tools.locomotive.cab import waist
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, round_rect, span
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.tanks import level_front, tank_top


def lining_loop(x: tuple[float, float], z: tuple[float, float], y: float, w: float = 0.022) -> Mesh:
    """A painted line round a panel, on the plane y."""
    outer = round_rect(x, z, 0.1, 4)
    inner = round_rect((x[0] + w, x[1] - w), (z[0] + w, z[1] - w), 0.1 - w, 4)
    return prism(outer, (y - 0.002, y + 0.003), holes=[inner])


def add_lining(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Lines on cab and side tanks."""
    if s.lining == "none":
        return
    a, b, z0 = lay.cab_rear + 0.07, lay.cab_front - 0.07, lay.board_z + 0.07
    if s.cab not in ("none", "open", "posts", "screen") and s.lining != "boiler":
        kit.pair("lining", "lining", lining_loop((a, b), (z0, waist(lay) - 0.04), lay.cab_y))
        if s.lining == "litho":  # a double line
            inner = (a + 0.045, b - 0.045), (z0 + 0.045, waist(lay) - 0.085)
            kit.pair("lining", "lining", lining_loop(*inner, lay.cab_y, 0.012))
    if s.tank == "side" and s.lining in ("cab_tender", "litho"):
        x1 = level_front(s, lay)
        z1 = tank_top(s, lay) - 0.07
        kit.pair("lining", "lining", lining_loop((b + 0.16, x1 - 0.08), (z0, z1), lay.cab_y))
    if s.tank == "side" and s.lining == "boiler":
        z1 = tank_top(s, lay) - 0.14
        line = span(
            (lay.cab_rear, level_front(s, lay) - 0.03),
            (lay.cab_y - 0.01, lay.cab_y + 0.003),
            (z1, z1 + 0.05),
        )
        kit.pair("lining", "lining", line)
