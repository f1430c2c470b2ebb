"""Tenders: tanks, frames or trucks, coal, lamps and lettering."""

from __future__ import annotations

import numpy as np

from tools.locomotive.boiler import casing_section, lamp
from tools.locomotive.cab import lining_loop
from tools.locomotive.kit import Kit
from tools.locomotive.layout import HALF_GAUGE, Layout
from tools.locomotive.lettering import on_sides, text_mesh, text_size
from tools.locomotive.prisms import loft, prism
from tools.locomotive.solids import (
    Mesh,
    arc,
    ball,
    bend,
    box,
    join,
    lathe,
    rod,
    round_rect,
    span,
    tube,
)
from tools.locomotive.spec import LocomotiveSpec, child
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
    kit.add("tender_beam", "steel", hook)
    top = _body(kit, s, lay, front=front, rear=rear, deck=deck)
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
    kit.pair("tender_axlebox", "frame", *boxes)
    kit.pair(
        "tender_axlebox",
        "steel",
        *(rod(0.06, y + 0.1, y + 0.14, "y", 10).moved(x, 0, mid) for x in xs),
    )


def _body(
    kit: Kit, s: LocomotiveSpec, lay: Layout, *, front: float, rear: float, deck: float
) -> float:
    """The tank; returns the height of its top."""
    y, h = lay.cab_y, min(s.tender_h, max(lay.roof_z - deck - 0.1, 0.8))
    style = s.tender_style
    h *= {"high": 1.15, "low": 0.6, "barrel": 0.9, "streamlined": 1.1}.get(style, 1.0)
    top, a, b = deck + h, rear + 0.03, front - 0.25
    skin = "tender_paint"
    if style == "drum":
        r = min(0.55 * h, y)
        kit.add(
            "tender_body",
            skin,
            lathe([(a, 0), (a, 0.9 * r), (a + 0.08, r), (b - 0.5, r), (b - 0.5, 0)], "x", 36).moved(
                z=deck + r
            ),
        )
        kit.add("tender_body", skin, span((a + 0.45 * (b - a), b), (-y, y), (deck, top), 0.03))
        top = max(top, deck + 2 * r)
    elif style == "slope":
        m = a + 0.45 * (b - a)
        kit.add(
            "tender_body",
            skin,
            prism(
                [(a, deck), (b, deck), (b, top), (m, top), (a, deck + 0.4 * h)], (-y, y), bevel=0.03
            ),
        )
    elif style == "streamlined":
        ring = casing_section(y, top, deck, 0.7)
        kit.add(
            "tender_body",
            skin,
            loft(
                np.array(
                    [np.column_stack([np.full(len(ring), x), ring]) for x in np.linspace(a, b, 3)]
                )
            ),
        )
        kit.add(
            "tender_body", skin, prism(ring, (a, a + 0.02), "yz"), prism(ring, (b - 0.02, b), "yz")
        )
    elif style == "tub":
        low = [
            (-y, deck + 0.55 * h),
            *[
                (-y + 0.45 * h * (1 - np.cos(t)), deck + 0.45 * h * (1 - np.sin(t)))
                for t in np.linspace(0, np.pi / 2, 7)
            ],
        ]
        outline = [*low, *[(-u, v) for u, v in low[::-1]], (0.75 * y, top), (-0.75 * y, top)]
        kit.add("tender_body", skin, prism(outline, (a, b), "yz", bevel=0.02))
    elif style == "barrel":
        kit.add(
            "tender_body",
            "wood",
            lathe(
                [
                    (a + 0.2, 0),
                    (a + 0.2, 0.4 * h),
                    (0.5 * (a + b), 0.5 * h),
                    (b - 0.4, 0.4 * h),
                    (b - 0.4, 0),
                ],
                "x",
                28,
            ).moved(z=deck + 0.5 * h),
        )
        kit.pair("tender_body", skin, span((a, b), (y - 0.05, y), (deck, deck + 0.25 * h), 0.01))
    else:
        r = {"curved": 0.3 * h}.get(style, 0.03)
        outline = [
            (-y, deck),
            (y, deck),
            *arc(y - r, top - r, r, 0, np.pi / 2, 6),
            *arc(-y + r, top - r, r, np.pi / 2, np.pi, 6),
        ]
        kit.add("tender_body", skin, prism(outline, (a, b), "yz", bevel=0.03))
    if style in ("flared", "low"):
        flare = [
            (y - 0.03, top - 0.02),
            (y, top - 0.02),
            (y + 0.1, top + 0.13),
            (y + 0.08, top + 0.15),
        ]
        kit.pair("tender_body", skin, prism(flare, (a, b), "yz"))
        kit.add(
            "tender_body",
            skin,
            prism(
                [
                    (-u, w)
                    for u, w in (
                        (-a, top - 0.02),
                        (-a + 0.03, top - 0.02),
                        (-a + 0.11, top + 0.15),
                        (-a + 0.09, top + 0.15),
                    )
                ],
                (-y - 0.05, y + 0.05),
            ),
        )
        top += 0.15
    if s.tender_rails and style not in ("streamlined", "drum", "barrel"):
        rails = [
            tube(
                bend(
                    [
                        [b, y - 0.03, top - 0.1],
                        [b, y - 0.03, z],
                        [a, y - 0.03, z],
                        [a, y - 0.03, top - 0.1],
                    ],
                    0.05,
                ),
                0.018,
                6,
            )
            for z in (top + 0.12, top + 0.24)
        ]
        kit.pair("tender_rail", "steel", *rails)
    _coal(kit, s, a=a + 0.32 * (b - a), b=b - 0.03, y=0.82 * y, top=deck + h, deck=deck)
    return top


def _coal(
    kit: Kit, s: LocomotiveSpec, *, a: float, b: float, y: float, top: float, deck: float
) -> None:
    rng = child(s.seed, "coal_lumps")
    if s.coal == "empty" or s.tender_style == "barrel":
        return
    if s.coal == "oil":
        kit.add(
            "coal",
            "tender_paint",
            span((a, b), (-y, y), (top - 0.05, top + 0.25), 0.04),
            rod(0.22, top + 0.2, top + 0.34).moved(0.5 * (a + b)),
        )
        return
    if s.coal in ("wood", "barrel"):
        logs = [
            rod(0.09, -0.9 * y, 0.9 * y, "y", 8).moved(
                a + 0.12 + 0.19 * i, 0, top + 0.05 + 0.16 * j
            )
            for j in range(3)
            for i in range(int((b - a - 0.2) / 0.19))
            if rng.random() < 0.9 - 0.2 * j
        ]
        kit.add("coal", "wood", *logs)
        return
    high = 0.5 if s.coal == "heaped" else 0.25
    xs, ys = np.linspace(a, b, 26), np.linspace(-y, y, 20)
    gx, gy = np.meshgrid(np.linspace(-1, 1, 26), np.linspace(-1, 1, 20), indexing="ij")
    z = top - 0.06 + high * (1 - gx**2) ** 0.5 * (1 - gy**4) + rng.uniform(-0.06, 0.06, gx.shape)
    pts = np.stack([np.repeat(xs[:, None], 20, 1), np.repeat(ys[None], 26, 0), z], -1)
    quad = np.concatenate([pts[:-1, :-1], pts[1:, :-1], pts[1:, 1:], pts[:-1, 1:]], -1).reshape(
        -1, 4, 3
    )
    tri = quad[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3)
    kit.add("coal", "coal", Mesh(tri, np.arange(len(tri)).reshape(-1, 3)))


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
            "tender_beam",
            "steel",
            lathe([(-u, r) for u, r in p], "x", 18).moved(rear - 0.05, 0.72, deck - 0.18),
        )
    rungs = [
        tube([[rear - 0.02, 0.45 * y, z], [rear - 0.02, 0.75 * y, z]], 0.016, 5)
        for z in np.arange(deck + 0.1, top - 0.1, 0.22)
    ]
    kit.add(
        "tender_rail",
        "steel",
        *rungs,
        *(
            tube([[rear - 0.02, u * y, deck], [rear - 0.02, u * y, top - 0.1]], 0.016, 5)
            for u in (0.45, 0.75)
        ),
    )
    z = min(top - 0.16, deck + 0.82 * (top - deck))
    for ly in {0: (), 1: (0.0,), 2: (-0.62 * y, 0.62 * y)}[s.tender_lamps]:
        body, _ = lamp(rear - 0.06, ly, z, r=0.13, sign=-1)
        lens = ball(0.13, 14).stretched(x=0.4, y=0.9, z=0.9).moved(rear - 0.13, ly, z)
        kit.add("tender_lamp", "lamp", body, join([lens]))
        kit.add("tender_lamp", "lens_red" if s.seed % 2 else "lens", lens.moved(-0.004))
    if s.lining == "cab_tender" and s.tender_style not in (
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
