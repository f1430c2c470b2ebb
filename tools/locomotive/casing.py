"""The streamlined casing and its skirts."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import Layout
from tools.locomotive.prisms import loft, prism
from tools.locomotive.solids import span
from tools.locomotive.spec import LocomotiveSpec

_NOSES = {"prow": 1.7, "globe": 1.1, "slab": 0.9}  # m, of those that only training draws
TIP = 0.12  # m, nose ahead of the beam; chosen by eye


def casing_top(lay: Layout) -> float:
    """Height of a streamlined casing's top."""
    return lay.boiler_z + 1.06 * lay.boiler_r


def nose_length(s: LocomotiveSpec, lay: Layout) -> float:
    """Length of the casing's nose, from its tip backwards."""
    want = {"bullet": 1.5, "wedge": 2.3, "shovel": 2.0, "tub": 0.7, **_NOSES}[s.casing]
    return min(want, 0.4 * (lay.front - lay.cab_front))


def nose_shape(casing: str, t: float) -> tuple[float, float]:
    """Width and height left at t along the nose (0 its root, 1 its tip)."""
    shapes = {
        "bullet": (1 - t**2.4, 1 - 0.92 * t**2.2),
        "wedge": (1 - 0.7 * t**4, (1 - 0.86 * t**1.15) ** 2),
        "shovel": (1 - 0.75 * t**3, (0.1 + 0.9 * np.sqrt(max(1 - t**1.3, 0.0))) ** 2),
        "tub": (1 - 0.85 * t**3, 1 - 0.9 * t**2.6),
        "prow": ((1 - 0.93 * t**1.2) ** 2, 1 - 0.5 * t**3),
        "globe": (max(1 - t**2, 0.002), max(1 - t**2, 0.002)),
        "slab": (1 - 0.3 * t**4, (1 - 0.45 * t) ** 2),
    }
    w, h = shapes[casing]
    return float(np.sqrt(w)), float(np.sqrt(h))


def casing_top_at(s: LocomotiveSpec, lay: Layout, x: float) -> float:
    """Height of the casing's top at x, nose included."""
    t = float(np.clip((x - TIP - lay.front) / nose_length(s, lay) + 1.0, 0.0, 1.0))
    low = lay.board_z - 0.02
    return low + (casing_top(lay) - low) * nose_shape(s.casing, t)[1]


def casing_section(w: float, top: float, low: float, power: float) -> np.ndarray:
    """Cross-section (k, 2) of a casing: straight sides below, a superellipse arch above."""
    a = np.linspace(0, np.pi, 33)
    side = low + 0.25 * (top - low)
    y = w * np.sign(np.cos(a)) * np.abs(np.cos(a)) ** power
    z = side + (top - side) * np.abs(np.sin(a)) ** power
    return np.concatenate([[[w, low]], np.stack([y, z], 1), [[-w, low]]])


def add_casing(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    """A smooth shell from cab to nose, with skirts beside the wheels."""
    top, low = casing_top(lay), lay.board_z - 0.02
    w0 = min(max(1.12 * lay.boiler_r, 0.78 * lay.board_y), lay.board_y - 0.05)
    nose = nose_length(s, lay)
    tip = lay.front + TIP
    power = {"tub": 0.62, "slab": 0.45, "prow": 0.7}.get(s.casing, 0.85)
    stations = [
        (lay.cab_front - 0.2, 0.0),
        (tip - nose, 0.0),
        *((tip - nose * (1 - t), t) for t in 1 - (1 - np.linspace(0.04, 0.999, 16)) ** 1.6),
    ]
    sections = []
    for x, t in stations:
        wf, hf = nose_shape(s.casing, float(t))
        sec = casing_section(w0 * wf, low + (top - low) * hf, low, power)
        sections.append(np.column_stack([np.full(len(sec), x), sec]))
    kit.add("boiler", "body", loft(np.array(sections)))
    kit.add("boiler", "body", prism(sections[-1][:, 1:], (tip - 0.02, tip - 0.001), "yz"))
    if s.bands:
        sec = casing_section(w0 + 0.012, top + 0.012, low, power)
        for x in np.linspace(lay.cab_front + 0.3, tip - nose - 0.1, s.bands):
            ring = [np.column_stack([np.full(len(sec), x + dx), sec]) for dx in (-0.025, 0.025)]
            kit.add("band", "band", loft(np.array(ring)))
    if s.lining == "boiler":
        high = lay.board_z + 0.19 * (top - low)
        nose_x = tip - nose - 0.02
        kit.pair(
            "lining",
            "lining",
            span((lay.cab_front, nose_x), (w0 - 0.01, w0 + 0.006), (high, high + 0.07)),
        )
    _skirts(kit, s, lay)


def _skirts(kit: Kit, s: LocomotiveSpec, lay: Layout) -> None:
    depth = s.skirt * (lay.board_z - 0.25)
    if depth < 0.08:
        return
    y, z = lay.board_y - 0.07, lay.board_z - 0.02
    a, b = lay.drivers[-1] - 0.6 * lay.wheel_d, lay.drivers[0] + 0.6 * lay.wheel_d
    end = min(float(lay.board[-1, 0]), lay.front - 0.1)
    mid = 0.3 * depth
    path = [
        (lay.rear + 0.1, z),
        (lay.rear + 0.1, z - depth),
        (a - 0.1, z - depth),
        (a + 0.25, z - mid),
        (b - 0.25, z - mid),
        (b + 0.1, z - depth),
        (end, z - depth),
        (end, z),
    ]
    kit.pair("skirt", "body2", prism(path, (y - 0.03, y), bevel=0.01))
