"""Frames, running boards with their edge and stripe, ends, steps, pipes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.ends import add_ends, beam_top
from tools.locomotive.kit import Kit
from tools.locomotive.layout import HALF_GAUGE, Layout
from tools.locomotive.prisms import prism, ribbon
from tools.locomotive.rules import child
from tools.locomotive.solids import Mesh, arc, bend, box, span, tube
from tools.locomotive.spec import LocomotiveSpec


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
    _decks(kit, s, lay)
    if s.edge_stripe == "present":
        top, height = stripe_band(s, lay)
        y = (lay.board_y - 0.01, lay.board_y + 0.0007 * lay.length)
        for piece in _pieces(s, lay):
            kit.pair("edge_stripe", "stripe", _band(piece, top, height, y), sided=True)


def _decks(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The floor between the boards ahead of the smokebox and the plate at its end."""
    end = float(lay.board[-1, 0])
    start = max(lay.smoke_rear, lay.drivers[0] + 0.56 * lay.wheel_d)
    beam = beam_top(s, lay, "front")
    if s.board_profile == "short":
        kit.add(
            "running_board",
            "frame",
            span((start, lay.front - 0.02), (-0.85, 0.85), (beam - 0.05, beam), 0.01),
        )
        return
    inside = lay.board[(lay.board[:, 0] > start + 1e-3)]
    path = np.concatenate([[[start, lay.board_at(start)]], inside])
    if end - start > 0.1:
        kit.add(
            "running_board", "edge", _band(path, 0.0, 0.03, (-0.7 * lay.board_y, 0.7 * lay.board_y))
        )
    rise = lay.board_at(end) - beam
    if rise > 0.05:
        w = 0.9 * lay.board_y
        kit.add(
            "running_board",
            "frame",
            span((end - 0.05, end - 0.01), (-w, w), (beam - 0.05, beam + rise), 0.01),
        )


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
    end_z = min(top, beam_top(s, lay, "front"))
    shape = [
        (lay.rear + 0.05, 0.55 * top),
        (lay.drivers[-1] - 0.6 * d, low),
        (lay.drivers[0] + 0.6 * d, low),
        (front, 0.55 * end_z),
        (front, end_z),
        (lay.smoke_front - 0.2, end_z + 0.35 * (top - end_z)),
        (lay.drivers[0] + 0.6 * d, min(top, lay.board_at(lay.drivers[0]))),
        (lay.rear + 0.05, top),
    ]
    kit.pair("frame", "frame", prism(shape, (y - 0.04, y), bevel=0.01))
    if s.firebox != "none" or s.family != "tinplate":
        kit.add(
            "frame",
            "frame",
            span((lay.cab_front - 0.25, lay.cab_front + 0.9), (-0.5, 0.5), (0.38 * d, top), 0.05),
        )
    if s.outside_frame and s.frame_shape == "horns":
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
                    span((x - 0.17, x + 0.17), (y - 0.22, y - 0.02), (0.42, 0.45), 0.008),
                    span((x - 0.16, x - 0.12), (y - 0.24, y - 0.2), (0.42, top + 0.02), 0.005),
                    span((x + 0.12, x + 0.16), (y - 0.24, y - 0.2), (0.42, top + 0.02), 0.005),
                    span((x - 0.14, x + 0.14), (y - 0.22, y - 0.06), (0.78, 0.81), 0.005),
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
        if rise < 0.1 or z < lay.wheel_d / 2:
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
