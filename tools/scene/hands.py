"""Things that hide part of the engine on purpose: fingers, a box corner, a pole."""

from __future__ import annotations

import numpy as np

from tools.scene.shapes import Floats, blob, box, join, tube
from tools.scene.stage import Stage

# sRGB skin tones from pale to dark, chosen by eye.
SKIN = np.array(
    [[236, 198, 175], [222, 172, 140], [190, 134, 100], [141, 90, 62], [92, 58, 42]], float
)


def _finger(tip: Floats, knuckle: Floats, radius: float) -> Floats:
    """Centre line from the tip to the knuckle, bent like a finger; (k, 3)."""
    t = np.linspace(0, 1, 7)[:, None]
    bend = np.array([0, 0.25, 0.6]) * np.linalg.norm(knuckle - tip)
    return tip + t * (knuckle - tip) + 0.6 * t * (1 - t) * bend


def hand(stage: Stage) -> None:
    """Fingers over the boiler or in front of the rods, coming from the viewers' side."""
    rng = stage.rng
    radius = rng.uniform(0.007, 0.0095)
    tone = SKIN[int(rng.integers(len(SKIN)))] * rng.uniform(0.9, 1.08, 3)
    # A hand is as big beside a tiny engine as beside a large one: fewer fingers then.
    most = int(np.clip(0.3 * stage.length / (2.2 * radius), 1, 4))
    fingers = int(rng.integers(1, most + 1))
    x = rng.uniform(-0.42, 0.42) * stage.length
    over = rng.random() < 0.5
    reach = rng.uniform(0.05, 0.08)
    if over:
        tip = np.array([x, 0.1 * stage.width, stage.height * rng.uniform(0.85, 1.0) + radius])
        root = tip + [0.0, reach, 0.7 * reach]
    else:
        tip = np.array([x, stage.width / 2 + 1.2 * radius, stage.height * rng.uniform(0.1, 0.5)])
        root = tip + [rng.choice([-1, 1]) * 0.4 * reach, reach, 0.3 * reach]
    shape = radius * np.array([0.55, 0.9, 1.0, 1.0, 1.05, 1.1, 1.1])
    lines = []
    for i in range(fingers):
        aside = np.array([(i - (fingers - 1) / 2) * 2.05 * radius, 0, 0])
        wobble = np.array([0, 0, rng.normal(0, 0.004)])
        lines.append(tube(_finger(tip + aside + wobble, root + aside, radius), shape, segments=10))
    palm = blob((0.042, 0.035, 0.028)).at(*(root + [0, 0.03, 0.008]))
    arm_path = np.stack([root + [0, 0.05, 0.01], root + [0.05, 0.35, 0.12]])
    arm = tube(arm_path, np.array([0.024, 0.034]), segments=12)
    stage.paint(join([*lines, palm, arm]), tone, "satin", owner="occluder_hand")


def box_corner(stage: Stage) -> None:
    """The corner of a carton pushed in front of one end of the engine."""
    rng = stage.rng
    size = (0.6 * stage.length, 0.08, rng.uniform(0.25, 0.8) * stage.height)
    end = rng.choice([-1, 1])
    x = end * (rng.uniform(0.3, 0.45) * stage.length + size[0] / 2)
    y = stage.width / 2 + rng.uniform(0.15, 0.8) * stage.width + size[1] / 2
    tone = rng.uniform(40, 230, 3)
    stage.paint(box(size).at(x, y, stage.support_z), tone, "matt", owner="occluder_box")


def front_rail(stage: Stage) -> None:
    """A barrier rope or fence rail between the viewer and the engine."""
    rng = stage.rng
    y = stage.width / 2 + rng.uniform(1.0, 2.0) * stage.width
    z = stage.height * rng.uniform(0.1, 0.6)
    xs = np.linspace(-2, 2, 17) * stage.length
    sag = z * (1 - 0.15 * np.cos(np.pi * np.linspace(-2, 2, 17)))
    path = np.column_stack([xs, np.full(17, y), sag])
    stage.paint(
        tube(path, 0.02 * stage.height), rng.uniform(20, 220, 3), "satin", owner="occluder_rail"
    )


def maybe_occlude(stage: Stage, chance: float = 0.15) -> None:
    """With probability `chance` hide some of the engine; records it in the truth."""
    stage.truth["occluders"] = ()
    if stage.rng.random() >= chance:
        return
    makers = {"hand": hand, "box": box_corner, "rail": front_rail}
    name = str(stage.rng.choice(list(makers), p=[0.55, 0.3, 0.15]))
    makers[name](stage)
    stage.truth["occluders"] = (name,)
