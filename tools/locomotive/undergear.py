"""What stands round the rods and is no linkage; only training draws it.

Brake gear, sand pipes, springs, side plates, mudguards, pipes and boxes below the
running board, ladders, and sheets that hide the upper part of the wheels. The same on
engines with the linkage and without.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import HALF_GAUGE, Layout
from tools.locomotive.prisms import prism
from tools.locomotive.rules import child
from tools.locomotive.solids import Mesh, arc, bend, box, lathe, rod, round_rect, span, tube
from tools.locomotive.spec import LocomotiveSpec


def add_undergear(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """Outside frames of other shapes, valances, and a drawn choice of the rest."""
    if s.outside_frame and s.frame_shape != "horns":
        _frame_plate(kit, s, lay)
    if s.valance != "none":
        _valance(kit, s, lay)
    if s.undergear == "none":
        return
    often = 1.0 if s.undergear == "much" else 0.5
    for name, (share, maker) in _OPTIONS.items():
        rng = child(s.seed, f"undergear {name}")
        if rng.random() < often * share:
            maker(kit, lay, rng)


def _under(lay: Layout, x: float) -> float:
    return lay.board_at(x) - lay.edge_h


def _frame_plate(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """A plate outside the wheels, behind the cranks: pierced, deep or slotted."""
    d, y = lay.wheel_d, lay.rod_y - 0.15
    a, b = lay.drivers[-1] - 0.7 * d, lay.drivers[0] + 0.7 * d
    top = min(lay.board_at(x) for x in (a, b)) - 0.01
    low = {"holes": 0.36, "deep": 0.28, "slots": 0.44}[s.frame_shape] * d
    outline = [(a, top), (a + 0.1 * d, low), (b - 0.1 * d, low), (b, top)]
    gaps = [0.5 * (p + q) for p, q in itertools.pairwise(lay.drivers)]
    rise = top - low
    holes: list[list[tuple[float, float]]] = []
    for x in gaps:
        if s.frame_shape == "holes":
            holes.append(arc(x, low + 0.5 * rise, 0.26 * min(rise, d), 0, 2 * np.pi, 14)[:-1])
        elif s.frame_shape == "slots":
            long = (x - 0.3 * d, x + 0.3 * d)
            holes.append(round_rect(long, (low + 0.3 * rise, low + 0.75 * rise), 0.1 * d))
    kit.pair("frame", "frame", prism(outline, (y - 0.04, y + 0.02), holes=holes, bevel=0.01))
    boxes = [box([x, y + 0.03, 0.5 * d], [0.24, 0.05, 0.26], 0.02) for x in lay.drivers]
    kit.pair("frame", "frame", *boxes)


def _valance(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """A sheet below the board's edge before the upper part of the wheels."""
    d = lay.wheel_d
    a, b = lay.drivers[-1] - 0.62 * d, lay.drivers[0] + 0.62 * d
    b = min(b, float(lay.board[-1, 0]) - 0.05)
    top = min(_under(lay, float(x)) for x in np.linspace(a, b, 30)) + 0.01
    depth = float(child(s.seed, "valance").uniform(0.1, 0.24)) * d
    low = max(top - depth, 0.72 * d)
    if top - low < 0.07:
        return
    y = lay.board_y - 0.04
    outline = [(a, top), (a + 0.1, low), (b - 0.1, low), (b, top)]
    holes: list[list[tuple[float, float]]] = []
    if s.valance == "scallops":
        outline = [(b, top), (a, top), (a, low)]
        edges = np.linspace(a, b, len(lay.drivers) + 1)
        for p, q in itertools.pairwise(edges):
            r = 0.5 * (q - p) - 0.05
            flat = 0.75 * (top - low) / max(r, 1e-6)
            bow = arc(0.0, 0.0, r, np.pi, 0.0, 10)
            outline += [(0.5 * (p + q) + u, low + min(flat, 1.0) * v) for u, v in bow]
        outline.append((b, low))
    elif s.valance == "holes":
        r = 0.26 * (top - low)
        holes = [
            arc(x, 0.5 * (top + low), r, 0, 2 * np.pi, 12)[:-1]
            for x in np.arange(a + 0.3, b - 0.25, max(4.0 * r, 0.3))
        ]
    kit.pair("skirt", "edge", prism(outline, (y - 0.03, y), holes=holes))


def _brake_gear(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """Hangers with blocks behind every driver, joined by a pull rod close above the rails."""
    d, y = lay.wheel_d, HALF_GAUGE + 0.03
    reach = 0.55 * d
    block = [
        *arc(0, 0, 0.505 * d, np.pi - 0.25, np.pi + 0.3, 6),
        *arc(0, 0, 0.505 * d + 0.09, np.pi + 0.3, np.pi - 0.25, 6),
    ]
    meshes: list[Mesh] = []
    for x in lay.drivers:
        meshes.append(prism([(x + u, 0.5 * d + v) for u, v in block], (y - 0.06, y + 0.06)))
        path = [[x - reach, y, 0.85 * d], [x - reach - 0.05, y, 0.5 * d], [x - 0.45 * d, y, 0.2]]
        meshes.append(tube(bend(path, 0.2), 0.03, 6))
    pull = float(rng.uniform(0.14, 0.22))
    ends = [lay.drivers[-1] - 0.62 * d, lay.drivers[0] - 0.4 * d]
    meshes.append(tube([[ends[0], y, pull], [ends[1], y, pull]], 0.025, 6))
    kit.pair("brakes", "frame", *meshes)


def _sand_gear(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """A box below the board with a thick pipe to the rail before a driver."""
    d = lay.wheel_d
    forward = rng.random() < 0.6
    x = lay.drivers[0] + 0.62 * d if forward else lay.drivers[-1] - 0.62 * d
    sign, y, top = (1 if forward else -1), HALF_GAUGE + 0.12, _under(lay, x)
    p = [
        [x, y, top - 0.1],
        [x + sign * 0.03, y, 0.45 * d],
        [x - sign * 0.06, y - 0.1, 0.2],
        [x - sign * 0.16, y - 0.12, 0.06],
    ]
    hopper = span((x - 0.11, x + 0.11), (y - 0.14, y + 0.1), (top - 0.24, top), 0.03)
    kit.pair("brakes", "frame", hopper)
    kit.pair("brakes", "pipe", tube(bend(p, 0.12), float(rng.uniform(0.02, 0.04)), 7))


def _springs(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """Leaf springs over the axles, or coils; they show between the spokes and above the wheels."""
    d, y = lay.wheel_d, HALF_GAUGE - 0.07
    coils = rng.random() < 0.35
    z = 0.82 * d
    meshes: list[Mesh] = []
    for x in lay.drivers:
        if coils:
            for dx in (-0.2 * d, 0.2 * d):
                meshes += [
                    rod(0.07, z - 0.12 + k, z - 0.09 + k, "z", 10).moved(x + dx, y)
                    for k in np.arange(0.0, 0.22, 0.05)
                ]
            continue
        for n in range(5):
            half = (0.4 - 0.07 * n) * d
            leaf = [(x - half, z + 0.05), (x, z - 0.025 * n), (x + half, z + 0.05)]
            path = bend([[u, y, w - 0.012 * n] for u, w in leaf], 0.3)
            meshes.append(tube(path, 0.014, 4))
        meshes.append(box([x, y, z - 0.06], [0.09, 0.1, 0.2], 0.01))
    kit.pair("brakes", "frame", *meshes)


def _side_plate(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """The side plate of a clockwork, real or feigned, behind the wheels, with its pillars' nuts."""
    d, y = lay.wheel_d, HALF_GAUGE - 0.06
    a, b = lay.drivers[-1] - 0.3 * d, lay.drivers[0] + 0.3 * d
    if b - a < 0.8 * d:
        a, b = a - 0.2 * d, b + 0.2 * d
    low, top = 0.22 * d, min(_under(lay, a), _under(lay, b)) - 0.02
    outline = round_rect((a, b), (low, top), 0.12)
    middle = 0.5 * (a + b)
    r = min(0.2 * d, 0.3 * (top - low))
    holes = [arc(middle, 0.5 * (low + top), r, 0, 2 * np.pi, 14)[:-1]]
    metal = "steel" if rng.random() < 0.5 else "frame"
    kit.pair("frame", metal, prism(outline, (y - 0.02, y), holes=holes))
    nuts = [
        rod(0.045, y, y + 0.05, "y", 6).moved(x, 0, z)
        for x in (a + 0.12, middle - 0.3 * d, middle + 0.3 * d, b - 0.12)
        for z in (low + 0.1, top - 0.1)
    ]
    wheel = lathe([(y - 0.12, 0.0), (y - 0.12, r), (y - 0.08, r), (y - 0.08, 0.0)], "y", 20)
    kit.pair("frame", metal, *nuts, wheel.moved(middle + 0.1, 0, 0.5 * (low + top)))


def _mudguards(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """Curved sheets close over the drivers, where the board is higher than the wheels."""
    d = lay.wheel_d
    wide = float(rng.uniform(0.6, 1.1))
    for x in lay.drivers:
        r = 0.5 * d + 0.05
        if _under(lay, x) < 0.5 * d + r + 0.03:
            continue
        span_a = (np.pi / 2 - wide, np.pi / 2 + wide)
        rim = arc(x, 0.5 * d, r + 0.02, *span_a, 14) + arc(x, 0.5 * d, r, *span_a[::-1], 14)
        kit.pair("splasher", "body", prism(rim, (HALF_GAUGE - 0.1, HALF_GAUGE + 0.16)))


def _injector(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """A brass body below the cab or ahead of it, and pipes up to the board."""
    x = lay.cab_front + float(rng.uniform(-0.5, 0.2))
    y, z = lay.board_y - 0.16, _under(lay, x) - 0.16
    body = lathe(
        [(-0.22, 0), (-0.22, 0.04), (-0.1, 0.06), (-0.05, 0.09), (0.05, 0.09), (0.2, 0.045)]
        + [(0.2, 0)],
        "x",
        12,
    )
    kit.pair("pipes", "brass", body.moved(x, y, z), rod(0.05, z, z + 0.14).moved(x, y))
    ways = [
        [[x + 0.2, y, z], [x + 0.4, y, z], [x + 0.44, y - 0.04, z + 0.2]],
        [[x - 0.2, y, z], [x - 0.34, y, z - 0.02], [x - 0.36, y, z + 0.2]],
    ]
    kit.pair("pipes", "pipe", *(tube(bend(p, 0.1), 0.03, 7) for p in ways))


def _reservoir(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """An air reservoir along the board below the cab, in two straps."""
    r = float(rng.uniform(0.1, 0.16))
    a, b = lay.cab_rear + 0.1, lay.cab_front + 0.1
    y, z = lay.board_y - r - 0.06, _under(lay, a) - r - 0.02
    shell = [(a, 0), (a, 0.75 * r), (a + 0.06, r), (b - 0.06, r), (b, 0.75 * r), (b, 0)]
    kit.pair("side_tank", "frame", lathe(shell, "x", 18).moved(0, y, z))
    straps = [
        lathe([(x, r), (x, 1.06 * r), (x + 0.04, 1.06 * r), (x + 0.04, r)], "x", 18)
        for x in (a + 0.2, b - 0.24)
    ]
    kit.pair("side_tank", "frame", *(m.moved(0, y, z) for m in straps))


def _ladder(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """Steps of three or four rungs below the cab's doorway."""
    x, y = lay.cab_rear + 0.3, lay.board_y - 0.03
    top, low = _under(lay, x) + 0.02, 0.32
    count = int(rng.integers(3, 5))
    posts = [tube([[x + dx, y, low], [x + dx, y, top]], 0.018, 6) for dx in (-0.17, 0.17)]
    rungs = [
        tube([[x - 0.17, y, z], [x + 0.17, y, z]], 0.016, 6)
        for z in np.linspace(low + 0.02, top - 0.12, count)
    ]
    kit.pair("steps", "frame", *posts, *rungs)


def _lubricator(kit: Kit, lay: Layout, rng: np.random.Generator) -> None:
    """A box on the running board over the cylinders, thin pipes leading down behind the edge."""
    x = float(np.clip(lay.cylinder_x - rng.uniform(0.4, 0.8), lay.cab_front, lay.front - 0.4))
    y, z = lay.board_y - 0.2, lay.board_at(x)
    case = span((x - 0.12, x + 0.12), (y - 0.1, y + 0.1), (z, z + 0.2), 0.02)
    kit.pair("side_tank", "frame", case, rod(0.03, y + 0.1, y + 0.14, "y", 8).moved(x, 0, z + 0.1))


# Share of engines with much of it that have each, and what adds it; those with some have half
# as often.
_OPTIONS: dict[str, tuple[float, Callable[[Kit, Layout, np.random.Generator], None]]] = {
    "brake_gear": (0.5, _brake_gear),
    "sand_gear": (0.5, _sand_gear),
    "springs": (0.45, _springs),
    "side_plate": (0.3, _side_plate),
    "mudguards": (0.25, _mudguards),
    "injector": (0.5, _injector),
    "reservoir": (0.3, _reservoir),
    "ladder": (0.3, _ladder),
    "lubricator": (0.3, _lubricator),
}
