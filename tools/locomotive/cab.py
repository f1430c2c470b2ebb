"""Cabs, their windows, roofs, bunkers and the number."""

from __future__ import annotations

import numpy as np

from tools.locomotive.cab_styles import (
    ROOFS,
    STYLES,
    printed_frames,
    roof_line,
    side,
)
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.lettering import on_sides, text_mesh, text_size
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc, bend, lathe, round_rect, span, tube
from tools.locomotive.spec import LocomotiveSpec

Loop = list[tuple[float, float]]


def waist(lay: Layout) -> float:
    """Height of the cab side's lower panel."""
    return lay.board_z + 0.5 * (lay.roof_z - lay.board_z)


def _hole(shape: str, x: tuple[float, float], z: tuple[float, float]) -> Loop:
    w = x[1] - x[0]
    if shape == "round":
        r = 0.5 * min(w, z[1] - z[0])
        return arc(sum(x) / 2, sum(z) / 2, r, 0, 2 * np.pi, 20)[:-1]
    if shape == "arched":
        r = 0.5 * w
        return [(x[0], z[0]), (x[1], z[0]), *arc(sum(x) / 2, z[1] - r, r, 0, np.pi, 10)]
    return round_rect(x, z, 0.02 if shape == "rect" else 0.3 * w, 3)


def side_outline(s: LocomotiveSpec, lay: Layout) -> tuple[Loop, list[Loop]]:
    """Outline and window holes of the cab side, (x, z)."""
    a, b, z0, z1 = lay.cab_rear, lay.cab_front, lay.board_z, lay.roof_z
    mid, w = waist(lay), b - a
    lean = 0.22 * w if s.cab == "slanted" else 0.0
    if s.cab in ("open", "posts", "screen"):
        low = z0 + 0.42 * (z1 - z0)
        return [
            (a, z0),
            (b, z0),
            (b, low),
            *arc(a + 0.12, low - 0.12, 0.12, np.pi / 2, np.pi, 4),
        ], []
    if s.cab == "half":
        cut = arc(a, mid + 0.42 * w, 0.42 * w, -np.pi / 2, 0.0, 8)
        return [(a, z0), (b, z0), (b, z1), (a + 0.42 * w, z1), *cut[::-1]], _windows(
            s, (a + 0.46 * w, b), (mid, z1)
        )
    if s.cab in STYLES:
        outline, start = side(s.cab, lay, mid)
        return outline, _windows(s, (start + 0.02 * w, b), (mid, z1), most=2)
    outline = [(a, z0), (b, z0), (b, mid), (b - lean, z1), (a, z1)]
    if s.cab == "cut":
        x0 = a + 0.1 * w
        return outline, [
            round_rect((x0, x0 + 0.42 * w), (mid - 0.1, z1 - 0.12), 0.18, 5),
            *_windows(s, (x0 + 0.48 * w, b), (mid, z1), most=1),
        ]
    return outline, _windows(s, (a, b - lean), (mid, z1))


def _windows(
    s: LocomotiveSpec, x: tuple[float, float], z: tuple[float, float], most: int = 3
) -> list[Loop]:
    n = min(s.cab_windows, most)
    room = (x[1] - x[0]) / max(n, 1)
    if n == 0 or room < 0.3 or z[1] - z[0] < 0.35:
        return []
    top = z[1] - 0.13
    size = min(0.68 * room, 0.95 * (top - z[0]))
    starts = [x[0] + room * (k + 0.5) - size / 2 for k in range(n)]
    return [
        _hole(s.window_shape, (u, u + size), (max(z[0], top - 1.25 * size), top)) for u in starts
    ]


def _roof_line(s: LocomotiveSpec, half: float, z: float) -> Loop:
    if s.roof in ("turtle", "wrapped"):
        return roof_line(s.roof, half, z)
    rises = {"arched": 0.2, "barrel": 0.42, "flat": 0.04, "peaked": 0.2, **ROOFS}
    rise = rises[s.roof] * half
    if s.roof == "peaked":
        return [
            (-half, z),
            (-0.3 * half, z + 0.85 * rise),
            (0, z + rise),
            (0.3 * half, z + 0.85 * rise),
            (half, z),
        ]
    if s.roof == "barrel":
        return [(-half * np.cos(t), z + rise * np.sin(t) ** 0.8) for t in np.linspace(0, np.pi, 19)]
    r = (half**2 + rise**2) / (2 * rise)
    t = np.arcsin(half / r)
    return [
        (float(r * np.sin(u)), float(z + rise - r + r * np.cos(u))) for u in np.linspace(-t, t, 17)
    ]


def add_cab(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Sides, front sheet, roof, floor, backhead and bunker."""
    a, b, z0, z1, y = lay.cab_rear, lay.cab_front, lay.board_z, lay.roof_z, lay.cab_y
    kit.add(
        "frame", "frame", span((lay.rear + 0.05, b), (-y + 0.05, y - 0.05), (z0 - 0.1, z0 + 0.03))
    )
    if s.cab != "none":
        outline, holes = side_outline(s, lay)
        kit.pair("cab", "cab", prism(outline, (y - 0.04, y), holes=holes, bevel=0.012))
        if s.lining == "litho":
            kit.pair("lining", "lining", *printed_frames(holes, y))
        if s.cab_glazed and holes:
            kit.pair("cab_window", "window", *(prism(h, (y - 0.03, y - 0.024)) for h in holes))
        _front_sheet(kit, s, lay)
    if s.cab not in ("none", "open", "screen"):
        _roof(kit, s, lay)
    elif s.cab == "none":
        rail = bend(
            [
                [a, y - 0.05, z0],
                [a, y - 0.05, z0 + 0.8],
                [b, y - 0.05, z0 + 0.8],
                [b, y - 0.05, z0],
            ],
            0.1,
        )
        kit.pair("handrail", "steel", tube(rail, 0.022, 6))
    if s.cab in ("posts", "awning"):
        posts = (a + 0.05, b - 0.05)
        kit.pair(
            "cab",
            "cab",
            *(tube([[x, y - 0.03, z0], [x, y - 0.03, z1]], 0.03, 6) for x in posts),
        )
    if s.cab in ("closed", "cut", "half"):
        x = a - 0.03 if s.has_tender else a + 0.03
        kit.pair(
            "handrail",
            "steel",
            tube([[x, y + 0.02, z0 + 0.15], [x, y + 0.02, waist(lay)]], 0.018, 6),
        )
    r = 0.86 * lay.boiler_r
    back = lathe([(b - 0.35, 0), (b - 0.35, r), (b, r)], "x", 24).moved(z=lay.boiler_z)
    kit.add("backhead", "soot", back)
    kit.add(
        "backhead",
        "brass",
        *(
            lathe([(b - 0.4, 0), (b - 0.4, 0.07), (b - 0.34, 0.07)], "x", 12).moved(
                0, u, lay.boiler_z + 0.4 * r
            )
            for u in (-0.25, 0.02, 0.28)
        ),
    )
    if not s.has_tender:
        _bunker(kit, s, lay)


def _front_sheet(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    b, z0, z1, y = lay.cab_front, lay.board_z, lay.roof_z, lay.cab_y
    outline = [(-y, z0), (y, z0), *_roof_line(s, y, z1)[::-1]]
    holes = []
    r = min(0.2, 0.28 * (z1 - lay.boiler_z), 0.24 * y)
    cy = 0.66 * y
    cz = max(z1 - 1.25 * r, lay.boiler_z + np.sqrt(max((lay.boiler_r + r) ** 2 - cy**2, 0)) * 0.9)
    if cz + r < z1 + 0.1 and s.cab_windows > 0:
        for sign in (-1, 1):
            shape = "round" if s.window_shape in ("round", "rounded") else "rect"
            holes.append(_hole(shape, (sign * cy - r, sign * cy + r), (cz - r, cz + r)))
    sheet = prism(outline, (b - 0.04, b), "yz", holes=holes, bevel=0.01)
    if s.cab == "slanted":
        lean = (
            0.22
            * (b - lay.cab_rear)
            * np.clip((sheet.v[:, 2] - waist(lay)) / max(z1 - waist(lay), 1e-6), 0, 1.2)
        )
        sheet = Mesh(sheet.v - np.column_stack([lean, 0 * lean, 0 * lean]), sheet.f)
    kit.add("cab", "cab", sheet)
    if not s.has_tender and s.cab in ("closed", "cut"):
        kit.add(
            "cab",
            "cab",
            prism(outline, (lay.cab_rear, lay.cab_rear + 0.04), "yz", holes=holes, bevel=0.01),
        )


def _roof(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    half = lay.cab_y + 0.4 * s.roof_overhang + 0.03
    line = _roof_line(s, half, lay.roof_z - 0.02)
    under = [(u, v - 0.05) for u, v in line]
    x = (
        lay.cab_rear - 1.2 * s.roof_overhang,
        lay.cab_front
        + s.roof_overhang
        - (0.18 * (lay.cab_front - lay.cab_rear) if s.cab == "slanted" else 0),
    )
    kit.add("roof", "roof", prism(line + under[::-1], x, "yz", bevel=0.012))
    if s.roof == "clerestory":
        top = max(v for _, v in line)
        raised = round_rect((-0.42 * half, 0.42 * half), (top - 0.15, top + 0.15), 0.05)
        kit.add("roof", "roof", prism(raised, (x[0] + 0.12, x[1] - 0.12), "yz", bevel=0.02))
    if s.roof_vent:
        mid, top = sum(x) / 2, max(v for _, v in line)
        kit.add(
            "roof",
            "roof",
            span((mid - 0.3, mid + 0.3), (-0.35, 0.35), (top - 0.06, top + 0.09), 0.025),
        )


def _bunker(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    a, b, y, z0 = lay.rear + 0.05, lay.cab_rear + 0.02, lay.cab_y, lay.board_z
    if b - a < 0.3 or s.cab in ("none", "screen"):
        return
    top = waist(lay) + 0.1
    kit.add("bunker", "tank", span((a, b), (-y, y), (z0, top), 0.03))
    kit.pair(
        "bunker",
        "tank",
        prism(
            [(a, top - 0.02), (b, top - 0.02), (b, top + 0.22), (a - 0.1, top + 0.22)],
            (y - 0.03, y),
        ),
    )
    kit.add("bunker", "tank", span((a - 0.08, a - 0.04), (-y, y), (top - 0.02, top + 0.22), 0.01))


def number_place(s: LocomotiveSpec, lay: Layout) -> tuple[float, float, float, float, float]:
    """Middle x, y, z of the cab number and the most width and height it may take."""
    a, b, z0 = lay.cab_rear, lay.cab_front, lay.board_z
    tall = waist(lay) - z0 - 0.05
    if s.cab == "none":
        return b + 0.4, lay.boiler_r + 0.02, lay.boiler_z, 0.7, 0.3
    if s.cab in ("open", "posts", "screen"):
        tall = 0.42 * (lay.roof_z - z0) - 0.08
    blind = s.cab == "closed" and s.cab_windows == 0 and s.lining == "none"
    z = z0 + (0.55 if not blind else 0.95) * tall
    return 0.5 * (a + b), lay.cab_y, z, 0.82 * (b - a), 0.72 * tall


def add_number(kit: Kit, s: LocomotiveSpec, lay: Layout) -> float:
    """The cab number on both sides; returns the height of its figures."""
    x, y, z, wide, tall = number_place(s, lay)
    h = min(s.number_h, tall)
    w, _ = text_size(s.cab_number, s.number_font, h)
    if w > wide:
        h, w = h * wide / w, wide
    text = text_mesh(s.cab_number, s.number_font, h)
    lift = 0.004
    if s.number_style == "plate":
        pad = min(0.28 * h, 0.08)
        outline = round_rect(
            (x - w / 2 - pad, x + w / 2 + pad), (z - h / 2 - pad, z + h / 2 + pad), 0.6 * pad
        )
        kit.pair("number_plate", "plate", prism(outline, (y - 0.01, y + 0.012), bevel=0.005))
        inner = round_rect(
            (x - w / 2 - 0.6 * pad, x + w / 2 + 0.6 * pad),
            (z - h / 2 - 0.6 * pad, z + h / 2 + 0.6 * pad),
            0.3 * pad,
        )
        kit.pair("number_plate", "plate_ground", prism(inner, (y, y + 0.0135)))
        lift = 0.017
    left, right = on_sides(text, x, y + lift, z)
    if s.number_style == "outlined":
        shade = 0.045 * h
        for mesh, side in zip(on_sides(text, x, y + 0.002, z - shade), (1, -1), strict=True):
            kit.add("number_plate", "soot", mesh.moved(-side * shade))
    kit.add("cab_number", "number", left, side="left")
    kit.add("cab_number", "number", right, side="right")
    return h
