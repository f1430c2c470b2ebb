"""Whistle, bell, safety valves and other slim fittings: the lever's false friends."""

from __future__ import annotations

import numpy as np

from tools.locomotive.boiler import top_at
from tools.locomotive.fitting_styles import (
    BELL_HALF,
    VALVES,
    WHISTLES,
    bell_stand,
    valves,
    whistle,
)
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.mountings import Places, add_mountings, mounting_places
from tools.locomotive.profiles import MOUNTING_HALF
from tools.locomotive.room import between, free_x, room_at
from tools.locomotive.solids import (
    ball,
    bend,
    box,
    lathe,
    rod,
    tube,
)
from tools.locomotive.spec import LocomotiveSpec

FEED_AT = 0.45  # place of the top feed, 0 chimney, 1 cab
# Half of what they take along the boiler, metres of the full-size engine.
_FEED_HALF = 0.14
_BELL_HALF = {"frame": 0.2, "yoke": 0.27, **BELL_HALF}


def add_small_fittings(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Whistle, bell, safety valves and other slim things: the lever's false friends."""
    unit = 0.5 * lay.boiler_r
    x = between(s, lay, s.whistle_at)
    z = top_at(s, lay, x) - 0.02
    if s.whistle in WHISTLES:
        kit.add("whistle", "brass", *(m.moved(x, 0.0, z) for m in whistle(s.whistle, unit)))
    thin = {"single": (0.0,), "pair": (-0.11, 0.11), "tall": (0.0,)}.get(s.whistle, ())
    for y in thin:
        h = (0.9 if s.whistle == "tall" else 0.6) * unit
        # A cup on a stalk, as stout as it is: what were as thin as a lever nobody could tell.
        r = 0.07 if s.whistle == "pair" else 0.085
        p = [
            (z, 0.55 * r),
            (z + 0.4 * h, 0.55 * r),
            (z + 0.42 * h, r),
            (z + 0.92 * h, r),
            (z + h, 0.6 * r),
            (z + h, 0),
        ]
        kit.add("whistle", "brass", lathe(p, "z", 12).moved(x, y))
    _valves(kit, s, lay, unit)
    _bell(kit, s, lay, unit)
    add_mountings(kit, s, lay, placed_mountings(s, lay))
    if s.top_feed:
        x = between(s, lay, FEED_AT)
        z = top_at(s, lay, x)
        kit.add("top_feed", "body", box([x, 0, z], [2 * _FEED_HALF, 0.4, 0.16], 0.04))
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
        x = between(s, lay, 0.85)
        y, z = 0.3 * lay.boiler_r, top_at(s, lay, x)
        pipe = bend([[x, y, z], [x, y, z + 0.24], [x - 0.5, y, z + 0.24]], 0.12)
        kit.add(
            "generator",
            "smokebox",
            rod(0.14, -0.25, 0.25, "x").moved(x, y, z + 0.03),
            tube(pipe, 0.035),
        )
    if s.number_boards:
        x = lay.smoke_front - 0.25
        z = top_at(s, lay, x) + 0.06
        plate = box([x, 0.45 * lay.boiler_r, z], [0.06, 0.5, 0.2], 0.01).turned(
            "z", -0.5, (x, 0.45 * lay.boiler_r, 0)
        )
        kit.pair("number_board", "smokebox", plate)
    if s.knobs_top:
        xs = np.linspace(between(s, lay, 0.15), between(s, lay, 0.9), 5)
        kit.add(
            "knobs", "steel", *(ball(0.035, 8).moved(x, 0.06, top_at(s, lay, x) + 0.03) for x in xs)
        )
    if s.key_hole:
        kit.pair(
            "boiler",
            "soot",
            rod(0.09, 0, 0.02, "y", 14).moved(
                between(s, lay, 0.55), lay.boiler_r + 0.0, lay.boiler_z
            ),
        )


def _valves(kit: Kit, s: LocomotiveSpec, lay: Layout, unit: float) -> None:
    x = between(s, lay, s.valves_at)
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
    elif s.valves in VALVES:
        kit.add("safety_valve", "brass", *(m.moved(x, 0.0, z) for m in valves(s.valves, unit)))
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


def slim_spans(s: LocomotiveSpec, lay: Layout) -> tuple[tuple[float, float], ...]:
    """x, and half of what it takes along the boiler, of bell, top feed and mountings."""
    mountings = tuple((x, MOUNTING_HALF[kind]) for kind, x in placed_mountings(s, lay))
    return _bell_and_feed(s, lay) + mountings


def placed_mountings(s: LocomotiveSpec, lay: Layout) -> Places:
    """Kind and x of the boiler mountings that there is room for."""
    return mounting_places(s, lay, _bell_and_feed(s, lay)) if s.mountings else ()


def _bell_and_feed(s: LocomotiveSpec, lay: Layout) -> tuple[tuple[float, float], ...]:
    feed = ((between(s, lay, FEED_AT), _FEED_HALF),) if s.top_feed else ()
    bell = tuple((x, _BELL_HALF[s.bell]) for x in bell_x(s, lay))
    return bell + feed


def bell_x(s: LocomotiveSpec, lay: Layout) -> tuple[float, ...]:
    """x of the bell, none without one."""
    return () if s.bell == "none" else (free_x(s, lay, s.bell_at, 0.28),)


def bell_room(s: LocomotiveSpec, lay: Layout) -> float:
    """Room beside the bell's frame, metres of the full-size engine; inf without a bell."""
    half = _BELL_HALF.get(s.bell, 0.0)
    return min((room_at(s, lay, x, reach=(-half, half)) for x in bell_x(s, lay)), default=np.inf)


def _bell(kit: Kit, s: LocomotiveSpec, lay: Layout, unit: float) -> None:
    if s.bell == "none":
        return
    (x,) = bell_x(s, lay)
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
    if s.bell in BELL_HALF:
        kit.add("bell", "brass", *bell_stand(s.bell, x, z, top))
        return
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
