"""Boiler, smokebox, firebox, saddle and side tanks, and the streamlined casing."""

from __future__ import annotations

import numpy as np

from tools.locomotive.barrel import add_barrel, add_printed_bands, boxy_band
from tools.locomotive.casing import add_casing, casing_top_at
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism, rivets
from tools.locomotive.solids import arc, box, lathe, rod, round_rect, span, tube
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.tanks import TANK_WIDER, saddle_span


def top_at(s: LocomotiveSpec, lay: Layout, x: float) -> float:
    """Height of what is on top at x: boiler, tank or casing."""
    if s.casing != "none":
        return casing_top_at(s, lay, x)
    if s.tank == "saddle" and saddle_span(s, lay)[0] <= x <= saddle_span(s, lay)[1]:
        return lay.boiler_z + TANK_WIDER * lay.boiler_r
    if s.firebox in ("belpaire", "haycock") and x < firebox_front(lay):
        return lay.boiler_z + (1.06 if s.firebox == "belpaire" else 1.5) * lay.boiler_r
    if x > lay.smoke_rear:
        return lay.boiler_z + smoke_r(s, lay)
    return lay.boiler_z + lay.radius(x)


def firebox_front(lay: Layout) -> float:
    """x of the firebox's front plate."""
    return lay.cab_front + 0.24 * (lay.smoke_rear - lay.cab_front)


def smoke_r(s: LocomotiveSpec, lay: Layout) -> float:
    """Radius of the smokebox."""
    return lay.front_r * s.smokebox_r


def band_places(s: LocomotiveSpec, lay: Layout) -> list[float]:
    """Where the bands lie round a boiler that no casing hides: x, metres."""
    low, high = lay.cab_front + 0.05, lay.smoke_rear - 0.05
    return [low + (high - low) * k / max(s.bands - 1, 1) for k in range(s.bands)]


def add_boiler(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Barrel, bands, firebox, smokebox with door and saddle."""
    if s.casing != "none":
        add_casing(kit, s, lay)
        return
    z = lay.boiler_z
    x0, x1 = lay.cab_front - 0.3, lay.smoke_rear
    if s.boiler_form == "cone" and s.boiler_sides == "round":
        profile = [(x0, lay.boiler_r), (lay.cab_front, lay.boiler_r), (x1, lay.front_r)]
        barrel = lathe(profile, "x", 44)
        kit.add("boiler", "body", barrel.moved(z=z))
    else:
        add_barrel(kit, s, lay)
    for x in band_places(s, lay):
        if s.boiler_sides == "boxy":
            kit.add("band", "band", boxy_band(lay, x))
            continue
        r = lay.radius(x) + 0.012
        kit.add(
            "band",
            "band",
            lathe(
                [(x - 0.028, r - 0.015), (x - 0.028, r), (x + 0.028, r), (x + 0.028, r - 0.015)],
                "x",
                44,
            ).moved(z=z),
        )
    if s.lining == "litho":
        add_printed_bands(kit, s, lay)
    _firebox(kit, s, lay)
    _smokebox(kit, s, lay)
    saddle = span(
        (lay.smoke_rear + 0.1, lay.smoke_front - 0.1),
        (-0.45, 0.45),
        (lay.board_z * 0.7, z - 0.3 * lay.front_r),
        0.05,
    )
    kit.add("smokebox", "smokebox", saddle)
    gap = z - lay.boiler_r - lay.board_z
    if gap < 0.25:
        kit.add(
            "frame",
            "frame",
            span(
                (lay.cab_front, lay.smoke_rear),
                (-0.42, 0.42),
                (lay.board_z - 0.3, z - 0.5 * lay.boiler_r),
            ),
        )


def _firebox(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    x0, x1, r, z = lay.cab_front - 0.1, firebox_front(lay), lay.boiler_r, lay.boiler_z
    low = lay.board_z - 0.05
    if s.firebox == "round":
        kit.add(
            "boiler",
            "body",
            lathe([(x0, 1.04 * r), (x1 - 0.04, 1.04 * r), (x1, 1.0 * r)], "x", 44).moved(z=z),
        )
        kit.add("boiler", "body", span((x0, x1), (-0.96 * r, 0.96 * r), (low, z), 0.02))
    elif s.firebox == "belpaire":
        outline = round_rect((-1.03 * r, 1.03 * r), (low, z + 1.06 * r), 0.28 * r, 6)
        kit.add("boiler", "body", prism(outline, (x0, x1), "yz", bevel=0.04))
    elif s.firebox == "wide":
        w = min(1.35 * r, lay.board_y)
        outline = (
            [(-w, low), (w, low), (w, z - 0.35 * r)]
            + arc(0, z - 0.1 * r, 1.14 * r, 0.12, np.pi - 0.12, 16)
            + [(-w, z - 0.35 * r)]
        )
        kit.add("boiler", "body", prism(outline, (x0, x1), "yz", bevel=0.04))
    elif s.firebox == "haycock":
        kit.add(
            "boiler",
            "body",
            lathe(
                [
                    (z, 0.98 * r),
                    (z + 0.9 * r, 0.98 * r),
                    (z + 1.3 * r, 0.75 * r),
                    (z + 1.5 * r, 0.35 * r),
                    (z + 1.52 * r, 0),
                ],
                "z",
                32,
            ).moved(0.5 * (x0 + x1)),
        )
    if s.rivet_rows and s.firebox != "none":
        pts = [
            [x, 1.035 * r, zz]
            for x in np.linspace(x0 + 0.1, x1 - 0.06, 6)
            for zz in np.linspace(z - 0.6 * r, z + 0.3 * r, 5)
        ]
        if s.firebox in ("round", "belpaire"):
            kit.pair("boiler", "body", rivets(pts, [0, 1, 0], 0.022))


def _smokebox(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    r, z, x0, x1 = smoke_r(s, lay), lay.boiler_z, lay.smoke_rear, lay.smoke_front
    tube_ = lathe(
        [(x0, 0), (x0, r - 0.01), (x0 + 0.02, r), (x1 - 0.03, r), (x1, r - 0.03), (x1, 0.0)],
        "x",
        44,
    )
    kit.add("smokebox", "smokebox", tube_.moved(z=z))
    d = 0.82 * r
    profiles = {
        "dished": [
            (0, d),
            (0.03, d),
            (0.05, 0.93 * d),
            (0.1, 0.6 * d),
            (0.12, 0.25 * d),
            (0.125, 0),
        ],
        "flat": [(0, 0.9 * d), (0.04, 0.9 * d), (0.05, 0.86 * d), (0.05, 0)],
        "riveted": [
            (0, d),
            (0.02, d),
            (0.03, 0.8 * d),
            (0.05, 0.78 * d),
            (0.09, 0.4 * d),
            (0.1, 0),
        ],
        "split": [(0, d), (0.03, d), (0.04, 0.95 * d), (0.04, 0)],
    }
    kit.add(
        "smokebox",
        "smokebox",
        lathe([(x1 + a, b) for a, b in profiles[s.smokebox_door]], "x", 36).moved(z=z),
    )
    _door_details(kit, s, lay, d)
    if s.rivet_rows:
        a = np.linspace(0, 2 * np.pi, 36, endpoint=False)
        ring = np.stack([np.full(36, x1), 0.93 * r * np.cos(a), z + 0.93 * r * np.sin(a)], 1)
        kit.add("smokebox", "smokebox", rivets(ring, [1, 0, 0], 0.02))
        for x in (x0 + 0.06, x1 - 0.06):
            side = np.stack([np.full(36, x), r * np.cos(a), z + r * np.sin(a)], 1)
            kit.add(
                "smokebox",
                "smokebox",
                rivets(side, np.stack([0 * a, np.cos(a), np.sin(a)], 1), 0.02),
            )


def _door_details(kit: Kit, s: LocomotiveSpec, lay: Layout, d: float) -> None:
    x, z = lay.smoke_front + 0.12, lay.boiler_z
    kit.add("handrail", "steel", rod(0.04, x - 0.05, x + 0.08, "x", 10).moved(z=z))
    if s.smokebox_door == "dished":
        kit.add(
            "handrail",
            "steel",
            tube([[x + 0.05, 0, z], [x + 0.05, 0.12, z - 0.2]], 0.018, 6),
            tube([[x + 0.08, 0, z], [x + 0.08, -0.05, z - 0.23]], 0.018, 6),
        )
        for dz in (0.32, -0.32):
            kit.add(
                "smokebox",
                "smokebox",
                span(
                    (x - 0.09, x - 0.02),
                    (-0.95 * d, 0.1),
                    (z + dz * d - 0.03, z + dz * d + 0.03),
                    0.008,
                ),
            )
    elif s.smokebox_door == "riveted":
        wheel = lathe(
            [
                (x + 0.06, 0.13),
                (x + 0.08, 0.16),
                (x + 0.1, 0.13),
                (x + 0.08, 0.11),
                (x + 0.06, 0.13),
            ],
            "x",
            20,
        )
        kit.add(
            "handrail",
            "steel",
            wheel.moved(z=z),
            box([x + 0.08, 0, z], [0.02, 0.26, 0.03]),
            box([x + 0.08, 0, z], [0.02, 0.03, 0.26]),
        )
    else:
        a = np.linspace(0, 2 * np.pi, 10, endpoint=False)
        for b in a:
            clamp = box([lay.smoke_front + 0.04, 0, 0.93 * d], [0.05, 0.06, 0.12], 0.01).turned(
                "x", float(b)
            )
            kit.add("smokebox", "smokebox", clamp.moved(z=z))
    if s.smokebox_door == "split":
        kit.add("smokebox", "smokebox", box([x - 0.07, 0, z], [0.03, 0.05, 1.8 * d], 0.01))
