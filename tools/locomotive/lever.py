"""The switch lever on the boiler's top, its slot and its stub."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tools.locomotive.boiler import band_places, top_at
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout, lay_out
from tools.locomotive.lever_styles import STYLES, mount_mesh
from tools.locomotive.prisms import prism
from tools.locomotive.room import Spans, free_x, room_at
from tools.locomotive.slender import FEED_AT, slim_spans
from tools.locomotive.solids import (
    Mesh,
    arc,
    ball,
    bend,
    box,
    join,
    lathe,
    span,
    tube,
)
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.topside import chimney_x

# A lever is there to be switched: a finger must get at it, chosen. Metres of the full-size engine.
_FINGER = 0.26
_PASSING = 0.1  # and its tip past what it leans towards, chosen
# Shares of engines that are given a slot, a stump, a band and a top feed there; chosen.
_SLOTTED, _STUMPED, _AT_BAND, _AT_FEED = 0.5, 0.15, 0.4, 0.3


def lever_place(s: LocomotiveSpec, lay: Layout) -> np.ndarray:
    """Foot of the lever (x, y, z) on the boiler's or casing's top."""
    x = _foot_x(s, lay, slim_spans(s, lay))
    y = s.lever_offset * lay.boiler_r
    top = top_at(s, lay, x)
    r = top - lay.boiler_z
    flat = s.firebox == "belpaire" or s.boiler_sides == "boxy"
    drop = r - np.sqrt(max(r * r - y * y, 0.0)) if not flat else 0.0
    return np.array([x, y, top - 0.6 * drop if s.casing != "none" else top - drop])


def in_reach(s: LocomotiveSpec, lay: Layout) -> float:
    """By how much the lever has more room along the boiler than a finger asks for, metres.

    Of the full-size engine; below 0 where it has less, at its foot or where it leans.
    """
    beside = slim_spans(s, lay)
    x = _foot_x(s, lay, beside)
    mesh = lever_mesh(s, s.lever_w * lay.length, s.lever_h * lay.length)
    leaning = float(mesh.v[:, 0].min()), float(mesh.v[:, 0].max())
    foot = room_at(s, lay, x, beside=beside) - _FINGER
    return min(foot, room_at(s, lay, x, beside=beside, reach=leaning) - _PASSING)


def _foot_x(s: LocomotiveSpec, lay: Layout, beside: Spans) -> float:
    return free_x(s, lay, s.lever_at, _FINGER, beside=beside)


def beside_its_likes(rng: np.random.Generator, s: LocomotiveSpec) -> LocomotiveSpec:
    """The engine with its lever's place, be one there or not, mostly slotted and beside its likes.

    A slot with a bright band across it, or the pipes of a top feed a finger's width away, are
    what a lever's judge errs by most. Of castings drawn without an aim few have them.
    """
    slotted = s.lever_slot or bool(rng.random() < _SLOTTED)
    stump = s.lever_stub or bool(rng.random() < _STUMPED)
    at = s.lever_at
    lay = lay_out(s)
    places = band_places(s, lay) if s.casing == "none" else []
    if places and rng.random() < _AT_BAND:
        front = chimney_x(s, lay)
        at = (float(rng.choice(places)) - front) / (lay.cab_front - front)
        at = float(np.clip(at + rng.normal(0.0, 0.01), 0.05, 0.95))
    fed = s.casing == "none" and bool(rng.random() < _AT_FEED)
    if fed:  # as near as it may stand, or a little further
        at = FEED_AT + float(rng.choice([-1.0, 1.0]) * rng.uniform(0.0, 0.08))
    feed = s.top_feed or fed
    return replace(s, lever_slot=slotted, lever_stub=stump, lever_at=at, top_feed=feed)


def add_lever(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """The slot, a broken-off stub where drawn, and the lever itself if present."""
    x, y, z = lever_place(s, lay)
    thick = s.lever_w * lay.length
    if s.lever_slot and s.lever_mount == "none":
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
    if s.lever_mount != "none":
        kit.add("lever_slot", "mount", mount_mesh(s.lever_mount, thick).moved(x, y, z))
    if s.switch_lever == "present":
        mesh = lever_mesh(s, thick, s.lever_h * lay.length)
        kit.add("switch_lever", "lever", mesh.moved(x, y, z))


def lever_mesh(s: LocomotiveSpec, t: float, height: float) -> Mesh:
    """The lever, `t` thick, with its foot at the origin; `height` is its vertical rise."""
    h = height / np.cos(s.lever_tilt)
    for _ in range(3):  # a bent or thick tip rises less or more than the shaft says
        mesh = _upright(s, t, h)
        if s.lever_turn:
            mesh = mesh.turned("z", s.lever_turn)
        mesh = mesh.turned("y", s.lever_tilt)
        if s.lever_lean:
            mesh = mesh.turned("x", s.lever_lean)
        h *= height / float(mesh.v[:, 2].max())
    return mesh


def _upright(s: LocomotiveSpec, t: float, h: float) -> Mesh:
    """The lever before it is tilted, `h` high."""
    foot = -0.1
    if s.lever_style in STYLES:
        mesh = STYLES[s.lever_style](t, h)
    elif s.lever_style == "straight":
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
    return mesh
