"""Track: rails, sleepers, ballast; two rails or three of sheet metal."""

from __future__ import annotations

import numpy as np

from tools.locomotive.kit import Kit
from tools.locomotive.layout import HALF_GAUGE
from tools.locomotive.paint import linear, metal, weathered
from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, span
from tools.parts import Material, Model

KINDS = ("ballast", "sleepers", "tinplate")


def track(
    rng: np.random.Generator, length: float, *, gauge: float = 0.032, kind: str | None = None
) -> Model:
    """A straight piece of track along x, middle at the origin, rail top at z = 0.

    Parameters
    ----------
    length, gauge : float
        Metres of the model.
    kind : str or None
        One of `KINDS`; drawn if None.
    """
    kind = kind or KINDS[int(rng.choice(3, p=[0.4, 0.35, 0.25]))]
    scale = gauge / (2 * HALF_GAUGE)
    half = 0.5 * length / scale
    kit = Kit(owner="track")
    tin = kind == "tinplate"
    outline = _tin_rail() if tin else _rail()
    ys = (-HALF_GAUGE - 0.03, HALF_GAUGE + 0.03, *((0.0,) if tin else ()))
    for y in ys:
        kit.add("rail", "rail", prism([(u + y, v) for u, v in outline], (-half, half), "yz"))
    low = min(v for _, v in outline)
    pitch = rng.uniform(1.6, 3.2) if tin else rng.uniform(0.55, 0.85)
    wide, deep = (0.22, 0.1) if tin else (0.24, 0.14)
    reach = rng.uniform(1.15, 1.4)
    xs = np.arange(-half + 0.1, half, pitch)
    turn = rng.normal(0, 0.01, len(xs))
    kit.add(
        "sleeper",
        "sleeper",
        *(
            span(
                (x - wide / 2, x + wide / 2), (-reach, reach), (low - deep, low + 0.015), 0.015
            ).turned("z", float(t), (x, 0, 0))
            for x, t in zip(xs, turn, strict=True)
        ),
    )
    if not tin:
        chairs = [
            span((x - 0.09, x + 0.09), (y - 0.14, y + 0.14), (low, low + 0.05), 0.01)
            for x in xs
            for y in ys
        ]
        kit.add("sleeper", "chair", *chairs)
    if kind == "ballast":
        kit.add("ballast", "ballast", _ballast(rng, half, low))
    wood = ("4a3a2c", "6b5a48", "35302b", "7d6a52")
    sleeper = (
        Material(linear(str(rng.choice(wood))), 0.8)
        if not tin
        else Material(linear(str(rng.choice(["2a2a2a", "7a2a20", "8a8c8e"]))), 0.4)
    )
    rusty = Material(linear("6e5140"), 0.5, 0.7)
    stone = Material(linear(str(rng.choice(["8a857c", "6f6a64", "a3988a"]))), 0.95)
    materials = {
        "rail": metal(str(rng.choice(["steel", "nickel", "brass"], p=[0.6, 0.25, 0.15])))
        if rng.random() < 0.75
        else rusty,
        "sleeper": weathered(sleeper, wear=0.3, dust=0.3, rng=rng),
        "chair": Material(linear("3c332c"), 0.7, 0.2),
        "ballast": weathered(stone, wear=1.0, dust=0.4, rng=rng),
    }
    parts = kit.parts(scale, materials)
    return Model(
        parts,
        {p.material: materials[p.material] for p in parts},
        {},
        {"gauge": gauge, "track": kind},
    )


def _rail() -> list[tuple[float, float]]:
    h = [
        (0.07, -0.16),
        (0.07, -0.145),
        (0.012, -0.125),
        (0.012, -0.045),
        (0.035, -0.03),
        (0.035, -0.006),
        (0.028, 0.0),
    ]
    return [*h, *[(-u, v) for u, v in h[::-1]]]


def _tin_rail() -> list[tuple[float, float]]:
    h = [
        (0.09, -0.24),
        (0.09, -0.225),
        (0.02, -0.215),
        (0.02, -0.09),
        (0.05, -0.06),
        (0.05, -0.03),
        (0.02, 0.0),
    ]
    return [*h, *[(-u, v) for u, v in h[::-1]]]


def _ballast(rng: np.random.Generator, half: float, low: float) -> Mesh:
    nx = int(np.clip(2 * half / 0.12, 20, 400))
    ys = np.array(
        [
            -2.3,
            -1.9,
            -1.7,
            -1.5,
            -1.3,
            -1.1,
            -0.9,
            -0.7,
            -0.5,
            -0.3,
            -0.1,
            0.1,
            0.3,
            0.5,
            0.7,
            0.9,
            1.1,
            1.3,
            1.5,
            1.7,
            1.9,
            2.3,
        ]
    )
    base = np.interp(np.abs(ys), [0, 1.5, 2.3], [low - 0.03, low - 0.04, low - 0.5])
    z = base[None] + rng.uniform(-0.045, 0.03, (nx, len(ys)))
    x = np.linspace(-half, half, nx)[:, None] + 0 * ys[None]
    pts = np.stack([x, np.repeat(ys[None], nx, 0), z], -1)
    quad = np.concatenate([pts[:-1, :-1], pts[1:, :-1], pts[1:, 1:], pts[:-1, 1:]], -1).reshape(
        -1, 4, 3
    )
    tri = quad[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3)
    return Mesh(tri, np.arange(len(tri)).reshape(-1, 3))
