"""Buffer beams, buffers, couplers and cowcatchers."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.solids import Mesh, bend, box, lathe, span, tube
from tools.locomotive.spec import LocomotiveSpec


def beam_top(s: LocomotiveSpec, lay: Layout, end: str) -> float:
    """Height of a buffer beam's top."""
    z = lay.board_at(lay.front if end == "front" else lay.rear)
    if s.board_profile == "short" and end == "front":
        return min(0.62 * z + 0.2, 1.15)
    return min(z, 1.25) - 0.005


def add_ends(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Buffer beams, buffers, couplers and cowcatcher."""
    for end, style, x, sign in (
        ("front", s.front_end, lay.front, 1),
        ("rear", s.rear_end, lay.rear, -1),
    ):
        z1 = beam_top(s, lay, end)
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
            kit.add("buffer", "frame", *_coupler(x, sign, z0))
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
