"""The extra linkage outside the side rods."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tools.locomotive import gears, toy_gears
from tools.locomotive.gears import Anchors
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.rods import Point, bar, crank_pin, crosshead, main_axle, quartered
from tools.locomotive.solids import Mesh, arc, box, rod
from tools.locomotive.spec import LocomotiveSpec

GEARS: dict[str, Callable[[Anchors], list[Mesh]]] = {
    "radial": gears.radial,
    "level_radial": gears.level_radial,
    "leading": gears.radial,  # its pin is the leading driver's
    "twin_eccentric": gears.twin_eccentric,
    "eccentric_sheave": gears.eccentric_sheave,
    "second_axle": gears.eccentric_sheave,
    "rocking_arm": gears.rocking_arm,
    "marine": gears.marine,
    "pressed_strip": toy_gears.pressed_strip,
    "moulded": toy_gears.moulded,
    "drop_link": toy_gears.drop_link,
    "bent_wire": toy_gears.bent_wire,
    "direct": gears.direct,
    "bell_crank": gears.bell_crank,
}
# What needs an outside main rod or crosshead, and what an engine without either has instead.
_INSIDE = {"marine": "drop_link", "rocking_arm": "bell_crank"}
_ROOM = 1.3  # m from an axle to the cylinder in which a gear finds room; chosen by eye


def add_linkage(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The extra linkage outside the side rods, in the part `side_linkage`."""
    for side, phase in quartered(s.crank_phase):
        meshes = linkage(s, lay, phase)
        kit.add(
            "side_linkage",
            "linkage",
            *(m if side == "left" else m.mirrored() for m in meshes),
            side=side,
        )


def _driven_by(s: LocomotiveSpec, lay: Layout) -> int:
    """Index of the driver at whose pin a linkage begins."""
    room = lay.cylinder_x - lay.cylinder_len / 2 - lay.drivers[0]
    if s.linkage_style == "leading" and s.cylinders == "outside" and room > _ROOM:
        return 0
    if s.linkage_style == "second_axle":
        return min(1, len(lay.drivers) - 1)
    return main_axle(s, lay)


def linkage(s: LocomotiveSpec, lay: Layout, phase: float) -> list[Mesh]:
    """Return crank, eccentric rod, link or gear frame, and the rods to the valve (left side)."""
    k = _driven_by(s, lay)
    pin = crank_pin(lay, lay.drivers[k], phase)
    h = max(s.rod_h * s.linkage_w * lay.wheel_d, 0.045)
    y = lay.cylinder_y + 0.11 + s.linkage_off
    axle = np.array([lay.drivers[k], lay.wheel_d / 2])
    turn = phase + s.linkage_phase
    reach = axle + s.linkage_reach * lay.crank * np.array([np.cos(turn), np.sin(turn)])
    ahead = (
        lay.cylinder_x - lay.cylinder_len / 2
        if s.cylinders == "outside"
        else lay.drivers[0] + 0.62 * lay.wheel_d
    )
    under = lay.board_at(0.5 * (ahead + axle[0])) - lay.edge_h - 0.04
    style = s.linkage_style
    if s.cylinders != "outside":
        style = _INSIDE.get(style, style)
    if style in GEARS:
        return GEARS[style](
            Anchors(
                s=s,
                lay=lay,
                pin=pin,
                reach=reach,
                axle=axle,
                cross=crosshead(s, lay, crank_pin(lay, lay.drivers[main_axle(s, lay)], phase))
                if s.cylinders == "outside"
                else np.array([ahead - 0.3, lay.wheel_d / 2 + 0.05]),
                ahead=ahead,
                under=under,
                y=y if s.cylinders == "outside" else lay.rod_y + 0.1 + s.linkage_off,
                h=h,
                t=0.045 * s.linkage_t,
            )
        )
    if style in ("single", "double", "stamped"):
        return _toy_linkage(style, pin=pin, reach=reach, ahead=ahead, under=under, y=y, h=h)
    x = float(np.clip(0.42 * axle[0] + 0.58 * ahead, axle[0] + 0.5, ahead - 0.3))
    link_z = max(min(under - 0.14, lay.cylinder_z + 0.45), lay.wheel_d / 2 + 0.12)
    foot = np.array([x, link_z - 0.34])
    y1 = y + 0.05
    meshes = [
        bar(pin, reach, y=y, h=1.1 * h, t=0.06),
        bar(reach, foot, y=y1, h=h, t=0.04, style="plain"),
    ]
    meshes += (
        _expansion_link(x, link_z, under, y=y1)
        if style == "radius"
        else _gear_frame(x, link_z, under, y=y1)
    )
    cross = (
        crosshead(s, lay, pin)
        if s.cylinders == "outside"
        else np.array([ahead - 0.1, lay.wheel_d / 2 + 0.05])
    )
    top = np.array([cross[0] + 0.3, link_z + 0.1])
    drop = np.array([cross[0] + 0.18, cross[1] - 0.26])
    if s.linkage_rods >= 3:
        meshes.append(bar(np.array([x, link_z + 0.1]), top, y=y, h=0.8 * h, t=0.035))
    if s.linkage_rods >= 4:
        meshes.append(bar(drop, top, y=y + 0.03, h=0.9 * h, t=0.035))
    if s.linkage_rods >= 5:
        meshes.append(bar(cross + np.array([0.0, -0.26]), drop, y=y, h=0.7 * h, t=0.035))
        meshes.append(box([cross[0], y - 0.02, cross[1] - 0.14], [0.07, 0.04, 0.3], 0.008))
    if s.linkage_rods >= 4:
        valve = np.array([ahead + 0.1, link_z + 0.12])
        meshes.append(bar(top, valve, y=y - 0.04, h=0.05, t=0.04, style="round", eyes=False))
    return meshes


def _expansion_link(x: float, z: float, under: float, *, y: float) -> list[Mesh]:
    """A curved slotted link hung from a bracket under the running board."""
    outer = arc(x - 0.9, z, 0.97, -0.42, 0.42, 8)
    inner = arc(x - 0.9, z, 0.83, 0.42, -0.42, 8)
    slot = arc(x - 0.9, z, 0.93, -0.3, 0.3, 6) + arc(x - 0.9, z, 0.87, 0.3, -0.3, 6)
    plate = prism(outer + inner, (y - 0.03, y + 0.03), holes=[slot], bevel=0.006)
    hanger = prism(
        [
            (x - 0.2, under + 0.06),
            (x + 0.14, under + 0.06),
            (x + 0.07, z - 0.08),
            (x - 0.07, z - 0.08),
        ],
        (y + 0.035, y + 0.06),
        bevel=0.005,
    )
    return [plate, hanger, rod(0.05, y - 0.04, y + 0.09, "y", 10).moved(x, 0, z)]


def _gear_frame(x: float, z: float, under: float, *, y: float) -> list[Mesh]:
    """An open frame with a bell crank instead of a link."""
    rim = [
        (x - 0.3, under + 0.05),
        (x + 0.3, under + 0.05),
        (x + 0.22, z - 0.05),
        (x - 0.1, z - 0.12),
    ]
    hole = [
        (x - 0.17, under - 0.05),
        (x + 0.17, under - 0.05),
        (x + 0.12, z + 0.02),
        (x - 0.06, z - 0.02),
    ]
    big = under - z > 0.2
    frame = prism(rim, (y - 0.06, y - 0.02), holes=[hole] if big else [], bevel=0.006)
    crank = bar(np.array([x, z + 0.12]), np.array([x, z - 0.34]), y=y + 0.02, h=0.06, t=0.035)
    arm = bar(np.array([x, z + 0.02]), np.array([x + 0.3, z + 0.1]), y=y + 0.04, h=0.055, t=0.03)
    return [frame, crank, arm]


def _toy_linkage(
    style: str, *, pin: Point, reach: Point, ahead: float, under: float, y: float, h: float
) -> list[Mesh]:
    """A simple extra rod on a hanger, doubled, or one stamped bell-crank plate."""
    x = float(pin[0] + 0.72 * (ahead - pin[0]))
    pivot = np.array([x, under - 0.22])
    hanger = bar(np.array([x + 0.03, under - 0.04]), pivot, y=y - 0.01, h=1.1 * h, t=0.04)
    if style == "single":
        return [
            bar(reach, pivot, y=y + 0.04, h=h, t=0.04),
            hanger,
            bar(pin, reach, y=y, h=1.2 * h, t=0.05),
        ]
    if style == "double":
        low = np.array([x + 0.2, pivot[1] - 0.3])
        return [
            bar(reach, low, y=y + 0.04, h=h, t=0.04),
            bar(low, pivot, y=y + 0.02, h=h, t=0.04),
            hanger,
            bar(pin, reach, y=y, h=1.2 * h, t=0.05),
            bar(pivot, np.array([ahead + 0.1, pivot[1] + 0.08]), y=y - 0.01, h=h, t=0.04),
        ]
    knee = np.array([0.5 * (pin[0] + x), 0.5 * (pin[1] + pivot[1]) + 0.12])
    return [
        bar(pin, knee, y=y, h=1.3 * h, t=0.035, style="stamped"),
        bar(knee, pivot, y=y, h=1.3 * h, t=0.035, style="stamped"),
        hanger,
        bar(
            pivot,
            np.array([ahead + 0.15, pivot[1] + 0.02]),
            y=y + 0.02,
            h=h,
            t=0.03,
            style="stamped",
        ),
    ]
