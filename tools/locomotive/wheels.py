"""Wheels, axles and balance weights."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import HALF_GAUGE, Layout
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc, ball, join, lathe, rod
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.wheel_shapes import BALANCES, CENTRES, centre, weight


def tyre(d: float, width: float) -> Mesh:
    """A rim with its flange on the inner side; the axis is y, the middle at the origin."""
    r, w = d / 2, width / 2
    inner = r - max(0.075 * d, 0.05)
    f = 0.028
    profile = [
        (w, inner),
        (w, r - 0.012),
        (w - 0.012, r),
        (-w + 0.05, r + 0.004),
        (-w + 0.035, r + f),
        (-w + 0.008, r + f),
        (-w, r + 0.3 * f),
        (-w, inner),
        (w, inner),
    ]
    return lathe(profile, "y", 40)


def _spokes(d: float, width: float, count: int, start: float) -> Mesh:
    """Tapered spokes from hub to rim."""
    r0, r1 = 0.11 * d, 0.5 * d - max(0.07 * d, 0.045)
    w0 = np.clip(0.55 * 2 * np.pi * r0 / count, 0.024 * d, 0.05 * d)
    w1 = max(0.62 * w0, 0.018 * d)
    blade = prism(
        [(r0 * 0.8, -w0 / 2), (r1, -w1 / 2), (r1, w1 / 2), (r0 * 0.8, w0 / 2)],
        (-0.3 * width, 0.22 * width),
        bevel=0.25 * w1,
    )
    return join([blade.turned("y", start + 2 * np.pi * k / count) for k in range(count)])


def _web(d: float, width: float, holes: int, start: float) -> Mesh:
    """A dished disc, or one with round or long holes."""
    r = 0.5 * d - 0.05
    if not holes:
        profile = [
            (-0.2 * width, r),
            (0.12 * width, r),
            (0.02 * width, 0.85 * r),
            (0.1 * width, 0.4 * r),
            (0.3 * width, 0.3 * r),
        ]
        return lathe(profile, "y", 36)
    cuts = [
        arc(0.62 * r * np.cos(a), 0.62 * r * np.sin(a), 0.2 * r, 0, 2 * np.pi, 10)[:-1]
        for a in start + 2 * np.pi * np.arange(holes) / holes
    ]
    return prism(arc(0, 0, r, 0, 2 * np.pi, 36)[:-1], (-0.2 * width, 0.15 * width), holes=cuts)


def wheel_body(d: float, width: float, style: str, spokes: int, start: float = 0.0) -> Mesh:
    """Centre of a wheel without its tyre: hub, spokes or disc, inner rim."""
    inner = 0.5 * d - max(0.07 * d, 0.045)
    rim = lathe(
        [(0.4 * width, inner + 0.005), (0.42 * width, inner - 0.03), (-0.42 * width, inner - 0.03)],
        "y",
        36,
    )
    hub = lathe(
        [
            (-0.5 * width, 0.1 * d),
            (0.5 * width, 0.1 * d),
            (0.62 * width, 0.075 * d),
            (0.62 * width, 0.0),
        ],
        "y",
        18,
    )
    if style == "spoked":
        return join([rim, hub, _spokes(d, width, spokes, start)])
    if style in CENTRES:
        return join([rim, hub, centre(style, d, width, spokes, start)])
    return join([rim, hub, _web(d, width, 5 if style == "holes" else 0, start)])


def balance_weight(d: float, width: float, style: str, angle: float) -> Mesh:
    """A crescent or block inside the rim, centred on `angle` (from +x towards +z)."""
    if style in BALANCES:
        return weight(style, d, width, angle)
    r = 0.5 * d - 0.06
    half = 0.55 if style == "crescent" else 0.4
    if style == "crescent":
        chord = arc(0, 0, r, angle - half * 1.2, angle + half * 1.2, 10)
    else:
        chord = arc(0, 0, r, angle - half, angle + half, 6) + arc(
            0, 0, 0.68 * r, angle + half, angle - half, 6
        )
    return prism(chord, (-0.2 * width, 0.33 * width), bevel=0.05 * width)


def add_wheelset(
    kit: Kit,
    x: float,
    d: float,
    *,
    style: str,
    spokes: int,
    width: float,
    name: str = "wheel",
    start: float = 0.0,
) -> None:
    """One axle with its two wheels."""
    y = HALF_GAUGE + 0.5 * width - 0.035
    body = wheel_body(d, width, style, spokes, start).moved(x, y, d / 2)
    kit.pair(name, "wheel", body)
    kit.pair(name, "tyre", tyre(d, width).moved(x, y, d / 2))
    kit.add(name, "frame", rod(0.08, -y, y, "y", 10).moved(x, 0, d / 2))


def add_wheels(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """All wheels of the engine, crank pins and balance weights; the sides are quartered."""
    small = max(7, int(s.spokes * 0.7))
    for x in lay.leading:
        add_wheelset(kit, x, lay.lead_d, style=s.truck_style, spokes=small, width=s.wheel_width)
    for x in lay.trailing:
        add_wheelset(kit, x, lay.trail_d, style=s.truck_style, spokes=small, width=s.wheel_width)
    y = HALF_GAUGE + 0.5 * s.wheel_width - 0.035
    for x in lay.drivers:
        z = lay.wheel_d / 2
        for side, turn in ((1, 0.0), (-1, np.pi / 2)):
            phase = s.crank_phase + turn
            body = [
                wheel_body(lay.wheel_d, s.wheel_width, s.wheel_style, s.spokes, -phase),
                _crank_boss(s, lay, phase),
            ]
            if s.balance != "none":
                body.append(balance_weight(lay.wheel_d, s.wheel_width, s.balance, phase + np.pi))
            placed = [m.moved(x, y, z) for m in [*body, tyre(lay.wheel_d, s.wheel_width)]]
            placed = placed if side == 1 else [m.mirrored() for m in placed]
            kit.add("wheel", "wheel", *placed[:-1])
            kit.add("wheel", "tyre", placed[-1])
        kit.add("wheel", "frame", rod(0.09, -y, y, "y", 10).moved(x, 0, z))


def _crank_boss(s: LocomotiveSpec, lay: Layout, phase: float) -> Mesh:
    """The thickened web of the wheel round its crank pin."""
    c = lay.crank
    web = [(-0.09 * lay.wheel_d, 0.06), (c, 0.075), (c, -0.075), (-0.09 * lay.wheel_d, -0.06)]
    plate = prism(web, (-0.2 * s.wheel_width, 0.4 * s.wheel_width), bevel=0.012).turned("y", -phase)
    pin = rod(0.09, -0.2 * s.wheel_width, 0.5 * s.wheel_width, "y", 12)
    return join([plate, pin.moved(c * np.cos(phase), 0, c * np.sin(phase))])


def ball_at(x: float, y: float, z: float, r: float) -> Mesh:
    """A small sphere, for knobs and lamp bulbs."""
    return ball(r, 10).moved(x, y, z)
