"""Things hung on the boiler's flanks: air pump, reservoirs, feed pipes."""

from __future__ import annotations

from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.solids import bend, lathe, rod, span, tube
from tools.locomotive.spec import LocomotiveSpec


def add_pipes(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Air pump, air tank under the running board, feed pipes along the boiler."""
    r, z = lay.boiler_r, lay.boiler_z
    if s.casing != "none":
        return
    if s.air_pump and s.tank not in ("side", "pannier"):
        x = lay.smoke_rear - 0.5
        y = lay.radius(x) + 0.12
        for dz in (0.12, -0.34):
            kit.add(
                "air_pump", "smokebox", rod(0.15, z + dz - 0.2, z + dz + 0.16, "z", 14).moved(x, y)
            )
        kit.add("air_pump", "steel", rod(0.06, z - 0.25, z - 0.05).moved(x, y))
    if s.side_tank != "none" and s.board_height > 1.02:
        a, b = lay.drivers[-1] + 0.1, max(lay.drivers[0] - 0.2, lay.drivers[-1] + 0.9)
        mid = lay.board_z - lay.edge_h - 0.19
        y = lay.board_y - 0.2
        if s.side_tank == "air" and s.board_height > 1.1:
            kit.pair(
                "side_tank",
                "frame",
                lathe(
                    [(a, 0), (a, 0.13), (a + 0.05, 0.16), (b - 0.05, 0.16), (b, 0.13), (b, 0)],
                    "x",
                    18,
                ).moved(0, y, mid),
            )
        else:
            kit.pair(
                "side_tank",
                "frame",
                span(
                    (lay.rear + 0.3, lay.rear + 0.9),
                    (y - 0.2, y + 0.1),
                    (mid - 0.15, mid + 0.16),
                    0.02,
                ),
            )
    if s.feed_pipe and s.tank not in ("side", "pannier"):
        a, b = lay.cab_front, lay.cab_front + 0.62 * (lay.smoke_rear - lay.cab_front)
        y = 0.93 * r + 0.05
        path = [
            [a, y, z - 0.33 * r],
            [b - 0.2, y - 0.02, z - 0.3 * r],
            [b, y, z],
            [b, lay.radius(b) + 0.01, z + 0.02],
        ]
        kit.pair("pipes", "pipe", tube(bend(path, 0.12), 0.03, 7))
