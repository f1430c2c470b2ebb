"""Boiler barrels in forms that only training draws: wagon tops, courses, slab sides, boxes."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import loft, prism, rivets
from tools.locomotive.solids import Mesh, arc, box, lathe
from tools.locomotive.spec import LocomotiveSpec


def add_barrel(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The barrel between cab and smokebox, with what stands out of its sides."""
    length = lay.smoke_rear - lay.cab_front
    xs = [lay.cab_front - 0.3, *(lay.cab_front + t * length for t, _ in lay.barrel)]
    if s.boiler_sides == "boxy":
        sections = [_boxy(lay, x) for x in xs]
        kit.add("boiler", "body", loft(np.array(sections)))
        front = sections[-1][:-1, 1:]
        kit.add("boiler", "body", prism(front, (xs[-1] - 0.02, xs[-1]), "yz"))
        return
    profile = [(x, lay.radius(x)) for x in xs]
    kit.add("boiler", "body", lathe([*profile, (xs[-1], 0.0)], "x", 44).moved(z=lay.boiler_z))
    if s.boiler_sides == "slab":  # upright below its axis, as castings and bent tin are
        low = lay.board_z - 0.02
        sides = []
        for x in xs:
            r = lay.radius(x)
            corners = [(r, lay.boiler_z), (r, low), (-r, low), (-r, lay.boiler_z)]
            sides.append([(x, y, z) for y, z in corners])
        kit.add("boiler", "body", loft(np.array(sides)[:, ::-1]))
        end = [(y, z) for _, y, z in sides[-1]]
        kit.add("boiler", "body", prism(end, (xs[-1] - 0.02, xs[-1]), "yz"))
    if s.seam:
        _seam(kit, s, lay)


def _boxy(lay: Layout, x: float, *, lift: float = 0.0) -> np.ndarray:
    """A section (k, 3) with a flat top, closed."""
    r, low = lay.radius(x) + lift, lay.board_z - 0.02
    w, top = 0.97 * r, lay.boiler_z + r
    loop = [(-w, low), (w, low), *arc(w - 0.5 * r, top - 0.5 * r, 0.5 * r, 0.0, np.pi / 2, 7)]
    loop += [*arc(0.5 * r - w, top - 0.5 * r, 0.5 * r, np.pi / 2, np.pi, 7), (-w, low)]
    return np.column_stack([np.full(len(loop), x), np.array(loop)])


def boxy_band(lay: Layout, x: float) -> Mesh:
    """A band round a boiler with a flat top."""
    rings = []
    for dx, lift in ((-0.03, -0.01), (-0.028, 0.012), (0.028, 0.012), (0.03, -0.01)):
        ring = _boxy(lay, x, lift=lift)
        rings.append(ring + [dx, 0.0, 0.0])
    return loft(np.array(rings))


def _seam(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The lap of a rolled sheet, high on the left flank, with its rivets."""
    a, b = lay.cab_front + 0.02, lay.smoke_rear - 0.02
    angle = 0.75 + 0.4 * (s.seed % 5) / 4.0
    for k in range(12):
        x0, x1 = (a + (b - a) * j / 12 for j in (k, k + 1))
        mid = 0.5 * (x0 + x1)
        r = lay.radius(mid)
        lap = box([mid, 0, r], [x1 - x0, 0.07, 0.022], 0.004).turned("x", -angle)
        kit.add("boiler", "body", lap.moved(z=lay.boiler_z))
        normal = np.array([0.0, np.sin(angle), np.cos(angle)])
        head = np.array([mid, 0.0, lay.boiler_z]) + (r + 0.008) * normal
        kit.add("boiler", "body", rivets(head[None], normal, 0.024))


def add_printed_bands(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Pairs of thin lines round the barrel, as printed on tin."""
    if s.boiler_sides == "boxy":
        return
    span = lay.smoke_rear - lay.cab_front
    for k in range(2 + s.seed % 3):
        mid = lay.cab_front + span * (k + 0.6) / (2.2 + s.seed % 3)
        for x in (mid - 0.07, mid + 0.07):
            r = lay.radius(x) + 0.004
            line = [(x - 0.014, r - 0.02), (x - 0.014, r), (x + 0.014, r), (x + 0.014, r - 0.02)]
            kit.add("lining", "lining", lathe(line, "x", 44).moved(z=lay.boiler_z))
