"""Things that hide part of the engine on purpose: a hand, a box corner, a rail."""

from __future__ import annotations

import numpy as np

from tools.scene.shapes import Floats, Mesh, blob, box, join, shift, tube, turn
from tools.scene.stage import Stage
from tools.scene.textures import colour

# sRGB skin tones from pale to dark, chosen by eye.
SKIN = np.array(
    [[236, 198, 175], [222, 172, 140], [190, 134, 100], [141, 90, 62], [92, 58, 42]], float
)


def _bent(points: Floats, radius: float) -> Mesh:
    """A finger along three joints, rounded at both ends."""
    a, b, c = (np.asarray(p, float) for p in points)
    t = np.linspace(0, 1, 9)[:, None]
    # Quadratic curve that passes through the middle joint at t = 1/2.
    control = 2 * b - 0.5 * (a + c)
    path = (1 - t) ** 2 * a + 2 * t * (1 - t) * control + t**2 * c
    shape = radius * np.array([0.6, 0.88, 0.95, 1.0, 1.0, 1.04, 1.05, 1.08, 1.1])
    return tube(path, shape, segments=10)


def _hand_mesh(rng: np.random.Generator, fingers: int) -> tuple[Mesh, Mesh]:
    """Skin and sleeve of a hand pointing along -y, fingertips at the origin, metres."""
    k = rng.uniform(0.85, 1.1)  # about an adult's hand: 19 cm from wrist to tip
    side = rng.choice([-1, 1])
    curl = rng.uniform(0.012, 0.03)
    meshes = [blob((0.043, 0.052, 0.019), rings=10).at(0, 0.108, 0.012)]
    for i in range(4):
        x = (i - 1.5) * 0.02
        if i < fingers:
            tip = [0.75 * x, 0.004 * (i - 1) ** 2, rng.normal(0, 0.002)]
            meshes.append(_bent(np.array([tip, [x, 0.035, curl], [x, 0.075, 0.018]]), 0.0082))
        else:  # folded away
            meshes.append(
                _bent(np.array([[x, 0.07, -0.02], [x, 0.045, 0.0], [x, 0.078, 0.016]]), 0.0085)
            )
    thumb = [
        [0.012 * side, 0.008, -0.016],
        [0.042 * side, 0.045, -0.012],
        [0.036 * side, 0.1, 0.004],
    ]
    meshes.append(_bent(np.array(thumb), 0.0098))
    wrist = np.array([[0, 0.14, 0.012], [0, 0.2, 0.014], [0.02, 0.3, 0.02]])
    meshes.append(tube(wrist, np.array([0.024, 0.026, 0.034]), segments=14))
    cuff = rng.uniform(0.18, 0.27)
    sleeve = np.array([[0.01, cuff, 0.015], [0.02, 0.32, 0.022], [0.05, 0.6, 0.04]])
    size = k * np.diag([1, 1, 1, 1 / k])
    return (
        join(meshes).moved(size),
        tube(sleeve, np.array([0.038, 0.045, 0.055]), segments=14).moved(size),
    )


def hand(stage: Stage) -> None:
    """Fingers on the boiler top or before the rods, coming from the viewers' side."""
    rng = stage.rng
    # A hand is as big beside a tiny engine as beside a large one: fewer fingers then.
    fingers = int(rng.integers(1, 2 + int(np.clip(stage.length / 0.12, 1, 3))))
    skin, sleeve = _hand_mesh(rng, fingers)
    x = rng.uniform(-0.45, 0.45) * stage.length
    if rng.random() < 0.5 or stage.length < 0.15:
        pitch = rng.uniform(0.5, 1.2)
        tip = (x, 0.1 * stage.width, stage.height * rng.uniform(0.88, 1.02))
    else:
        pitch = rng.uniform(0.1, 0.6)
        tip = (x, stage.width / 2 + 0.012, stage.height * rng.uniform(0.15, 0.6) + 0.01)
    # Coming in from the side rather than straight over the lens hides less.
    aside = rng.choice([-1, 1]) * rng.uniform(0.2, 1.1)
    place = shift(*tip) @ turn("z", aside) @ turn("x", pitch)
    tone = SKIN[int(rng.integers(len(SKIN)))] * rng.uniform(0.9, 1.08, 3)
    stage.paint(skin.moved(place), tone, "satin", owner="occluder_hand")
    stage.paint(
        sleeve.moved(place), colour(rng, value=(0.05, 0.9)), "matt", owner="occluder_sleeve"
    )


def box_corner(stage: Stage) -> None:
    """The corner of a carton pushed in front of one end of the engine."""
    rng = stage.rng
    size = (0.6 * stage.length, 0.08, rng.uniform(0.25, 0.8) * stage.height)
    end = rng.choice([-1, 1])
    x = end * (rng.uniform(0.3, 0.45) * stage.length + size[0] / 2)
    y = stage.width / 2 + rng.uniform(0.15, 0.8) * stage.width + size[1] / 2
    body = box(size).at(x, y, stage.support_z, yaw=rng.normal(0, 0.1))
    stage.paint(body, colour(rng, value=(0.1, 0.95)), "matt", owner="occluder_box")


def front_rail(stage: Stage) -> None:
    """A barrier rope or fence rail between the viewer and the engine."""
    rng = stage.rng
    y = stage.width / 2 + rng.uniform(1.0, 2.0) * stage.width
    z = stage.height * rng.uniform(0.1, 0.6)
    xs = np.linspace(-2, 2, 17) * stage.length
    sag = z * (1 - 0.15 * np.cos(np.pi * np.linspace(-2, 2, 17)))
    path = np.column_stack([xs, np.full(17, y), sag])
    tone = colour(rng, value=(0.05, 0.95))
    stage.paint(tube(path, 0.02 * stage.height), tone, "satin", owner="occluder_rail")


def maybe_occlude(stage: Stage, chance: float = 0.15) -> None:
    """With probability `chance` hide some of the engine; records it in the truth."""
    stage.truth["occluders"] = ()
    if stage.rng.random() >= chance:
        return
    makers = {"hand": hand, "box": box_corner, "rail": front_rail}
    name = str(stage.rng.choice(list(makers), p=[0.6, 0.28, 0.12]))
    makers[name](stage)
    stage.truth["occluders"] = (name,)
