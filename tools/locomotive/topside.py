"""What stands on the boiler: chimney, domes, whistle, bell, valves, lamps, and the lever."""

from __future__ import annotations

import numpy as np

from tools.locomotive.boiler import lamp, saddle_span, smoke_r, top_at
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism
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
from tools.locomotive.spec import LocomotiveSpec

CHIMNEYS: dict[str, list[tuple[float, float]]] = {
    # (height, radius) in chimney heights and chimney radii
    "stovepipe": [(0, 1.25), (0.12, 1.02), (0.9, 1.0), (0.92, 1.1), (1, 1.1), (1, 0.82), (0.8, 0.8)],
    "capped": [(0, 1.45), (0.1, 1.15), (0.2, 1.0), (0.78, 0.95), (0.84, 1.2), (0.9, 1.32), (0.97, 1.3), (1, 1.12), (1, 0.85), (0.8, 0.8)],
    "flared": [(0, 1.5), (0.1, 1.1), (0.25, 0.92), (0.6, 0.98), (0.88, 1.2), (0.95, 1.3), (1, 1.3), (1, 1.05), (0.8, 0.95)],
    "short": [(0, 1.5), (0.25, 1.15), (0.8, 1.1), (0.9, 1.25), (1, 1.2), (1, 0.9), (0.7, 0.85)],
    "double": [(0, 1.3), (0.2, 1.0), (0.8, 1.0), (0.86, 1.2), (1, 1.15), (1, 0.85), (0.8, 0.8)],
    "slit": [(0, 1.6), (0.6, 1.45), (1, 1.3), (1, 1.0), (0.5, 0.95)],
    "diamond": [(0, 1.2), (0.08, 0.85), (0.4, 0.8), (0.45, 0.9), (0.7, 2.0), (0.74, 2.0), (0.96, 1.2), (1, 1.2), (1, 1.0), (0.8, 0.9)],
    "balloon": [(0, 1.2), (0.08, 0.9), (0.3, 0.85), (0.55, 1.5), (0.75, 2.0), (0.88, 2.1), (0.95, 1.95), (1, 1.5), (1, 1.2), (0.9, 1.1)],
    "tall": [(0, 1.3), (0.05, 1.0), (0.9, 0.88), (0.92, 1.1), (0.97, 1.15), (1, 1.0), (1, 0.8), (0.9, 0.75)],
    "crown": [(0, 1.4), (0.06, 1.0), (0.84, 0.85), (0.87, 1.05), (0.9, 0.95), (0.96, 1.45), (1, 1.5), (1, 1.2), (0.9, 0.8)],
    "bellmouth": [(0, 1.3), (0.05, 0.95), (0.8, 0.85), (0.92, 1.15), (0.98, 1.55), (1, 1.5), (1, 1.3), (0.85, 0.8)],
}  # fmt: skip

DOMES: dict[str, list[tuple[float, float]]] = {
    "round": [(-0.3, 1.15), (0.0, 1.02), (0.1, 0.97), *((0.45 + 0.55 * np.sin(a), 0.95 * np.cos(a)) for a in np.linspace(0, np.pi / 2, 8))],
    "tall": [(-0.3, 1.2), (0.0, 0.95), (0.15, 0.8), (0.9, 0.78), *((1.0 + 0.4 * np.sin(a), 0.78 * np.cos(a)) for a in np.linspace(0.1, np.pi / 2, 6))],
    "flat": [(-0.3, 1.1), (0.0, 1.03), (0.45, 1.0), (0.58, 0.95), (0.66, 0.8), (0.7, 0.5), (0.71, 0)],
    "ringed": [(-0.3, 1.2), (0.0, 1.1), (0.06, 1.1), (0.1, 0.88), (0.55, 0.86), (0.6, 0.98), (0.66, 0.98), (0.7, 0.85), (0.85, 0.7), (0.95, 0.4), (1.0, 0.18), (1.08, 0.12), (1.12, 0)],
    "square_base": [(-0.3, 1.3), (0.12, 1.3), (0.16, 1.2), (0.2, 0.85), (0.6, 0.8), (0.66, 0.95), (0.7, 0.95), (0.82, 0.75), (0.95, 0.35), (1.0, 0)],
    "urn": [(-0.3, 1.2), (0.0, 0.9), (0.1, 0.7), (0.5, 0.9), (0.85, 0.95), (0.95, 0.7), (1.2, 0.35), (1.4, 0.3), (1.42, 0)],
    "boxy": [(-0.3, 1.0), (0.5, 1.0), (0.62, 0.9), (0.66, 0)],
}  # fmt: skip


def chimney_x(s: LocomotiveSpec, lay: Layout) -> float:
    """x of the chimney."""
    if s.casing != "none":
        return 0.75 * lay.smoke_rear + 0.25 * lay.smoke_front - 0.4
    return 0.52 * lay.smoke_rear + 0.48 * lay.smoke_front


def add_chimney(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The chimney in its style; a double one is two funnels in line."""
    x, r = chimney_x(s, lay), max(s.chimney_r * lay.boiler_r, 0.13)
    base = top_at(s, lay, x)
    h = s.chimney_h * lay.boiler_r
    sink = 0.3 * r * r / lay.boiler_r + 0.03
    profile = [(base - sink + a * (h + sink), b * r) for a, b in CHIMNEYS[s.chimney]]
    mesh = lathe(profile, "z", 30)
    at = (-0.9 * r, 0.9 * r) if s.chimney == "double" else (0.0,)
    kit.add("chimney", "chimney", *(mesh.moved(x + dx) for dx in at))
    kit.add("chimney", "soot", *(rod(0.8 * r, base, base + 0.86 * h).moved(x + dx) for dx in at))
    if s.chimney in ("capped", "crown") and s.chimney_color in ("copper", "brass"):
        top = [(a, b) for a, b in profile if a > base + 0.8 * h]
        kit.add("chimney", s.chimney_color, lathe([(a, b + 0.006) for a, b in top], "z", 30))


def stand_points(s: LocomotiveSpec, lay: Layout) -> list[tuple[float, str]]:
    """x and kind ("dome", "sand") of the domes between smokebox and cab."""
    kinds = ["dome"] * s.domes
    if s.sand_box != "none":
        kinds.insert(0 if s.domes < 2 else 1, "sand")
    a, b = lay.cab_front + 0.25, lay.smoke_rear - 0.1
    if s.casing != "none":
        b = chimney_x(s, lay) - 0.8
    n = len(kinds)
    return [
        (b - (b - a) * (k + 0.75) / (n + 0.35) + s.dome_shift * (b - a), kind)
        for k, kind in enumerate(kinds)
    ]


def add_domes(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Steam domes and sand boxes."""
    for x, kind in stand_points(s, lay):
        base, r = top_at(s, lay, x), s.dome_r * lay.boiler_r
        h = s.dome_h * lay.boiler_r * (1.0 if kind == "dome" else 0.8)
        sink = 0.5 * r * r / lay.boiler_r
        if kind == "sand" and s.sand_box == "saddle":
            w = lay.radius(x) + 0.05
            outline = arc(0, lay.boiler_z, w, 0.9, np.pi - 0.9, 12) + [
                (-0.5 * w, base + 0.6 * h),
                (0.5 * w, base + 0.6 * h),
            ]
            kit.add("sand_dome", "body", prism(outline, (x - r, x + r), "yz", bevel=0.03))
            continue
        if kind == "dome" and s.dome_style == "boxy":
            kit.add(
                "dome",
                "dome",
                prism(
                    round_rect((x - 1.3 * r, x + 1.3 * r), (base - 0.5, base + 0.7 * h), 0.25 * r),
                    (-r, r),
                    bevel=0.1 * r,
                ),
            )
            continue
        style = (
            s.dome_style
            if kind == "dome"
            else ("flat" if s.dome_style == "round" else s.dome_style)
        )
        profile = [(base + a * h if a >= 0 else base - sink, b * r) for a, b in DOMES[style]]
        kit.add(
            "dome" if kind == "dome" else "sand_dome",
            "dome" if kind == "dome" else "body",
            lathe(profile, "z", 30).moved(x),
        )


def _between(s: LocomotiveSpec, lay: Layout, at: float) -> float:
    """x at a fraction of the way from the chimney (0) to the cab (1)."""
    return chimney_x(s, lay) + at * (lay.cab_front - chimney_x(s, lay))


def add_small_fittings(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Whistle, bell, safety valves and other slim things: the lever's false friends."""
    unit = 0.5 * lay.boiler_r
    x = _between(s, lay, s.whistle_at)
    z = top_at(s, lay, x) - 0.02
    thin = {"single": (0.0,), "pair": (-0.09, 0.09), "tall": (0.0,), "none": ()}[s.whistle]
    for y in thin:
        h = (0.9 if s.whistle == "tall" else 0.6) * unit
        p = [
            (z, 0.028),
            (z + 0.45 * h, 0.028),
            (z + 0.47 * h, 0.055),
            (z + 0.95 * h, 0.055),
            (z + h, 0.03),
            (z + h, 0),
        ]
        kit.add("whistle", "brass", lathe(p, "z", 12).moved(x, y))
    _valves(kit, s, lay, unit)
    _bell(kit, s, lay, unit)
    if s.top_feed:
        x = _between(s, lay, 0.45)
        z = top_at(s, lay, x)
        kit.add("top_feed", "body", box([x, 0, z], [0.28, 0.4, 0.16], 0.04))
        p = bend(
            [
                [x, 0.2, z],
                [x, 0.75 * lay.boiler_r, lay.boiler_z + 0.75 * lay.boiler_r],
                [x, lay.boiler_r + 0.03, lay.boiler_z],
                [x, lay.boiler_r, lay.board_z],
            ],
            0.3,
        )
        kit.pair("top_feed", "pipe", tube(p, 0.035, 7))
    if s.generator:
        x = _between(s, lay, 0.85)
        z = top_at(s, lay, x)
        kit.add(
            "generator",
            "smokebox",
            rod(0.14, -0.25, 0.25, "x").moved(x, 0.3 * lay.boiler_r, z + 0.03),
            tube([[x, 0.3 * lay.boiler_r, z], [x, 0.3 * lay.boiler_r, z + 0.3]], 0.025),
        )
    if s.number_boards:
        x = lay.smoke_front - 0.25
        z = top_at(s, lay, x) + 0.06
        plate = box([x, 0.45 * lay.boiler_r, z], [0.06, 0.5, 0.2], 0.01).turned(
            "z", -0.5, (x, 0.45 * lay.boiler_r, 0)
        )
        kit.pair("number_board", "smokebox", plate)
    if s.knobs_top:
        xs = np.linspace(_between(s, lay, 0.15), _between(s, lay, 0.9), 5)
        kit.add(
            "knobs", "steel", *(ball(0.035, 8).moved(x, 0.06, top_at(s, lay, x) + 0.03) for x in xs)
        )
    if s.key_hole:
        kit.pair(
            "key_hole",
            "soot",
            rod(0.09, 0, 0.02, "y", 14).moved(
                _between(s, lay, 0.55), lay.boiler_r + 0.0, lay.boiler_z
            ),
        )


def _valves(kit: Kit, s: LocomotiveSpec, lay: Layout, unit: float) -> None:
    x = _between(s, lay, s.valves_at)
    z = top_at(s, lay, x) - 0.03
    slim = lathe(
        [
            (z, 0.07),
            (z + 0.5 * unit, 0.055),
            (z + 0.52 * unit, 0.075),
            (z + 0.66 * unit, 0.07),
            (z + 0.68 * unit, 0),
        ],
        "z",
        12,
    )
    pop = lathe(
        [
            (z, 0.1),
            (z + 0.2 * unit, 0.1),
            (z + 0.24 * unit, 0.08),
            (z + 0.42 * unit, 0.07),
            (z + 0.44 * unit, 0),
        ],
        "z",
        12,
    )
    if s.valves == "columns":
        kit.add(
            "safety_valve",
            "brass",
            *(slim.moved(x, y) for y in (-0.11, 0.11)),
            box([x + 0.0, 0, z + 0.6 * unit], [0.04, 0.3, 0.03]),
        )
    elif s.valves == "pops":
        kit.add(
            "safety_valve",
            "brass",
            *(pop.moved(x + dx, dy) for dx, dy in ((0.12, 0.0), (-0.12, 0.06))),
        )
    elif s.valves == "quad":
        kit.add(
            "safety_valve",
            "brass",
            *(pop.moved(x + dx, dy) for dx in (-0.1, 0.1) for dy in (-0.1, 0.1)),
        )
    elif s.valves in ("bonnet", "urn"):
        p = [
            (z - 0.1, 0.3),
            (z + 0.15 * unit, 0.2),
            (z + 0.5 * unit, 0.13),
            (z + 0.9 * unit, 0.14),
            (z + unit, 0.19),
            (z + 1.02 * unit, 0.12),
            (z + 0.9 * unit, 0.1),
        ]
        kit.add("safety_valve", "brass", lathe(p, "z", 22).moved(x))


def _bell(kit: Kit, s: LocomotiveSpec, lay: Layout, unit: float) -> None:
    if s.bell == "none":
        return
    x = free_x(s, lay, s.bell_at, 0.28)
    z = top_at(s, lay, x)
    top = z + 0.85 * unit
    p = [
        (top, 0.03),
        (top - 0.08, 0.09),
        (top - 0.25, 0.12),
        (top - 0.34, 0.19),
        (top - 0.36, 0.19),
        (top - 0.36, 0.0),
    ]
    kit.add("bell", "brass", lathe(p, "z", 18).moved(x))
    if s.bell == "frame":
        bow = bend(
            [
                [x, -0.25, z - 0.03],
                [x, -0.25, top + 0.04],
                [x, 0.25, top + 0.04],
                [x, 0.25, z - 0.03],
            ],
            0.15,
        )
    else:
        bow = bend(
            [
                [x - 0.24, 0, z - 0.03],
                [x - 0.2, 0, top],
                [x, 0, top + 0.05],
                [x + 0.2, 0, top],
                [x + 0.24, 0, z - 0.03],
            ],
            0.1,
        )
    kit.add("bell", "frame", tube(bow, 0.028, 7))


def free_x(s: LocomotiveSpec, lay: Layout, at: float, margin: float) -> float:
    """The free place on top nearest to `at` (0 chimney, 1 cab), clear of domes and valves."""
    taken = [(x, 1.25 * s.dome_r * lay.boiler_r) for x, _ in stand_points(s, lay)]
    if s.valves != "none":
        taken.append((_between(s, lay, s.valves_at), 0.2))
    if s.whistle != "none":
        taken.append((_between(s, lay, s.whistle_at), 0.08))
    if s.tank == "saddle":
        a, b = saddle_span(s, lay)
        taken.append((a + 0.72 * (b - a), 0.2))
    taken.append((chimney_x(s, lay), 2.0 * s.chimney_r * lay.boiler_r))
    taken.append((lay.cab_front - 0.2, 0.3))
    xs = np.linspace(chimney_x(s, lay), lay.cab_front, 81)
    clear = np.min([np.abs(xs - x) - w for x, w in taken], axis=0)
    good = np.nonzero(clear > margin)[0]
    if not len(good):
        return float(xs[int(clear.argmax())])
    want = _between(s, lay, at)
    return float(xs[good[np.abs(xs[good] - want).argmin()]])


def lever_place(s: LocomotiveSpec, lay: Layout) -> np.ndarray:
    """Foot of the lever (x, y, z) on the boiler's or casing's top."""
    x = free_x(s, lay, s.lever_at, 0.1)
    y = s.lever_offset * lay.boiler_r
    top = top_at(s, lay, x)
    r = top - lay.boiler_z
    drop = r - np.sqrt(max(r * r - y * y, 0.0)) if s.firebox != "belpaire" else 0.0
    return np.array([x, y, top - 0.6 * drop if s.casing != "none" else top - drop])


def add_lever(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The slot, a broken-off stub where drawn, and the lever itself if present."""
    x, y, z = lever_place(s, lay)
    thick = s.lever_w * lay.length
    if s.lever_slot:
        kit.add(
            "lever_slot",
            "soot",
            span(
                (x - 2.6 * thick, x + 2.6 * thick),
                (y - 0.7 * thick, y + 0.7 * thick),
                (z - 0.06, z + 0.006),
            ),
        )
    if s.lever_stub:
        kit.add(
            "lever_stub",
            "lever",
            span(
                (x - 0.4 * thick, x + 0.4 * thick),
                (y - 0.35 * thick, y + 0.35 * thick),
                (z - 0.08, z + 0.0045 * lay.length),
                0.01,
            ),
        )
    if s.switch_lever == "present":
        mesh = _lever(s, thick, s.lever_h * lay.length)
        kit.add("switch_lever", "lever", mesh.moved(x, y, z))


def _lever(s: LocomotiveSpec, t: float, height: float) -> Mesh:
    """The lever with its foot at the origin; `height` is its vertical rise."""
    h = height / np.cos(s.lever_tilt)
    foot = -0.1
    if s.lever_style == "straight":
        mesh = box([0, 0, (h + foot) / 2], [t, 0.75 * t, h - foot], 0.16 * t)
    elif s.lever_style == "bent":
        tip = np.sign(s.lever_tilt) or 1.0
        path = bend([[0, 0, foot], [0, 0, 0.78 * h], [0.28 * h * tip, 0, h]], 0.12 * h)
        mesh = tube(path, 0.46 * t, 8)
    elif s.lever_style == "knob":
        mesh = join(
            [
                tube([[0, 0, foot], [0, 0, h - 0.9 * t]], 0.4 * t, 10),
                ball(0.95 * t, 12).moved(z=h - 0.9 * t),
            ]
        )
    elif s.lever_style == "blade":
        outline = (
            [(-0.5 * t, foot), (0.5 * t, foot), (0.62 * t, 0.8 * h)]
            + arc(0, h - 0.62 * t, 0.62 * t, 0, np.pi, 6)
            + [(-0.62 * t, 0.8 * h)]
        )
        mesh = prism(outline, (-0.17 * t, 0.17 * t), bevel=0.05 * t)
    else:
        mesh = lathe([(foot, 0.55 * t), (h - 0.3 * t, 0.3 * t), (h, 0.18 * t), (h, 0)], "z", 10)
    return mesh.turned("y", s.lever_tilt)


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
        spots = [
            (
                lay.front + 0.02 if s.casing != "none" else x + 0.2,
                0,
                z + (0.05 if s.casing != "none" else 0.0),
                0.16,
            )
        ]
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
