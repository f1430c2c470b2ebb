"""Lamps, handrails and smoke deflectors."""

from __future__ import annotations

import numpy as np

from tools.locomotive.boiler import smoke_r, top_at
from tools.locomotive.casing import casing_top, casing_top_at
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, ball, box, lathe, rod, round_rect, span, tube
from tools.locomotive.spec import LocomotiveSpec


def lamp(x: float, y: float, z: float, *, r: float, sign: int = 1) -> tuple[Mesh, Mesh]:
    """A drum lamp looking along x: its housing and its lens."""
    p = [
        (-0.9 * r, 0),
        (-0.9 * r, 0.5 * r),
        (-0.6 * r, r),
        (0.4 * r, r),
        (0.55 * r, 1.08 * r),
        (0.6 * r, 0.95 * r),
        (0.5 * r, 0.9 * r),
    ]
    body = lathe([(sign * a, b) for a, b in p], "x", 18).moved(x, y, z)
    lens = ball(r, 14).stretched(x=0.35, y=0.9, z=0.9).moved(x + sign * 0.45 * r, y, z)
    return body, lens


def add_lamps_and_rails(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Headlamps, handrails, smoke deflectors."""
    r, z, x = smoke_r(s, lay), lay.boiler_z, lay.smoke_front
    top = top_at(s, lay, x - 0.1)
    spots: list[tuple[float, float, float, float]] = []
    if s.headlamp == "drum":
        spots = [(x - 0.1, 0, top + 0.2, 0.17)]
    elif s.headlamp == "pair":
        spots = [
            (lay.front - 0.15, sy * 0.7 * lay.board_y, lay.board_at(lay.front) + 0.18, 0.12)
            for sy in (-1, 1)
        ]
    elif s.headlamp in ("center", "flush"):
        spots = [(*_on_nose(s, lay), 0.16)] if s.casing != "none" else [(x + 0.2, 0, z, 0.16)]
    for lx, ly, lz, lr in spots:
        body, lens = lamp(lx, ly, lz, r=lr)
        kit.add(
            "headlamp",
            "smokebox",
            body,
            span(
                (lx - 0.08, lx + 0.06),
                (ly - 0.05, ly + 0.05),
                (lz - lr - 0.12, lz - 0.8 * lr),
                0.01,
            ),
        )
        kit.add("headlamp_lens", "lens", lens)
    if s.headlamp == "box":
        size = 0.42
        kit.add(
            "headlamp",
            "body2",
            box([x - 0.05, 0, top + 0.32], [size, size, 0.46], 0.03),
            span((x - 0.2, x + 0.1), (-0.12, 0.12), (top - 0.1, top + 0.1), 0.01),
            rod(0.09, top + 0.5, top + 0.7).moved(x - 0.05),
        )
        kit.add(
            "headlamp_lens",
            "lens",
            rod(0.17, -0.02, 0.02, "x", 18).moved(x - 0.05 + size / 2, 0, top + 0.32),
        )
    _handrails(kit, s, lay)
    if s.deflectors != "none" and s.casing == "none":
        low = lay.board_at(x) if s.deflectors == "tall" else z + 0.1 * r
        y = max(1.12 * r, 0.72 * lay.board_y)
        plate = round_rect((x - 1.3, x + 0.15), (low, z + 1.02 * r), 0.15)
        kit.pair("deflector", "body2", prism(plate, (y, y + 0.03), bevel=0.008))
        kit.pair(
            "deflector",
            "body2",
            box([x - 0.5, (y + 0.8 * r) / 2, z + 0.6 * r], [0.05, y - 0.6 * r, 0.04]),
        )


def _on_nose(s: LocomotiveSpec, lay: Layout) -> tuple[float, float, float]:
    """A place for a lamp on the casing's nose: the foremost x that is high enough."""
    high = lay.board_z + 0.4 * (casing_top(lay) - lay.board_z)
    xs = np.linspace(lay.front + 0.1, lay.cab_front, 200)
    return float(next(x for x in xs if casing_top_at(s, lay, x) > high + 0.08)), 0.0, high


def _handrails(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    if s.handrail == "none" or s.casing != "none":
        return
    z = lay.boiler_z + (0.35 if s.handrail == "full" else 0.05) * lay.boiler_r
    if s.tank in ("side", "saddle", "pannier"):
        z = lay.boiler_z + 0.55 * lay.boiler_r
    a = lay.cab_front if s.handrail != "front" else lay.smoke_rear
    if s.tank in ("saddle", "pannier"):
        a = lay.smoke_rear + 0.05
    xs = np.linspace(a, lay.smoke_front - 0.08, 12)
    ys = [
        np.sqrt(
            max(
                max(lay.radius(x), smoke_r(s, lay) if x > lay.smoke_rear else 0.0) ** 2
                - (z - lay.boiler_z) ** 2,
                0.01,
            )
        )
        for x in xs
    ]
    if s.firebox == "wide":
        ys = [
            y + 0.2 * lay.boiler_r * (x < lay.cab_front + 0.3 * (lay.smoke_rear - lay.cab_front))
            for x, y in zip(xs, ys, strict=True)
        ]
    pts = np.stack([xs, np.array(ys) + 0.09, np.full(12, z)], 1)
    kit.pair("handrail", "steel", tube(pts, 0.02, 6))
    for p in pts[1::3]:
        kit.pair(
            "handrail",
            "steel",
            ball(0.034, 8).moved(*p),
            tube([p, p - np.array([0, 0.12, 0.0])], 0.018, 6),
        )
