"""Clutter in true size: what people leave on tables, shelves and benches."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from tools.scene.hand_tools import cable, controller, pencil, pliers, screwdriver
from tools.scene.pictures import label, printed, spines
from tools.scene.shapes import (
    Mesh,
    box,
    cylinder,
    join,
    lathe,
    prism,
    sheet,
    shift,
    tube,
    turn,
    wall,
)
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour, wallpaper

Thing = Callable[[Stage, Rect], None]


def _middle(rect: Rect) -> tuple[float, float]:
    return (rect.x0 + rect.x1) / 2, (rect.y0 + rect.y1) / 2


def book_row(stage: Stage, region: Rect) -> None:
    """Upright books side by side, spines to the viewer, the last one leaning."""
    rng = stage.rng
    count, depth = int(rng.integers(3, 12)), rng.uniform(0.13, 0.2)
    thick = rng.uniform(0.012, 0.045, count)
    spot = stage.spot(region, (float(thick.sum()) + 0.04, depth))
    if spot is None:
        return
    x, y = spot.x0, _middle(spot)[1]
    tall = rng.uniform(0.18, 0.28)
    for i, t in enumerate(thick):
        high = tall * rng.uniform(0.8, 1.1)
        book = box((t, depth, high)).at(t / 2, 0, 0)
        lean = turn("y", -rng.uniform(0.1, 0.25)) if i == count - 1 else np.eye(4)
        book = book.moved(shift(x + 0.004, y, stage.support_z) @ lean)
        stage.print_on(book, spines(rng))
        x += t + 0.001
    stage.blocks(box((spot.x1 - spot.x0, depth, tall)).at(*_middle(spot), stage.support_z))


def book_pile(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    spot = stage.spot(region, (0.26, 0.24))
    if spot is None:
        return
    z = stage.support_z
    for _ in range(int(rng.integers(1, 5))):
        t = rng.uniform(0.01, 0.04)
        book = box((rng.uniform(0.16, 0.23), rng.uniform(0.13, 0.17), t))
        book = book.at(*_middle(spot), z, yaw=rng.normal(0, 0.15))
        stage.print_on(book, printed(rng))
        stage.blocks(book)
        z += t + 0.0005


def carton(stage: Stage, region: Rect) -> None:
    """A printed box, often about the size an engine is sold in."""
    rng = stage.rng
    k = rng.uniform(0.5, 1.3)
    size = (
        k * stage.length,
        rng.uniform(1.1, 1.8) * stage.width,
        rng.uniform(0.6, 1.5) * stage.height,
    )
    if rng.random() < 0.3:
        size = tuple(rng.uniform(0.06, 0.22, 3))
    spot = stage.spot(region, (size[0] * 1.05, size[1] * 1.1))
    if spot is None:
        return
    carton_box = box(size).at(*_middle(spot), stage.support_z, yaw=rng.normal(0, 0.05))
    stage.print_on(carton_box, printed(rng))
    stage.blocks(carton_box)


def plain_box(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    x, y, z = rng.uniform(0.05, 0.3, 3)
    spot = stage.spot(region, (x * 1.1, y * 1.1))
    if spot is None:
        return
    body = box((x, y, z)).at(*_middle(spot), stage.support_z, yaw=rng.normal(0, 0.06))
    brown = colour(rng, (0.06, 0.1), (0.3, 0.55), (0.45, 0.75))
    stage.paint(body, brown if rng.random() < 0.6 else colour(rng), "matt")
    stage.blocks(body)


def _turned(
    stage: Stage, region: Rect, profile: Sequence[tuple[float, float]], finish: str
) -> bool:
    """A thing from the lathe, on a free spot."""
    radius = max(r for r, _ in profile)
    spot = stage.spot(region, (2.1 * radius, 2.1 * radius))
    if spot is None:
        return False
    mesh = lathe(profile).at(*_middle(spot), stage.support_z)
    stage.paint(mesh, colour(stage.rng, saturation=(0.0, 0.9), value=(0.1, 0.95)), finish)
    stage.blocks(mesh)
    return True


def mug(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    r, h = rng.uniform(0.034, 0.045), rng.uniform(0.075, 0.11)
    inner = [(r * 0.9, h), (r * 0.88, 0.01), (0, 0.01)]
    spot = stage.spot(region, (3 * r, 3 * r))
    if spot is None:
        return
    angle = np.linspace(-1.3, 1.3, 9)
    path = np.stack([r + 0.022 * np.cos(angle), 0 * angle, h / 2 + 0.028 * np.sin(angle)], -1)
    tone, yaw = colour(rng, saturation=(0, 0.9), value=(0.2, 1)), rng.uniform(0, 2 * np.pi)
    body = lathe([(0, 0), (r, 0), (r, 0.004), (r, h), *inner])
    for mesh in (body, tube(path, 0.004)):
        stage.paint(mesh.at(*_middle(spot), stage.support_z, yaw=yaw), tone, "gloss")
    stage.blocks(body.at(*_middle(spot), stage.support_z))


def bottle(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    r, h = rng.uniform(0.012, 0.04), rng.uniform(0.06, 0.26)
    neck = r * rng.uniform(0.3, 0.6)
    profile = [(0, 0), (r, 0), (r, h * 0.6), (neck, h * 0.75), (neck, h), (0, h)]
    _turned(stage, region, profile, str(rng.choice(["gloss", "satin"])))


def tin(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    r, h = rng.uniform(0.02, 0.05), rng.uniform(0.02, 0.12)
    spot = stage.spot(region, (2.1 * r, 2.1 * r))
    if spot is None:
        return
    body = cylinder(r, h).at(*_middle(spot), stage.support_z, yaw=rng.uniform(0, 6))
    if rng.random() < 0.5:
        stage.print_on(body, printed(rng))
    else:
        stage.paint(body, rng.uniform(120, 200) * np.ones(3), "metal")
    stage.blocks(body)


def plant(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    r, h = rng.uniform(0.04, 0.09), rng.uniform(0.07, 0.15)
    profile = [(0, 0), (r * 0.7, 0), (r, h), (r * 0.9, h), (0, h * 0.9)]
    if not _turned(stage, region, profile, "satin"):
        return
    x, y = _middle(stage.taken[-1])
    green = colour(rng, (0.2, 0.4), (0.3, 0.8), (0.15, 0.6))
    for _ in range(int(rng.integers(8, 30))):
        yaw, reach, rise = (
            rng.uniform(0, 2 * np.pi),
            rng.uniform(0.4, 2.0) * r,
            rng.uniform(0.05, 0.25),
        )
        t = np.linspace(0, 1, 5)[:, None]
        tip = np.array([np.cos(yaw) * reach, np.sin(yaw) * reach, rise])
        path = (
            t * tip + t * (1 - t) * np.array([0, 0, 0.6 * rise]) + [x, y, stage.support_z + h * 0.9]
        )
        leaf = tube(path, 0.012 * np.sin(np.pi * np.linspace(0.1, 0.95, 5)), segments=4)
        stage.paint(leaf, green * rng.uniform(0.7, 1.3), "satin")


def coins(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    for _ in range(int(rng.integers(1, 7))):
        spot = stage.spot(region, (0.025, 0.025))
        if spot is not None:
            tone = colour(rng, (0.06, 0.13), (0.0, 0.6), (0.5, 0.85))
            disc = cylinder(rng.uniform(0.008, 0.0125), 0.002).at(*_middle(spot), stage.support_z)
            stage.paint(disc, tone, "metal")


def leaflet(stage: Stage, region: Rect) -> None:
    rng = stage.rng
    a, b = rng.uniform(0.07, 0.15), rng.uniform(0.1, 0.21)
    spot = stage.spot(region, (a * 1.2, b * 1.2))
    if spot is not None:
        page = sheet(a, b).at(*_middle(spot), stage.support_z + 0.0008, yaw=rng.normal(0, 0.15))
        stage.print_on(page, printed(rng))


def price_tag(stage: Stage, region: Rect) -> None:
    """A little tent card or a tag leaning back, facing the viewer."""
    rng = stage.rng
    a, b = rng.uniform(0.02, 0.08), rng.uniform(0.012, 0.04)
    spot = stage.spot(region, (a * 1.1, b * 1.1))
    if spot is None:
        return
    yaw, lean = rng.normal(0, 0.2), rng.uniform(0.2, 0.7)
    front = wall(a, b).moved(turn("x", lean)).at(*_middle(spot), stage.support_z + 0.0005, yaw=yaw)
    stage.print_on(front, label(rng))


def frame_picture(stage: Stage, at: tuple[float, float, float], size: tuple[float, float]) -> None:
    """A framed print hanging on a wall that faces +y; `at` is the middle of its foot."""
    rng = stage.rng
    rim = rng.uniform(0.01, 0.04)
    stage.paint(
        box((size[0] + 2 * rim, 0.02, size[1] + 2 * rim)).at(at[0], at[1], at[2] - rim), colour(rng)
    )
    picture = printed(rng) if rng.random() < 0.7 else wallpaper(rng)[:128, :128]
    stage.print_on(wall(*size).at(at[0], at[1] + 0.012, at[2]), picture)


def rolling_box(length: float, width: float, height: float) -> Mesh:
    """A plain wagon-like block: body on a narrower frame (no wheels)."""
    body = box((length, width, 0.6 * height)).at(0, 0, 0.3 * height)
    frame = box((0.95 * length, 0.6 * width, 0.2 * height)).at(0, 0, 0.12 * height)
    return join([body, frame])


def bunting(stage: Stage, y: float, z: float, span: float) -> None:
    """Flags on a line across the back of a show stand."""
    rng = stage.rng
    for x in np.arange(-span / 2, span / 2, 0.16):
        flag = prism(np.array([[-0.06, 0], [0.06, 0], [0, 0.14]]), 0.001)
        hang = shift(float(x), y, z) @ turn("x", -np.pi / 2)
        stage.paint(flag.moved(hang), colour(rng, saturation=(0.5, 1)), "matt")


TABLE: tuple[Thing, ...] = (carton, plain_box, mug, bottle, tin, book_pile, plant, controller)
LOW: tuple[Thing, ...] = (coins, pencil, cable, leaflet, price_tag, screwdriver)
BENCH: tuple[Thing, ...] = (screwdriver, pliers, bottle, tin, cable, pencil, carton, controller)
SHELF: tuple[Thing, ...] = (book_row, book_row, book_pile, carton, carton, tin, plant, bottle)


def scatter(stage: Stage, region: Rect, choices: Sequence[Thing], count: int) -> None:
    """Place `count` things of `choices` in `region`, where they fit."""
    for _ in range(count):
        choices[int(stage.rng.integers(len(choices)))](stage, region)
