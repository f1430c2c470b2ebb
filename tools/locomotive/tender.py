"""Tenders: tanks, frames or trucks, coal, lamps and lettering."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.lamps import lamp
from tools.locomotive.layout import HALF_GAUGE, Layout
from tools.locomotive.lettering import on_sides, text_mesh, text_size
from tools.locomotive.lining import lining_loop
from tools.locomotive.prisms import prism
from tools.locomotive.solids import (
    Mesh,
    ball,
    bend,
    box,
    lathe,
    rod,
    span,
    tube,
)
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.tender_body import add_body
from tools.locomotive.wheels import add_wheelset

GAP = 0.32  # m between engine and tender; chosen by eye


def tender_axles_x(s: LocomotiveSpec, lay: Layout) -> tuple[list[list[float]], float, float, float]:
    """Axles of each truck (a rigid tender has one), wheel diameter, front and rear x."""
    n = s.tender_axles
    d = float(np.clip(s.tender_wheel_d * lay.wheel_d, 0.62, 1.1))
    trucks = s.tender_trucks == "trucks" and n >= 4
    need = n * 1.16 * d + 0.5 + (0.55 if trucks else 0.0)
    front = lay.rear - GAP
    length = max(s.tender_len * lay.length, need)
    rear = front - length
    if not trucks:
        pitch = min((length - d - 0.45) / max(n - 1, 1), 2.1 * d if n > 2 else 3.0 * d)
        mid = 0.5 * (front + rear)
        return [[mid + pitch * (n - 1) / 2 - pitch * k for k in range(n)]], d, front, rear
    ahead, behind = (n + 1) // 2 if n != 5 else 2, n // 2 if n != 5 else 3
    pitch = min(1.18 * d + 0.1, (length - 0.9 - 2 * d) / max(n - 2, 1))
    pitch = max(pitch, 1.06 * d)
    a = front - 0.22 - d / 2
    b = rear + 0.22 + d / 2
    return (
        [[a - pitch * k for k in range(ahead)], [b + pitch * k for k in reversed(range(behind))]],
        d,
        front,
        rear,
    )


def add_tender(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The whole tender, owner "tender"."""
    kit.owner = "tender"
    trucks, d, front, rear = tender_axles_x(s, lay)
    for xs in trucks:
        for x in xs:
            add_wheelset(
                kit,
                x,
                d,
                style=s.truck_style,
                spokes=max(7, int(0.7 * s.spokes)),
                width=s.wheel_width,
                name="tender_wheel",
            )
        _side_frame(kit, s, xs, d)
    deck = max(d + 0.06, min(lay.board_z, d + 0.55))
    y = lay.cab_y
    kit.add(
        "tender_frame",
        "frame",
        span((rear, front), (-y + 0.05, y - 0.05), (deck - 0.2, deck), 0.01),
    )
    kit.add(
        "tender_frame",
        "frame",
        span((rear + 0.3, front - 0.3), (-0.45, 0.45), (0.45 * d, deck), 0.04),
    )
    w = y - 0.03
    kit.add(
        "tender_beam",
        "beam",
        span((rear - 0.05, rear + 0.04), (-w, w), (deck - 0.36, deck - 0.01), 0.01),
    )
    hook = tube(
        bend(
            [[rear, 0, deck - 0.2], [rear - 0.25, 0, deck - 0.2], [rear - 0.27, 0, deck - 0.1]],
            0.05,
        ),
        0.03,
    )
    kit.add("tender_frame", "steel", hook)
    top = add_body(kit, s, lay, front=front, rear=rear, deck=deck)
    _dress(kit, s, lay, front=front, rear=rear, deck=deck, top=top)
    kit.owner = "locomotive"


def _side_frame(kit: Kit, s: LocomotiveSpec, xs: list[float], d: float) -> None:
    """Frames outside the wheels with axle boxes."""
    y = HALF_GAUGE + s.wheel_width + 0.04
    x0, x1 = min(xs) - 0.62 * d, max(xs) + 0.62 * d
    mid = d / 2
    style = s.tender_frame if len(xs) < 4 else ("cut" if s.tender_frame != "plate" else "plate")
    boxes = [box([x, y + 0.05, mid], [0.24, 0.14, 0.26], 0.03) for x in xs]
    if style in ("plate", "cut"):
        path = [(x0, d + 0.1), (x0, 0.8 * d)]
        for x in sorted(xs):
            path += [
                (x - 0.28, 0.8 * d),
                (x - 0.19, 0.3 * d),
                (x + 0.19, 0.3 * d),
                (x + 0.28, 0.8 * d),
            ]
        path += [(x1, 0.8 * d), (x1, d + 0.1)]
        frame = prism(path, (y - 0.03, y + 0.01), bevel=0.008)
        springs = [
            box([x, y + 0.04, 0.86 * d - 0.035 * k], [0.75 - 0.13 * k, 0.07, 0.03], 0.004)
            for x in xs
            for k in range(4)
        ]
        kit.pair("tender_frame", "frame", frame, *(springs if style == "cut" else []))
    elif style == "bar":
        bars = [
            tube(
                bend(
                    [
                        [x0, y, mid + 0.2],
                        [x0 + 0.2, y, mid + 0.24],
                        [x1 - 0.2, y, mid + 0.24],
                        [x1, y, mid + 0.2],
                    ],
                    0.1,
                ),
                0.035,
                6,
            ),
            tube(
                bend(
                    [
                        [min(xs) - 0.1, y, mid + 0.18],
                        [sum(xs) / len(xs) - 0.2, y, mid - 0.2],
                        [sum(xs) / len(xs) + 0.2, y, mid - 0.2],
                        [max(xs) + 0.1, y, mid + 0.18],
                    ],
                    0.1,
                ),
                0.035,
                6,
            ),
        ]
        kit.pair(
            "tender_frame",
            "frame",
            *bars,
            box([sum(xs) / len(xs), y, mid + 0.02], [0.3, 0.1, 0.4], 0.02),
        )
    else:
        kit.pair(
            "tender_frame",
            "frame",
            box([(x0 + x1) / 2, y, mid + 0.12], [x1 - x0 - 0.1, 0.09, 0.22], 0.05),
        )
    kit.pair("tender_frame", "frame", *boxes)
    kit.pair(
        "tender_frame",
        "steel",
        *(rod(0.06, y + 0.1, y + 0.14, "y", 10).moved(x, 0, mid) for x in xs),
    )


def _ladder(rear: float, y: float, deck: float, top: float) -> list[Mesh]:
    """Rungs and stiles on the tender's rear."""
    x = rear - 0.02
    rungs = np.arange(deck + 0.1, top - 0.1, 0.22)
    stiles = [tube([[x, u * y, deck], [x, u * y, top - 0.1]], 0.016, 5) for u in (0.45, 0.75)]
    return stiles + [tube([[x, 0.45 * y, z], [x, 0.75 * y, z]], 0.016, 5) for z in rungs]


def _dress(
    kit: Kit, s: LocomotiveSpec, lay: Layout, *, front: float, rear: float, deck: float, top: float
) -> None:
    """Buffers, ladder, lamps, lining and letters."""
    y, mid = lay.cab_y, 0.5 * (front + rear)
    if s.rear_end == "buffers":
        p = [
            (0, 0.14),
            (0.05, 0.1),
            (0.25, 0.08),
            (0.25, 0.055),
            (0.38, 0.2),
            (0.43, 0.19),
            (0.44, 0),
        ]
        kit.pair(
            "tender_frame",
            "steel",
            lathe([(-u, r) for u, r in p], "x", 18).moved(rear - 0.05, 0.72, deck - 0.18),
        )
    if s.tender_style not in ("low", "barrel", "drum", "streamlined", "tub", "slope"):
        kit.add("tender_rail", "steel", *_ladder(rear, y, deck, top))
    high = {"slope": 0.3, "barrel": 0.12, "drum": 0.5, "tub": 0.7}.get(s.tender_style, 0.82)
    z = min(top - 0.16, deck + high * (top - deck))
    for ly in {0: (), 1: (0.0,), 2: (-0.55 * y, 0.55 * y)}[s.tender_lamps]:
        body, _ = lamp(rear - 0.06, ly, z, r=0.15, sign=-1)
        lens = ball(0.15, 14).stretched(x=0.4, y=0.9, z=0.9).moved(rear - 0.13, ly, z)
        kit.add("tender_lamp", "lamp", body)
        kit.add("tender_lamp", "lens_red" if s.seed % 2 else "lens", lens.moved(-0.004))
    if s.lining in ("cab_tender", "litho") and s.tender_style not in (
        "drum",
        "barrel",
        "tub",
        "slope",
        "streamlined",
    ):
        kit.pair(
            "tender_lining",
            "lining",
            lining_loop((rear + 0.15, front - 0.37), (deck + 0.09, top - 0.22), y),
        )
    if s.lettering and s.tender_style not in ("drum", "barrel", "low", "slope", "tub"):
        h = min(s.letter_h, 0.45 * (top - deck))
        w, _ = text_size(s.lettering, s.number_font, h)
        h *= min(1.0, 0.75 * (front - rear) / w)
        for mesh in on_sides(
            text_mesh(s.lettering, s.number_font, h), mid, y + 0.004, deck + 0.52 * (top - deck)
        ):
            kit.add("tender_letters", "number", mesh)
