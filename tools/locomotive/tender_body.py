"""The tank of a tender and what lies on it."""

from __future__ import annotations

import numpy as np

from tools.locomotive.casing import casing_section
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import loft, prism
from tools.locomotive.rules import child
from tools.locomotive.solids import (
    Mesh,
    arc,
    bend,
    lathe,
    rod,
    span,
    tube,
)
from tools.locomotive.spec import LocomotiveSpec


def add_body(
    kit: Kit, s: LocomotiveSpec, lay: Layout, *, front: float, rear: float, deck: float
) -> float:
    """The tank; returns the height of its top."""
    y, h = lay.cab_y, min(s.tender_h, max((0.6 + 0.1 * s.tender_h) * (lay.roof_z - deck), 0.6))
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
    add_coal(kit, s, a=a + 0.32 * (b - a), b=b - 0.03, y=0.82 * y, top=deck + h, deck=deck)
    return top


def add_coal(
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
