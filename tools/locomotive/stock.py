"""Things on rails that are no steam engine: wagons, coaches, diesels, railcars."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.lamps import lamp
from tools.locomotive.layout import HALF_GAUGE
from tools.locomotive.paint import LIVERIES, NAMED, linear, metal, tinted, weathered
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, box, lathe, rod, round_rect, span
from tools.locomotive.wheels import add_wheelset
from tools.parts import Material, Model

_BRIGHT = (
    "green_mid",
    "blue_mid",
    "maroon",
    "red",
    "grey",
    "brown",
    "orange",
    "yellow",
    "blue_dark",
    "green_dark",
    "silver",
    "black_satin",
)


def _finish(kit: Kit, rng: np.random.Generator, kind: str, gauge: float) -> Model:
    def paint() -> Material:
        color = tinted(linear(LIVERIES[str(rng.choice(_BRIGHT))].body), rng.uniform(0.8, 1.2))
        return Material(color, rng.uniform(0.15, 0.6), clearcoat=float(rng.random() < 0.3))

    wear, dust = rng.uniform(0, 0.4, 2)
    black = Material(linear(NAMED["black"]), 0.5)
    materials = {
        "body": weathered(paint(), wear=wear, dust=dust, rng=rng),
        "body2": paint(),
        "roof": Material(linear(str(rng.choice(["3a3a3c", "9a9c9e", "6a2a22"]))), 0.5),
        "frame": black,
        "wheel": black,
        "tyre": metal("steel", 0.2),
        "steel": metal("steel", 0.3),
        "window": Material((0.015, 0.018, 0.02), 0.06, 0.0, 0.7, 1.0),
        "load": Material(linear(str(rng.choice(["1a1a1c", "8a6a44", "a09a90"]))), 0.9),
        "lens": Material((0.85, 0.83, 0.75), 0.08, 0.0, 0.9, 1.0),
        "smokebox": black,
    }
    scale = gauge / (2 * HALF_GAUGE)
    parts = kit.parts(scale, materials)
    low, high = kit.bounds(kit.owner)
    marks = {"wagon_min": scale * low, "wagon_max": scale * high}
    return Model(
        parts,
        {p.material: materials[p.material] for p in parts},
        marks,
        {"kind": kind, "gauge": gauge},
    )


def _running_gear(kit: Kit, half: float, deck: float, *, bogies: bool, d: float = 0.95) -> None:
    groups = (
        [[half - 0.9 - d, half - 0.9], [-half + 0.9, -half + 0.9 + d]]
        if bogies
        else [[0.55 * half], [-0.55 * half]]
    )
    for xs in groups:
        for i, x in enumerate(xs):
            add_wheelset(
                kit,
                x + (0.25 if i else 0.0) * (1 if x > 0 else -1) * 0.0,
                d,
                style="disc",
                spokes=8,
                width=0.15,
            )
        y = HALF_GAUGE + 0.2
        kit.pair(
            "frame",
            "frame",
            box([sum(xs) / len(xs), y, d / 2 + 0.1], [max(xs) - min(xs) + 0.9, 0.1, 0.2], 0.03),
            *(box([x, y + 0.04, d / 2], [0.24, 0.16, 0.26], 0.03) for x in xs),
        )
    kit.add("frame", "frame", span((-half, half), (-1.1, 1.1), (deck - 0.22, deck), 0.015))
    for sign in (-1, 1):
        p = [(0, 0.14), (0.22, 0.08), (0.38, 0.2), (0.43, 0.0)]
        kit.pair(
            "buffer",
            "steel",
            lathe([(sign * a, r) for a, r in p], "x", 16).moved(sign * half, 0.85, deck - 0.12),
        )


def _gauge(rng: np.random.Generator, gauge: float | None) -> float:
    return gauge or float(rng.choice([0.0165, 0.032, 0.045]))


def wagon(rng: np.random.Generator, gauge: float | None = None) -> Model:
    """A goods wagon: open, covered, tank or flat."""
    gauge, kit = _gauge(rng, gauge), Kit(owner="wagon")
    half, deck, y = rng.uniform(2.6, 5.2), 1.15, rng.uniform(1.2, 1.45)
    _running_gear(kit, half, deck, bogies=half > 4.0)
    kind = str(rng.choice(["open", "covered", "tank", "flat"]))
    h = rng.uniform(0.7, 1.2)
    if kind == "open":
        for sign in (-1, 1):
            kit.add(
                "body",
                "body",
                span((-half, half), (sign * y - 0.04, sign * y + 0.04), (deck, deck + h), 0.01),
                span((sign * half - 0.06, sign * half), (-y, y), (deck, deck + h), 0.01),
            )
        kit.pair(
            "body",
            "body2",
            *(
                span((x - 0.05, x + 0.05), (y + 0.03, y + 0.07), (deck - 0.1, deck + h), 0.01)
                for x in np.linspace(-half + 0.1, half - 0.1, 6)
            ),
        )
        if rng.random() < 0.7:
            n = 24
            z = deck + h - 0.1 + rng.uniform(-0.06, 0.2, (n, 12))
            pts = np.stack(
                [
                    np.repeat(np.linspace(-half + 0.08, half - 0.08, n)[:, None], 12, 1),
                    np.repeat(np.linspace(-y + 0.05, y - 0.05, 12)[None], n, 0),
                    z,
                ],
                -1,
            )
            quad = np.concatenate(
                [pts[:-1, :-1], pts[1:, :-1], pts[1:, 1:], pts[:-1, 1:]], -1
            ).reshape(-1, 4, 3)
            kit.add(
                "load",
                "load",
                Mesh(
                    quad[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3),
                    np.arange(6 * len(quad)).reshape(-1, 3),
                ),
            )
    elif kind == "covered":
        _carbody(kit, half, y, deck, deck + 2.1, windows=0)
        kit.pair(
            "body", "body2", span((-0.8, 0.8), (y, y + 0.06), (deck + 0.05, deck + 1.9), 0.015)
        )
    elif kind == "tank":
        r = min(1.15, y)
        kit.add(
            "body",
            "body",
            lathe(
                [
                    (-half + 0.2, 0),
                    (-half + 0.3, 0.85 * r),
                    (-half + 0.5, r),
                    (half - 0.5, r),
                    (half - 0.3, 0.85 * r),
                    (half - 0.2, 0),
                ],
                "x",
                36,
            ).moved(z=deck + r + 0.1),
        )
        kit.add("body", "body", rod(0.35, deck + 2 * r, deck + 2 * r + 0.4))
    else:
        kit.add("body", "body", span((-half, half), (-y, y), (deck, deck + 0.12), 0.02))
        kit.add(
            "load",
            "body2",
            box([rng.uniform(-1, 1), 0, deck + 0.6], [rng.uniform(1, 3), 1.6, 1.0], 0.05),
        )
    return _finish(kit, rng, "wagon", gauge)


def _carbody(
    kit: Kit, half: float, y: float, low: float, top: float, *, windows: int, taper: float = 0.0
) -> None:
    """Sides, ends and an arched roof; windows as dark panes in frames."""
    outline = round_rect((-half, half), (low, top), 0.06 + taper, 5)
    kit.add("body", "body", prism(outline, (-y, y), bevel=0.03))
    rise = 0.28 * y
    arch = [
        (y * 1.03 * np.cos(a), top - 0.08 + rise * np.sin(a)) for a in np.linspace(0, np.pi, 17)
    ]
    kit.add(
        "roof", "roof", prism(arch, (-half - 0.05 + taper, half + 0.05 - taper), "yz", bevel=0.03)
    )
    if not windows:
        return
    pitch = (2 * half - 0.8 - 2 * taper) / windows
    for k in range(windows):
        x = -half + 0.4 + taper + pitch * (k + 0.5)
        pane = round_rect(
            (x - 0.36 * pitch, x + 0.36 * pitch),
            (low + 0.45 * (top - low), low + 0.83 * (top - low)),
            0.08,
        )
        kit.pair("window", "window", prism(pane, (y, y + 0.008)))
    band = span(
        (-half + taper, half - taper),
        (y, y + 0.005),
        (low + 0.08 * (top - low), low + 0.16 * (top - low)),
    )
    kit.pair("body", "body2", band)


def coach(rng: np.random.Generator, gauge: float | None = None) -> Model:
    """A passenger coach, short on four wheels or long on bogies."""
    gauge, kit = _gauge(rng, gauge), Kit(owner="wagon")
    half, y = rng.uniform(3.2, 9.0), rng.uniform(1.25, 1.45)
    _running_gear(kit, half, 1.2, bogies=half > 4.2)
    _carbody(kit, half, y, 1.2, 3.3, windows=int(half * rng.uniform(0.9, 1.5)))
    return _finish(kit, rng, "coach", gauge)


def diesel(rng: np.random.Generator, gauge: float | None = None) -> Model:
    """A diesel or electric locomotive: boxy with one or two cabs, or a hood and a cab."""
    gauge, kit = _gauge(rng, gauge), Kit(owner="wagon")
    half, y = rng.uniform(3.5, 8.0), rng.uniform(1.3, 1.45)
    _running_gear(kit, half, 1.2, bogies=True, d=1.0)
    if rng.random() < 0.5:
        _carbody(kit, half, y, 1.1, 3.3, windows=int(rng.integers(2, 6)), taper=rng.uniform(0, 0.5))
        kit.pair(
            "body",
            "steel",
            *(
                span((x, x + 0.7), (y, y + 0.02), (1.9, 2.5), 0.01)
                for x in np.linspace(-half * 0.5, half * 0.4, 3)
            ),
        )
        for sign in (-1, 1):
            kit.pair(
                "window",
                "window",
                span((sign * half - 0.02, sign * half + 0.015), (0.12, 0.8), (2.3, 3.0), 0.01),
            )
    else:
        x = rng.uniform(-half * 0.7, half * 0.3)
        kit.add(
            "body",
            "body",
            span((-half + 0.2, half - 0.3), (-0.75, 0.75), (1.2, 2.6), 0.08),
            span((x, x + 1.9), (-y, y), (1.2, 3.4), 0.06),
        )
        kit.pair("window", "window", span((x + 0.3, x + 1.6), (y, y + 0.01), (2.4, 3.1)))
        kit.pair(
            "handrail",
            "steel",
            *(
                rod(0.02, 1.2, 2.2).moved(u, y - 0.1)
                for u in np.linspace(-half + 0.1, half - 0.1, 9)
            ),
        )
        kit.add("body", "body2", rod(0.12, 2.5, 2.9).moved(half * 0.4))
    for sign in (-1, 1):
        body, lens = lamp(sign * half, 0.0, 1.75, r=0.14, sign=sign)
        kit.add("lamp", "smokebox", body)
        kit.add("lamp", "lens", lens)
    return _finish(kit, rng, "diesel", gauge)


def railcar(rng: np.random.Generator, gauge: float | None = None) -> Model:
    """A tram or railcar: rounded ends, many windows, sometimes a trolley pole."""
    gauge, kit = _gauge(rng, gauge), Kit(owner="wagon")
    half, y = rng.uniform(3.0, 7.0), rng.uniform(1.1, 1.4)
    _running_gear(kit, half * 0.9, 1.0, bogies=half > 4.5, d=0.8)
    top = rng.uniform(3.0, 3.4)
    _carbody(kit, half, y, 0.85, top, windows=int(half * 1.6), taper=rng.uniform(0.1, 0.6))
    if rng.random() < 0.5:
        kit.add(
            "roof", "steel", rod(0.03, 0, 3.0, "x", 8).turned("y", -0.35).moved(-1.5, 0, top + 0.4)
        )
    return _finish(kit, rng, "railcar", gauge)
