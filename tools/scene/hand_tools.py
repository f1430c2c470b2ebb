"""Workbench things in true size: tools, cables, a controller."""

from __future__ import annotations

import numpy as np

from tools.scene.pictures import dial
from tools.scene.shapes import box, cylinder, lathe, shift, tube, turn, wall
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour


def _middle(rect: Rect) -> tuple[float, float]:
    return (rect.x0 + rect.x1) / 2, (rect.y0 + rect.y1) / 2


def screwdriver(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    k = rng.uniform(0.5, 1.2)
    spot = stage.spot(region, (0.2 * k, 0.05 * k))
    if spot is None:
        return
    grip = [
        (0, 0),
        (0.011 * k, 0.004),
        (0.013 * k, 0.05 * k),
        (0.009 * k, 0.085 * k),
        (0, 0.09 * k),
    ]
    shaft = cylinder(0.003 * k, 0.09 * k, segments=8).moved(shift(0, 0, 0.09 * k))
    lay = turn("z", rng.normal(0, 0.1) + rng.choice([0, np.pi])) @ turn("y", np.pi / 2)
    place = shift(*_middle(spot), stage.support_z + 0.013 * k) @ lay @ shift(0, 0, -0.09 * k)
    stage.paint(lathe(grip, segments=10).moved(place), colour(rng, saturation=(0.5, 1)), "gloss")
    stage.paint(shaft.moved(place), np.full(3, 190.0), "metal")


def pliers(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    spot = stage.spot(region, (0.17, 0.07))
    if spot is None:
        return
    tone, yaw = colour(rng, saturation=(0.6, 1)), rng.normal(0, 0.2) + rng.choice([0, np.pi])
    for s in (-1, 1):
        grip = np.array([[-0.075, s * 0.022, 0], [-0.04, s * 0.026, 0], [0, s * 0.008, 0]])
        jaw = np.array([[0, s * 0.006, 0], [0.03, s * 0.01, 0], [0.065, s * 0.002, 0]])
        for path, radius, rgb, finish in (
            (grip, 0.006, tone, "satin"),
            (jaw, 0.005, np.full(3, 120.0), "metal"),
        ):
            bar = tube(path, radius, segments=6)
            stage.paint(bar.at(*_middle(spot), stage.support_z + 0.006, yaw=yaw), rgb, finish)


def pencil(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    long = rng.uniform(0.08, 0.18)
    spot = stage.spot(region, (long, 0.02))
    if spot is not None:
        bar = tube(np.array([[-long / 2, 0, 0], [long / 2, 0, 0]]), 0.004, segments=6)
        place = (*_middle(spot), stage.support_z + 0.004)
        stage.paint(
            bar.at(*place, yaw=rng.normal(0, 0.05)), colour(rng, saturation=(0.3, 1)), "satin"
        )


def cable(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    spot = stage.spot(region, (rng.uniform(0.15, 0.5), rng.uniform(0.06, 0.2)))
    if spot is None:
        return
    knots = rng.uniform([spot.x0, spot.y0], [spot.x1, spot.y1], (6, 2))
    knots = knots[np.argsort(knots[:, 0])]
    t = np.linspace(0, 5, 30)
    path = np.column_stack([np.interp(t, np.arange(6), knots[:, i]) for i in (0, 1)])
    kernel = np.ones(5) / 5
    path = np.column_stack([np.convolve(path[:, i], kernel, "valid") for i in (0, 1)])
    flat = np.column_stack([path, np.full(len(path), stage.support_z + 0.003)])
    dark = colour(rng, saturation=(0, 0.9), value=(0.03, 0.4))
    stage.paint(tube(flat, rng.uniform(0.001, 0.003), segments=5), dark, "satin")


def controller(stage: Stage, region: Rect) -> None:
    """A power unit: a box with a dial and a knob."""
    rng = stage.rng
    x, y, z = rng.uniform(0.09, 0.17), rng.uniform(0.08, 0.13), rng.uniform(0.04, 0.09)
    spot = stage.spot(region, (x, y))
    if spot is None:
        return
    at = (*_middle(spot), stage.support_z)
    body = box((x, y, z))
    stage.paint(body.at(*at), colour(rng, saturation=(0, 0.6), value=(0.05, 0.7)), "satin")
    face = wall(0.6 * z, 0.6 * z).moved(shift(-x / 4, y / 2 + 0.001, 0.2 * z))
    stage.print_on(face.at(*at), dial(rng))
    knob = cylinder(0.2 * z, 0.015).moved(shift(x / 4, y / 2, z / 2) @ turn("x", -np.pi / 2))
    stage.paint(knob.at(*at), colour(rng, saturation=(0, 1)), "gloss")
    stage.blocks(body.at(*at))
