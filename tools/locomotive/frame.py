"""Frames, running boards with their edge and stripe, ends, steps, pipes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.kit import Kit
from tools.locomotive.layout import HALF_GAUGE, Layout
from tools.locomotive.prisms import prism, ribbon
from tools.locomotive.solids import Mesh, arc, bend, box, lathe, span, tube
from tools.locomotive.spec import LocomotiveSpec, child


def _band(path: NDArray[np.float64], top: float, height: float, y: tuple[float, float]) -> Mesh:
    """A band along the board's edge, starting `top` below the board's top line."""
    outline = ribbon(path, top + height)
    n = len(path)
    if top > 0:
        upper = ribbon(path, top)[n:][::-1]
        outline = np.concatenate([upper, outline[n:]])
    return prism(outline, y)


def stripe_band(s: LocomotiveSpec, lay: Layout) -> tuple[float, float]:
    """Start below the board's top and height of the stripe, both metres."""
    height = max(s.stripe_part * lay.edge_h, 0.0042 * lay.length)
    rest = max(lay.edge_h - height, 0.0)
    return {"top": 0.0, "middle": 0.5 * rest, "bottom": rest}[s.stripe_place], min(
        height, lay.edge_h
    )


def add_boards(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Running boards: a plate on each side with an edge strip, and the stripe if present."""
    inner = 0.3 if s.splashers or s.casing != "none" else HALF_GAUGE - 0.25
    plate = _band(lay.board, 0.0, 0.035, (min(inner, 0.5 * lay.board_y), lay.board_y - 0.02))
    kit.pair("running_board", "edge", plate)
    kit.pair(
        "running_board",
        "edge",
        _band(lay.board, 0.0, lay.edge_h, (lay.board_y - 0.035, lay.board_y)),
    )
    if s.edge_stripe == "present":
        top, height = stripe_band(s, lay)
        y = (lay.board_y - 0.01, lay.board_y + 0.0007 * lay.length)
        for piece in _pieces(s, lay):
            kit.pair("edge_stripe", "stripe", _band(piece, top, height, y), sided=True)


def _pieces(s: LocomotiveSpec, lay: Layout) -> list[NDArray[np.float64]]:
    """The board's line, cut where the paint is worn away."""
    x0, x1 = lay.board[0, 0], lay.board[-1, 0]
    rng = child(s.seed, "worn_stripe")
    count = int(rng.integers(3, 9))
    cuts = np.sort(rng.uniform(x0, x1, count))
    widths = rng.uniform(0.3, 1.0, count)
    widths *= s.stripe_gaps * (x1 - x0) / max(widths.sum(), 1e-9)
    out, at = [], x0
    ends = [(c, c + w) for c, w in zip(cuts, widths, strict=True)] if s.stripe_gaps > 0 else []
    for a, b in [*ends, (x1, x1)]:
        if a - at > 0.02:
            inside = lay.board[(lay.board[:, 0] > at + 1e-3) & (lay.board[:, 0] < a - 1e-3)]
            tips = [np.array([[x, lay.board_at(x)]]) for x in (at, min(a, x1))]
            out.append(np.concatenate([tips[0], inside, tips[1]]))
        at = max(at, min(b, x1))
    return out


def add_frames(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Main frames, outside frames, ash pan, beams and what stands on them."""
    low, d = 0.42 * lay.wheel_d, lay.wheel_d
    top = lay.board_z - 0.01
    y = HALF_GAUGE - 0.14
    front = lay.front - 0.05
    end_z = min(top, lay.board_at(front))
    shape = [(lay.rear + 0.05, 0.55 * top), (lay.drivers[-1] - 0.6 * d, low), (lay.drivers[0] + 0.6 * d, low),
             (front, 0.55 * end_z), (front, end_z), (lay.drivers[0] + 0.6 * d, min(top, lay.board_at(lay.drivers[0]))), (lay.rear + 0.05, top)]  # fmt: skip
    kit.pair("frame", "frame", prism(shape, (y - 0.04, y), bevel=0.01))
    if s.firebox != "none" or s.family != "tinplate":
        kit.add(
            "frame",
            "frame",
            span((lay.cab_front - 0.25, lay.cab_front + 0.9), (-0.5, 0.5), (0.38 * d, top), 0.05),
        )
    if s.outside_frame:
        _outside_frames(kit, lay, top)
    _axleboxes(kit, s, lay)
    kit.add(
        "frame",
        "frame",
        span((lay.drivers[0] - 0.1, lay.smoke_front - 0.1), (-0.4, 0.4), (0.5 * d, top), 0.04),
    )
    add_ends(kit, s, lay)


def _outside_frames(kit: Kit, lay: Layout, top: float) -> None:
    d, y = lay.wheel_d, lay.rod_y - 0.15
    low = 0.34 * d
    path = [(lay.drivers[-1] - 0.75 * d, top)]
    for x in reversed(lay.drivers):
        path += [
            (x - 0.24 * d, 0.62 * d),
            (x - 0.16 * d, low),
            (x + 0.16 * d, low),
            (x + 0.24 * d, 0.62 * d),
        ]
    path += [(lay.drivers[0] + 0.7 * d, top)]
    kit.pair("frame", "frame", prism(path, (y - 0.04, y + 0.02), bevel=0.01))


def _axleboxes(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Truck frames of leading and trailing wheels, inside the wheels or outside."""
    for xs, d in ((lay.leading, lay.lead_d), (lay.trailing, lay.trail_d)):
        if not xs:
            continue
        x0, x1 = min(xs) - 0.45 * d, max(xs) + 0.45 * d
        outside = xs == lay.trailing and s.driver_gap > 0.12
        y = HALF_GAUGE + s.wheel_width + 0.06 if outside else HALF_GAUGE - 0.2
        kit.pair(
            "frame", "frame", box([(x0 + x1) / 2, y, d / 2 + 0.1], [x1 - x0, 0.05, 0.16], 0.015)
        )
        if outside:
            kit.pair(
                "frame", "frame", *(box([x, y + 0.03, d / 2], [0.2, 0.12, 0.2], 0.03) for x in xs)
            )


def add_ends(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Buffer beams, buffers, couplers and cowcatcher."""
    for end, style, x, sign in (
        ("front", s.front_end, lay.front, 1),
        ("rear", s.rear_end, lay.rear, -1),
    ):
        z1 = min(lay.board_at(x), 1.25) - 0.005
        if s.board_profile == "short" and end == "front":
            z1 = min(z1, 0.85 * z1 + 0.05)
        z0 = z1 - 0.34
        w = lay.board_y - 0.04
        kit.add("buffer_beam", "beam", span((x - sign * 0.08, x), (-w, w), (z0, z1), 0.012))
        if style == "buffers":
            kit.pair("buffer", "steel", _buffer(sign).moved(x, 0.55 * w + 0.18, 0.5 * (z0 + z1)))
        if style in ("buffers", "plain"):
            hook = tube(
                bend(
                    [
                        [x, 0, z0 + 0.17],
                        [x + sign * 0.2, 0, z0 + 0.17],
                        [x + sign * 0.22, 0, z0 + 0.26],
                    ],
                    0.05,
                ),
                0.03,
            )
            kit.add("buffer", "steel", hook)
        if style == "center":
            kit.add("buffer", "steel", _buffer(sign).moved(x, 0, 0.5 * (z0 + z1) - 0.05))
        if style in ("coupler", "cowcatcher"):
            kit.add("coupler", "frame", *_coupler(x, sign, z0))
        if style == "footboard":
            kit.add("cowcatcher", "frame", span((x, x + sign * 0.3), (-w, w), (0.28, 0.34), 0.01))
            kit.pair(
                "cowcatcher",
                "frame",
                span((x - 0.05, x + 0.02), (w - 0.15, w - 0.08), (0.3, z0), 0.01),
            )
    if s.front_end == "cowcatcher":
        _cowcatcher(kit, s, lay)


def _buffer(sign: int) -> Mesh:
    p = [
        (0, 0),
        (0, 0.15),
        (0.05, 0.15),
        (0.06, 0.1),
        (0.24, 0.085),
        (0.24, 0.06),
        (0.4, 0.055),
        (0.41, 0.2),
        (0.43, 0.205),
        (0.455, 0.12),
        (0.46, 0),
    ]
    return lathe([(sign * a, r) for a, r in p], "x", 20)


def _coupler(x: float, sign: int, z: float) -> list[Mesh]:
    shank = span((x, x + sign * 0.32), (-0.07, 0.07), (z + 0.06, z + 0.22), 0.02)
    knuckle = box([x + sign * 0.36, 0.03, z + 0.14], [0.18, 0.26, 0.26], 0.05)
    return [shank, knuckle]


def _cowcatcher(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """A pilot: bars from the beam to a V close above the rail."""
    z1, w = min(lay.board_at(lay.front), 1.2) - 0.3, 0.95 * lay.board_y
    x, deep = lay.front, 0.75 + 0.25 * s.overhang_front
    count = 13 if s.cow_style == "bars" else 9
    foot = lambda u: np.array([x + deep * (1 - 0.75 * abs(u)), 0.86 * w * u, 0.12])  # noqa: E731
    head = lambda u: np.array([x + 0.03, 0.62 * w * u, z1 + 0.05])  # noqa: E731
    us = np.linspace(-1, 1, count)
    if s.cow_style == "plate":
        for a, b in zip(us[:-1:2], us[2::2], strict=False):
            quad = np.array([head(a), head(b), foot(b), foot(a)])
            kit.add("cowcatcher", "cow", tube(quad[[0, 3]], 0.03), tube(quad[[1, 2]], 0.03))
        us = np.linspace(-1, 1, 5)
    thick = 0.03 if s.cow_style == "bars" else 0.045
    kit.add("cowcatcher", "cow", *(tube([head(u), foot(u)], thick, 6) for u in us))
    kit.add(
        "cowcatcher",
        "cow",
        tube([foot(u) for u in (-1.0, 0.0, 1.0)], 0.05, 8),
        tube([head(-1.0), head(1.0)], 0.05, 8),
    )


def add_details(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Steps, sand pipes, brake hangers, pipes along the frames: false friends of a linkage."""
    d, y = lay.wheel_d, lay.board_y
    if s.steps:
        for x in (lay.cab_rear + 0.25, lay.front - 0.35):
            top = lay.board_at(x) - lay.edge_h
            if top > 0.7:
                kit.pair(
                    "steps",
                    "frame",
                    span((x - 0.2, x + 0.2), (y - 0.2, y - 0.02), (0.42, 0.46), 0.008),
                    span((x - 0.16, x + 0.16), (y - 0.24, y - 0.21), (0.42, top + 0.02), 0.005),
                )
    for i, x in enumerate(lay.drivers):
        wy = HALF_GAUGE + 0.02
        if s.brakes:
            kit.pair(
                "brakes",
                "frame",
                box([x - 0.56 * d, wy, 0.42 * d], [0.07, 0.09, 0.5 * d], 0.012),
                box([x - 0.54 * d, wy, 0.42 * d], [0.1, 0.11, 0.2 * d], 0.02),
            )
        if s.sand_pipes and i in (0, len(lay.drivers) - 1):
            sign = 1 if i == 0 else -1
            p = [
                [x + sign * 0.5 * d, wy + 0.1, lay.board_at(x) - 0.04],
                [x + sign * 0.57 * d, wy + 0.05, 0.4 * d],
                [x + sign * 0.5 * d, wy, 0.08],
            ]
            kit.pair("brakes", "pipe", tube(bend(p, 0.15), 0.022, 6))
    if s.running_pipe:
        z = lay.board_z - lay.edge_h - 0.1
        p = [
            [lay.cab_rear + 0.2, y - 0.12, z],
            [lay.drivers[-1] + 0.1, y - 0.12, z],
            [lay.drivers[-1] + 0.5, y - 0.16, z + 0.03],
            [lay.drivers[0], y - 0.16, z + 0.03],
        ]
        kit.pair("pipes", "pipe", tube(bend(p, 0.1), 0.03, 7))


def add_splashers(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Covers over drivers that rise above the running board."""
    for x in lay.drivers:
        z, r = lay.board_at(x), 0.5 * lay.wheel_d + 0.07
        rise = lay.wheel_d / 2 + r - z
        if rise < 0.04 or z < lay.wheel_d / 2:
            continue
        a = float(np.arcsin(np.clip((z - lay.wheel_d / 2) / r, -1, 1)))
        rim = arc(x, lay.wheel_d / 2, r, a, np.pi - a, 14)
        y1 = (
            min(lay.rod_y - 0.015, lay.board_y - 0.1)
            if not s.splasher_open
            else HALF_GAUGE + s.wheel_width - 0.02
        )
        inner = arc(x, lay.wheel_d / 2, r - 0.02, np.pi - a, a, 14)
        kit.pair("splasher", "body", prism(rim + inner, (0.35, y1), bevel=0.006))
        face = (
            rim
            if not s.splasher_open
            else rim + arc(x, lay.wheel_d / 2, 0.82 * r, np.pi - a, a, 14)
        )
        kit.pair("splasher", "body", prism(face, (y1 - 0.02, y1), bevel=0.006))
        if s.dome_color in ("brass", "copper"):
            kit.pair(
                "splasher",
                "brass",
                prism(
                    arc(x, lay.wheel_d / 2, r + 0.012, a, np.pi - a, 14)
                    + arc(x, lay.wheel_d / 2, r - 0.03, np.pi - a, a, 14),
                    (y1 - 0.005, y1 + 0.008),
                ),
            )
