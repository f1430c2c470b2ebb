"""Cylinders, crossheads and slide bars that only training draws; the left side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc, box, lathe, rod, round_rect, span, tube
from tools.locomotive.spec import LocomotiveSpec


def cylinder(s: LocomotiveSpec, lay: Layout) -> dict[str, list[Mesh]]:
    """Meshes by material, about the middle of the cylinder; x is its axis."""
    r, half = lay.cylinder_r, lay.cylinder_len / 2
    style = s.cylinder_style
    if style == "small":
        r, half = 0.6 * r, 0.75 * half
    if style == "large":
        r, half = min(1.25 * r, lay.cylinder_z - 0.12), 1.1 * half
    saddle = span((-half * 0.8, half * 0.8), (-0.6, 0.0), (-0.5 * r, r * 1.1), 0.02)
    ends = (-half, half)
    if style == "block":
        outline = round_rect((-r, 0.95 * r), (-0.95 * r, 1.5 * r), 0.2 * r)
        shell = prism(outline, ends, "yz", bevel=0.04)
        rings = [rod(0.7 * r, x, x + np.sign(x) * 0.05, "x", 18) for x in ends]
        return {"body": [saddle, shell], "rods": rings}
    if style == "half_round":
        # Pressed from tinplate: a half round before a flat back, its ends open or lapped.
        outline = [(-0.5, -r), (-0.5, r), *arc(0.0, 0.0, r, np.pi / 2, -np.pi / 2, 12)]
        lip = [(-0.5, -1.08 * r), (-0.5, 1.08 * r), *arc(0.0, 0.0, 1.08 * r, 1.57, -1.57, 12)]
        rims = [prism(lip, (x - 0.015, x + 0.015), "yz") for x in ends]
        return {"body": [prism(outline, ends, "yz")], "rods": rims}
    if style == "one_casting":
        # Cylinder, chest and saddle moulded as one, ribs for bolts and bands.
        outline = [
            *arc(0.0, 0.0, r, -np.pi, 0.25, 14),
            *arc(-0.1 * r, 1.25 * r, 0.6 * r, 0.0, np.pi / 2, 6),
            (-r, 1.85 * r),
        ]
        ribs = [
            prism([(1.03 * a, 1.03 * b) for a, b in outline], (x - 0.025, x + 0.025), "yz")
            for x in np.linspace(-half + 0.03, half - 0.03, 4)
        ]
        return {"body": [prism(outline, ends, "yz", bevel=0.03), *ribs, saddle]}
    bands = [
        lathe([(x - 0.03, r), (x - 0.03, 1.05 * r), (x + 0.03, 1.05 * r), (x + 0.03, r)], "x", 24)
        for x in ((-0.6 * half, 0.6 * half) if style != "stepped" else ())
    ]
    body = [saddle, lathe([(-half, 0), (-half, r), (half, r), (half, 0)], "x", 24)]
    caps = [
        lathe(
            [
                (x, 0.9 * r),
                *((x + np.sign(x) * 0.5 * r * np.sin(a), 0.9 * r * np.cos(a)) for a in k),
            ],
            "x",
            20,
        )
        for x in ends
        for k in [np.linspace(0.0, np.pi / 2, 6)]
    ]
    if style == "stepped":
        front = lathe(
            [(half, 0), (half, 0.66 * r), (half + 0.3, 0.66 * r), (half + 0.3, 0)], "x", 20
        )
        return {"body": [*body, front], "rods": [caps[0]]}
    chest = span((-half * 0.7, half * 0.7), (-0.7 * r, 0.5 * r), (0.7 * r, 1.45 * r), 0.03)
    lid = span((-half * 0.76, half * 0.76), (-0.7 * r, 0.58 * r), (1.4 * r, 1.5 * r), 0.01)
    steam = tube([[0, -0.1, 1.4 * r], [0, -0.25, 2.0 * r], [0, -0.5, 2.6 * r]], 0.09, 10)
    above = {"box": [chest, lid], "piston": [steam], "none": []}[s.valve_chest]
    return {"body": [*body, *above], "rods": [*caps, *bands]}


def guides(s: LocomotiveSpec, lay: Layout, cross: NDArray[np.float64], y: float) -> list[Mesh]:
    """Crosshead and slide bars: "slipper", "sleeve", "yoke", "trough", "inside" or "tall"."""
    rear = lay.cylinder_x - lay.cylinder_len / 2
    back = rear - 2 * lay.crank - 0.35
    slope = (lay.cylinder_z - cross[1]) / max(lay.cylinder_x - cross[0], 0.3)
    tilt = float(np.arctan(slope))
    x, z = float(cross[0]), float(cross[1])
    long = rear + 0.05 - back

    def guide(dz: float, size: tuple[float, float], dy: float = 0.0) -> Mesh:
        whole = box([0, 0, dz], [long, size[0], size[1]], 0.01).turned("y", -tilt)
        at = 0.5 * (back + rear + 0.05)
        return whole.moved(at, y + dy, z + slope * (at - x))

    stay = box([back, y - 0.12, lay.cylinder_z - slope * long + 0.1], [0.06, 0.3, 0.34], 0.01)
    if s.crosshead == "slipper":
        shoe = box([x, y, z + 0.1], [0.42, 0.11, 0.09], 0.015)
        web = prism(
            [(x - 0.1, z - 0.08), (x + 0.1, z - 0.08), (x + 0.2, z + 0.08), (x - 0.2, z + 0.08)],
            (y - 0.05, y + 0.05),
            bevel=0.01,
        )
        return [shoe, web, guide(0.19, (0.1, 0.08)), stay]
    if s.crosshead == "sleeve":
        sleeve = rod(0.075, -0.13, 0.13, "x", 14).moved(x, y, z)
        bars = [
            tube(
                [
                    [back, y + dy, z + slope * (back - x) + dz],
                    [rear + 0.05, y + dy, z + slope * (rear - x) + dz],
                ],
                0.028,
                8,
            )
            for dz, dy in ((0.13, 0.0), (-0.13, 0.0))
        ]
        cheek = span((x - 0.05, x + 0.05), (y - 0.04, y + 0.04), (z - 0.17, z + 0.17), 0.015)
        return [sleeve, cheek, *bars, stay]
    if s.crosshead == "yoke":
        ring = prism(
            round_rect((x - 0.2, x + 0.2), (z - 0.16, z + 0.16), 0.05),
            (y - 0.04, y + 0.04),
            holes=[round_rect((x - 0.11, x + 0.11), (z - 0.08, z + 0.08), 0.04)],
            bevel=0.01,
        )
        return [ring, guide(0.19, (0.07, 0.05)), guide(-0.19, (0.07, 0.05)), stay]
    if s.crosshead == "trough":
        lips = [guide(dz, (0.13, 0.025), 0.02) for dz in (0.14, -0.14)]
        return [
            box([x, y, z], [0.2, 0.1, 0.2], 0.02),
            guide(0.0, (0.025, 0.28), -0.05),
            *lips,
            stay,
        ]
    if s.crosshead == "inside":
        # The crosshead runs behind a pair of bars that hide most of it.
        bars = [guide(dz, (0.05, 0.1), 0.08) for dz in (0.12, -0.12)]
        return [box([x, y - 0.02, z], [0.3, 0.1, 0.32], 0.02), *bars, stay]
    tall = prism(
        [(x - 0.16, z - 0.09), (x + 0.16, z - 0.09), (x + 0.12, z + 0.34), (x - 0.12, z + 0.34)],
        (y - 0.05, y + 0.05),
        bevel=0.015,
    )
    return [tall, guide(0.22, (0.05, 0.06), 0.07), guide(0.36, (0.12, 0.06)), stay]
