"""Lever styles that only training draws, and what a lever rises through."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tools.locomotive.prisms import loft, prism, ribbon
from tools.locomotive.solids import Mesh, arc, ball, bend, box, fan, join, lathe, rod, tube

FOOT = -0.1  # m, how deep a lever is sunk; chosen
MOUNT_HALF = 0.2  # m, most that a lever's plate takes either way; a finger's room is more


def _folded(t: float, h: float) -> Mesh:
    """A flat strip whose tip is folded over."""
    reach, thick = max(0.3 * h, 0.8 * t), 0.24 * t
    path = bend([[-reach, h], [0.0, h], [0.0, FOOT]], 0.8 * thick, 3)
    return prism(ribbon(path, thick), (-0.65 * t, 0.65 * t))


def _twisted(t: float, h: float) -> Mesh:
    """A flat strip given a quarter turn half way up."""
    spots = np.array([FOOT, 0.3 * h, *np.linspace(0.35, 0.65, 7) * h, 0.7 * h, h])
    turns = 0.5 * np.pi * np.clip((spots / h - 0.3) / 0.4, 0.0, 1.0)
    corners = np.array([(-0.65, -0.14), (0.65, -0.14), (0.65, 0.14), (-0.65, 0.14)]) * t
    rings = []
    for z, a in zip(spots, turns, strict=True):
        x = corners[:, 0] * np.cos(a) - corners[:, 1] * np.sin(a)
        y = corners[:, 0] * np.sin(a) + corners[:, 1] * np.cos(a)
        rings.append(np.column_stack([x, y, np.full(4, z)]))
    closed = [np.concatenate([ring, ring[:1]]) for ring in rings]
    return join([loft(np.array(closed)), fan(rings[-1]), fan(rings[0][::-1])])


def _tee(t: float, h: float) -> Mesh:
    """A rod with a cross bar."""
    half = max(0.3 * h, 1.2 * t)
    shaft = tube([[0, 0, FOOT], [0, 0, h - 0.4 * t]], 0.36 * t, 10)
    return join([shaft, rod(0.4 * t, -half, half, "x", 12).moved(z=h - 0.4 * t)])


def _acorn(t: float, h: float) -> Mesh:
    """A rod with a collar and an egg-shaped grip."""
    r = min(0.95 * t, 0.3 * h)
    low = max(h - 2.6 * r, 0.2 * h)
    grip = [
        (low + (h - low) * k, max(r * np.sin(np.pi * k**0.75), 0.35 * r))
        for k in np.linspace(0.0, 0.97, 9)
    ]
    profile = [(FOOT, 0.38 * t), (low - 0.05 * h, 0.34 * t), (low - 0.05 * h, 0.6 * r)]
    return lathe([*profile, (low, 0.6 * r), *grip, (h, 0.0)], "z", 14)


def _turned(t: float, h: float) -> Mesh:
    """A rod turned in steps with a ball on top."""
    r = min(0.62 * t, 0.2 * h)
    steps = [(FOOT, 0.7 * t), (0.12 * h, 0.7 * t), (0.14 * h, 0.4 * t), (0.42 * h, 0.4 * t)]
    steps += [(0.43 * h, 0.62 * t), (0.5 * h, 0.62 * t), (0.51 * h, 0.32 * t)]
    steps += [(h - 1.8 * r, 0.28 * t)]
    cap = [(h - r + r * np.sin(a), r * np.cos(a)) for a in np.linspace(-1.0, np.pi / 2, 8)]
    return lathe([*steps, *cap], "z", 14)


def _ring(t: float, h: float) -> Mesh:
    """A ring of wire on a short stem."""
    wire = 0.26 * t
    r = max(0.3 * h, 2.2 * wire)
    loop = arc(0.0, h - r - wire, r, -np.pi / 2, 1.5 * np.pi, 24)
    hoop = tube([[x, 0.0, z] for x, z in loop], wire, 8)
    stem = tube([[0, 0, FOOT], [0, 0, max(h - 2.0 * r - wire, 0.5 * FOOT)]], 1.15 * wire, 8)
    return join([hoop, stem])


def _loop(t: float, h: float) -> Mesh:
    """A hairpin of wire, both of whose ends go into the boiler."""
    wire = 0.26 * t
    half = max(0.14 * h, 2.0 * wire)
    crown = arc(0.0, h - wire - half, half, np.pi, 0.0, 10)
    path = [(-0.6 * half, FOOT), *crown, (0.6 * half, FOOT)]
    return tube([[x, 0.0, z] for x, z in path], wire, 8)


def _hook(t: float, h: float) -> Mesh:
    """A wire whose tip is curled over."""
    wire = 0.3 * t
    r = max(0.13 * h, 1.6 * wire)
    curl = arc(r, h - wire - r, r, np.pi, -0.45, 10)
    return tube([[x, 0.0, z] for x, z in [(0.0, FOOT), (0.0, 0.3 * h), *curl]], wire, 8)


def _tab(t: float, h: float) -> Mesh:
    """A tab pressed of tin, with a hole."""
    half = max(0.75 * t, 0.2 * h)
    half = min(half, 0.45 * h)
    outline = [(-1.15 * half, FOOT), (1.15 * half, FOOT), *arc(0.0, h - half, half, 0, np.pi, 12)]
    hole = arc(0.0, h - half, 0.42 * half, 0, 2 * np.pi, 12)[:-1]
    return prism(outline, (-0.12 * t, 0.12 * t), holes=[hole])


def _spade(t: float, h: float) -> Mesh:
    """A thin rod whose end is hammered to a paddle."""
    half = min(0.85 * t, 0.3 * h)
    low = h - 2.6 * half
    outline = [(-0.3 * t, low - half), (0.3 * t, low - half), (half, low + half)]
    outline += [*arc(0.0, h - half, half, 0.0, np.pi, 8), (-half, low + half)]
    paddle = prism(outline, (-0.16 * t, 0.16 * t), bevel=0.04 * t)
    return join([paddle, tube([[0, 0, FOOT], [0, 0, low]], 0.27 * t, 8)])


def _dogleg(t: float, h: float) -> Mesh:
    """A rod set off sideways by two bends."""
    aside = max(0.22 * h, 0.8 * t)
    path = [[0, 0, FOOT], [0, 0, 0.35 * h], [aside, 0, 0.55 * h], [aside, 0, h]]
    return tube(bend(path, 0.08 * h), 0.42 * t, 8)


def _pin(t: float, h: float) -> Mesh:
    """A pin with a flat head."""
    head = min(0.62 * t, 0.3 * h)
    profile = [(FOOT, 0.6 * head), (0.78 * h, 0.6 * head), (0.8 * h, head), (0.95 * h, head)]
    return lathe([*profile, (h, 0.8 * head), (h, 0.0)], "z", 16)


def _crutch(t: float, h: float) -> Mesh:
    """A square bar with a rounded grip across it."""
    half = max(0.75 * t, 0.16 * h)
    bar = box([0, 0, (h + FOOT) / 2 - 0.2 * t], [0.55 * t, 0.4 * t, h - FOOT - 0.4 * t], 0.06 * t)
    ends = [ball(0.45 * t, 10).moved(x=sign * half, z=h - 0.45 * t) for sign in (-1, 1)]
    grip = tube([[-half, 0, h - 0.45 * t], [half, 0, h - 0.45 * t]], 0.36 * t, 10)
    return join([bar, grip, *ends])


STYLES: dict[str, Callable[[float, float], Mesh]] = {
    "folded": _folded,
    "twisted": _twisted,
    "tee": _tee,
    "acorn": _acorn,
    "turned": _turned,
    "ring": _ring,
    "loop": _loop,
    "hook": _hook,
    "tab": _tab,
    "spade": _spade,
    "dogleg": _dogleg,
    "pin": _pin,
    "crutch": _crutch,
}
"""A lever `t` thick and `h` high, its foot at the origin, by style."""


def mount_mesh(mount: str, t: float) -> Mesh:
    """What a lever of thickness `t` rises through, round the origin on the boiler's top.

    It is there on engines without the lever, too, and low enough not to be taken for one.
    """
    half = min(3.2 * t, MOUNT_HALF)
    if mount == "plate":  # screwed on, with the lever's slot in it
        slot = [(-0.75 * half, -0.55 * t), (0.75 * half, -0.55 * t)]
        slot += [(0.75 * half, 0.55 * t), (-0.75 * half, 0.55 * t)]
        outline = [(-half, -1.2 * t), (half, -1.2 * t), (half, 1.2 * t), (-half, 1.2 * t)]
        return prism(outline, (-0.05, 0.012), "xy", holes=[slot], bevel=0.004)
    if mount == "bush":
        r = min(1.25 * t, MOUNT_HALF)
        profile = [
            (FOOT, r),
            (0.25 * t, r),
            (0.35 * t, 0.9 * r),
            (0.35 * t, 0.6 * r),
            (0, 0.55 * r),
        ]
        return lathe(profile, "z", 18)
    if mount == "boss":  # cast with the boiler
        dome = [(0.3 * t * np.sin(a), 1.5 * t * np.cos(a)) for a in np.linspace(0, np.pi / 2, 6)]
        return lathe([(FOOT, 1.6 * t), *dome], "z", 18).stretched(x=half / (1.6 * t))
    if mount == "quadrant":  # a curved plate on edge either side of the lever
        rise = min(0.55 * t, 0.05)
        r = (half**2 + rise**2) / (2 * rise)
        a = np.arcsin(half / r)
        outline = [(-half, FOOT), (half, FOOT)]
        outline += arc(0.0, rise - r, r, np.pi / 2 - a, np.pi / 2 + a, 12)
        cheeks = (prism(outline, (y - 0.12 * t, y + 0.12 * t)) for y in (-0.75 * t, 0.75 * t))
        return join(list(cheeks))
    return join([])
