"""Boiler mountings that only training draws: none of them slim enough to be a lever."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tools.locomotive.boiler import top_at
from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import prism, rivets
from tools.locomotive.profiles import MOUNTING_HALF
from tools.locomotive.room import free_x, room_at
from tools.locomotive.rules import child
from tools.locomotive.solids import Mesh, arc, bend, box, lathe, rod, span, tube
from tools.locomotive.spec import LocomotiveSpec

_AIR = 0.06  # m between two mountings, chosen

Places = tuple[tuple[str, float], ...]


def mounting_places(
    s: LocomotiveSpec, lay: Layout, beside: Sequence[tuple[float, float]]
) -> Places:
    """Kind and x of the mountings that there is room for beside other things."""
    out: list[tuple[str, float]] = []
    if s.casing != "none":
        return ()
    taken = list(beside)
    for kind in s.mountings:
        half = MOUNTING_HALF[kind]
        at = float(child(s.seed, f"mounting {kind}").uniform(0.05, 0.95))
        x = free_x(s, lay, at, half + _AIR, beside=taken)
        if room_at(s, lay, x, beside=taken) > half + 0.5 * _AIR:
            out.append((kind, x))
            taken.append((x, half))
    return tuple(out)


def add_mountings(kit: Kit, s: LocomotiveSpec, lay: Layout, places: Places) -> None:
    """The boiler mountings at their places."""
    for kind, x in places:
        z = top_at(s, lay, x)
        r = z - lay.boiler_z
        metal = "brass" if s.seed % 3 else "body"
        if kind == "clacks":
            _clacks(kit, s, lay, x, metal=metal)
        elif kind == "manhole":
            kit.add("mounting", "body", *(m.moved(x, 0.0, z) for m in _manhole()))
        elif kind == "turret":
            kit.add("mounting", metal, *(m.moved(x, 0.0, z) for m in _turret()))
        elif kind == "heater":
            half = min(0.85 * r, 0.75)
            drum = [(-half, 0), (-half, 0.13), (-half + 0.05, 0.18), (half - 0.05, 0.18)]
            mesh = lathe([*drum, (half, 0.13), (half, 0)], "y", 22)
            straps = [rod(0.19, y - 0.03, y + 0.03, "y", 22) for y in (-0.5 * half, 0.5 * half)]
            kit.add("mounting", "body", mesh.moved(x, 0, z + 0.08))
            kit.add("mounting", metal, *(m.moved(x, 0, z + 0.08) for m in straps))
        elif kind == "dynamo":
            kit.add("mounting", "body", *(m.moved(x, 0.12 * r, z) for m in _dynamo()))
        elif kind == "lugs":
            lug = [(-0.1, -0.15), (0.1, -0.15), *arc(0, 0.03, 0.07, 0, np.pi, 8)]
            hole = arc(0, 0.03, 0.032, 0, 2 * np.pi, 8)[:-1]
            mesh = prism(lug, (-0.022, 0.022), holes=[hole]).turned("x", -0.4)
            kit.pair("mounting", "body", mesh.moved(x, 0.38 * r, z - 0.08 * r))
        elif kind == "collector":
            kit.add("mounting", "body", *(m.moved(x, 0, z) for m in _collector(0.22 * r)))
        elif kind == "hatch":
            lid = box([0, 0, 0.0], [0.6, 0.5, 0.12], 0.03)
            bars = [box([dx, 0, 0.07], [0.05, 0.42, 0.03], 0.008) for dx in (-0.18, 0.18)]
            kit.add("mounting", "body", lid.moved(x, 0, z))
            kit.add("mounting", "body", *(b.moved(x, 0, z) for b in bars))
        elif kind == "regulator":
            case = box([0, 0, 0.05], [0.44, 0.34, 0.22], 0.05)
            lid = box([0, 0, 0.18], [0.34, 0.24, 0.06], 0.02)
            bolts = [[u, v, 0.16] for u in (-0.19, 0.19) for v in (-0.14, 0.14)]
            heads = rivets(bolts, [0, 0, 1], 0.025)
            kit.add("mounting", "body", *(m.moved(x, 0, z) for m in (case, lid, heads)))
        elif kind == "lubricator":
            y = 0.35 * r
            low = z - 0.07 * r
            can = span((x - 0.14, x + 0.14), (y - 0.1, y + 0.1), (low - 0.05, low + 0.15), 0.03)
            wheel = rod(0.07, y + 0.1, y + 0.14, "y", 14).moved(x, 0, low + 0.07)
            kit.add("mounting", metal, can, wheel)


def _manhole() -> list[Mesh]:
    cover = [(-0.06, 0.28), (0.04, 0.28), (0.05, 0.26), (0.07, 0.18), (0.1, 0.1), (0.105, 0)]
    a = np.linspace(0, 2 * np.pi, 10, endpoint=False)
    bolts = np.stack([0.235 * np.cos(a), 0.235 * np.sin(a), np.full(10, 0.045)], 1)
    return [lathe(cover, "z", 26), rivets(bolts, [0, 0, 1], 0.028)]


def _turret() -> list[Mesh]:
    """A steam stand lying across the boiler, its valves pointing forward."""
    body = rod(0.095, -0.36, 0.36, "y", 16).moved(z=0.1)
    feet = box([0, 0, 0.0], [0.12, 0.3, 0.2], 0.02)
    valves = []
    for y in (-0.26, 0.0, 0.26):
        stem = [(0.0, 0.04), (0.13, 0.04), (0.13, 0.075), (0.16, 0.075), (0.16, 0.0)]
        valves.append(lathe(stem, "x", 12).moved(0, y, 0.1))
    return [body, feet, *valves]


def _dynamo() -> list[Mesh]:
    """A turbine and its dynamo on a bracket, lengthwise."""
    turbine = rod(0.2, -0.38, -0.14, "x", 20).moved(z=0.17)
    machine = rod(0.145, -0.16, 0.34, "x", 18).moved(z=0.17)
    ribs = [rod(0.158, x, x + 0.03, "x", 18).moved(z=0.17) for x in (-0.02, 0.1, 0.22)]
    return [turbine, machine, box([0, 0, 0.02], [0.55, 0.22, 0.14], 0.02), *ribs]


def _collector(r: float) -> list[Mesh]:
    """A steam collector: a drum along the boiler on two necks."""
    r = min(max(r, 0.12), 0.2)
    ends = [(-0.66, 0), (-0.64, 0.6 * r), (-0.58, r), (0.58, r), (0.64, 0.6 * r), (0.66, 0)]
    necks = [rod(0.6 * r, -0.1, 0.8 * r, "z", 16).moved(x=x) for x in (-0.38, 0.38)]
    rings = [
        rod(1.06 * r, x - 0.03, x + 0.03, "x", 22).moved(z=0.9 * r + 0.03) for x in (-0.45, 0.45)
    ]
    return [lathe(ends, "x", 22).moved(z=0.9 * r + 0.03), *necks, *rings]


def _clacks(kit: Kit, s: LocomotiveSpec, lay: Layout, x: float, *, metal: str) -> None:
    """Check valves high on both flanks and their pipes down to the board."""
    r = top_at(s, lay, x) - lay.boiler_z
    # Low enough not to show over the boiler's top, where a lever's ball would.
    y, z, turn = 0.85 * r, lay.boiler_z + 0.53 * r, -1.01
    flange = rod(0.12, -0.05, 0.05, "z", 16).turned("x", turn).moved(x, y, z)
    body = rod(0.075, 0.0, 0.13, "z", 14).turned("x", turn).moved(x, y, z)
    kit.pair("mounting", metal, flange, body)
    path = [[x, y + 0.07, z], [x, 1.06 * r, lay.boiler_z + 0.2 * r], [x, 1.04 * r, lay.board_z]]
    kit.pair("mounting", metal, tube(bend(path, 0.25), 0.034, 8))
