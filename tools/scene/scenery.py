"""Model scenery to the engine's scale: ground, trees, houses, rocks, backdrops."""

from __future__ import annotations

import cv2
import numpy as np

from tools.scene.pictures import backdrop, printed
from tools.scene.shapes import (
    Floats,
    Mesh,
    blob,
    box,
    cylinder,
    join,
    lathe,
    leaf_cloud,
    prism,
    shift,
    terrain,
    tube,
    turn,
    wall,
)
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour, noise, surface


def _middle(rect: Rect) -> tuple[float, float]:
    return (rect.x0 + rect.x1) / 2, (rect.y0 + rect.y1) / 2


def ground(
    stage: Stage,
    span: float,
    front: float,
    back: float,
    *,
    rise: float,
    kinds: tuple[str, ...],
    tile: float | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Uneven ground, level under the tracks, rising to `rise` metres at the back.

    Returns xs, ys and heights, for `height_at`.
    """
    rng = stage.rng
    xs, ys = np.linspace(-span, span, 72), np.linspace(-back, front, 56)
    lumps = cv2.resize(noise(rng, 2.0), (72, 56)) - 0.3
    level = 1.3 * stage.width
    second = [abs(s.to_world[1, 3]) for s in stage.slots if s.kind == "second_track"]
    if second:
        level = max(second) + stage.width
    behind = np.clip((-ys - level) / max(back - level, 0.05), 0, 1)[:, None]
    ahead = np.clip((ys - 1.3 * stage.width) / front, 0, 1)[:, None]
    heights = rise * behind**1.3 * (0.5 + lumps) - ahead * 0.6 * stage.height * (lumps + 0.3)
    # The roadbed is what stands at the support height; the rest lies a little lower.
    lip = 0.06 * stage.height * ((behind > 0) | (ahead > 0))
    heights = heights - lip + stage.support_z - 0.002 * stage.length
    key = stage.textured("ground", surface(rng, *kinds), roughness=0.95, specular=0.1)
    tile = tile or rng.uniform(1.5, 5.0) * stage.height
    stage.add(terrain(xs, ys, heights, tile=tile), key, owner="room")
    return xs, ys, heights


def height_at(field: tuple[Floats, Floats, Floats], x: float, y: float) -> float:
    """Ground height under (x, y), nearest grid point."""
    xs, ys, heights = field
    return float(heights[np.abs(ys - y).argmin(), np.abs(xs - x).argmin()])


def roadbed(stage: Stage, y: float, span: float) -> None:
    """A bank of ballast under a track along x."""
    rng = stage.rng
    if "ballast" not in stage.truth:
        kinds = ("ballast", "ballast", "asphalt")
        stage.textured("ballast", surface(rng, *kinds), roughness=0.95, specular=0.1)
        stage.truth["ballast"] = True
    w, deep = 0.75 * stage.width, 0.12 * stage.height
    outline = np.array([[-1.35 * w, -deep], [1.35 * w, -deep], [w, 0], [-w, 0]])
    bar = prism(outline, 2 * span).moved(
        shift(-span, y, stage.support_z) @ turn("z", np.pi / 2) @ turn("x", np.pi / 2)
    )
    uv = np.column_stack([bar.vertices[:, 0], bar.vertices[:, 1] + bar.vertices[:, 2]])
    tile = 1.1 * stage.height
    stage.add(Mesh(bar.vertices, bar.faces, uv / tile), "ballast", owner="room")


def tree(stage: Stage, x: float, y: float, z: float) -> None:
    rng, s = stage.rng, stage.scale
    tall = rng.uniform(4, 13) * s
    green = colour(rng, (0.13, 0.4), (0.2, 0.8), (0.12, 0.5))
    if rng.random() < 0.15:
        green = colour(rng, (0.02, 0.13), (0.4, 0.9), (0.3, 0.7))
    stage.paint(
        cylinder(0.03 * tall, 0.4 * tall, segments=6).at(x, y, z),
        colour(rng, (0.05, 0.1), (0.2, 0.6), (0.1, 0.4)),
    )
    if rng.random() < 0.4:
        rings = 7
        profile = [(0.0, tall)]
        for i in range(rings):
            low = tall * (1 - 0.85 * (i + 1) / rings)
            profile += [(0.25 * tall * (i + 1) / rings, low), (0.14 * tall * (i + 1) / rings, low)]
        stage.paint(lathe(profile[::-1], segments=9).at(x, y, z), green)
        return
    leafy = rng.random() < 0.6
    for _ in range(int(rng.integers(3, 7))):
        r = rng.uniform(0.14, 0.28) * tall
        at = rng.normal([x, y, z + 0.68 * tall], [0.12 * tall, 0.12 * tall, 0.12 * tall])
        if leafy:
            crown = leaf_cloud(rng, (r, r, 0.85 * r), leaf=0.2 * r, count=140)
        else:
            crown = blob((r, r, 0.85 * r), roughness=0.22, rng=rng, rings=6)
        stage.paint(crown.at(*at), green * rng.uniform(0.75, 1.2))


def bush(stage: Stage, x: float, y: float, z: float) -> None:
    rng, s = stage.rng, stage.scale
    r = rng.uniform(0.3, 1.3) * s
    size = (r * rng.uniform(1, 1.8), r, 0.8 * r)
    if rng.random() < 0.6:
        lump = leaf_cloud(rng, size, leaf=0.2 * r, count=90)
    else:
        lump = blob(size, roughness=0.3, rng=rng, rings=5)
    stage.paint(lump.at(x, y, z + 0.3 * r), colour(rng, (0.1, 0.38), (0.2, 0.8), (0.12, 0.5)))


def boulder(stage: Stage, x: float, y: float, z: float) -> None:
    rng, s = stage.rng, stage.scale
    r = rng.uniform(0.3, 1.6) * s
    lump = blob((r * rng.uniform(0.8, 1.6), r, r), roughness=0.35, rng=rng, rings=5)
    flat = Mesh(lump.vertices, lump.faces, lump.uv, False)
    stage.paint(flat.at(x, y, z), colour(rng, (0.02, 0.14), (0.0, 0.3), (0.25, 0.65)))


def house(stage: Stage, x: float, y: float, z: float) -> None:
    """A gabled building with windows; brick, plaster or timber."""
    rng, s = stage.rng, stage.scale
    long, deep, tall = rng.uniform(6, 16) * s, rng.uniform(5, 9) * s, rng.uniform(3, 9) * s
    key = stage.textured(
        f"house_{int(rng.integers(3))}",
        surface(rng, "brick", "plaster", "wood"),
        roughness=0.9,
        specular=0.1,
    )
    yaw = rng.choice([0.0, np.pi / 2]) + rng.normal(0, 0.06)
    shell = box((long, deep, tall), tile=4 * s)
    stage.add(shell.at(x, y, z, yaw=yaw), key)
    rise = rng.uniform(0.3, 0.7) * deep
    gable = np.array([[-0.56 * deep, 0], [0.56 * deep, 0], [0, rise]])
    stand = shift(-0.54 * long, 0, tall) @ turn("z", np.pi / 2) @ turn("x", np.pi / 2)
    roof = prism(gable, 1.08 * long).moved(stand)
    stage.paint(roof.at(x, y, z, yaw=yaw), colour(rng, (0, 0.1), (0.05, 0.6), (0.15, 0.5)))
    frame, glass = colour(rng, saturation=(0, 0.5)), colour(rng, (0.5, 0.65), (0, 0.4), (0.05, 0.4))
    panes, rims = [], []
    step = rng.uniform(2.2, 3.4) * s
    for wx in np.arange(-long / 2 + step / 2, long / 2 - step / 4, step):
        for wz in np.arange(0.9 * s, tall - 1.6 * s, 2.8 * s):
            rims.append(box((1.3 * s, 0.14 * s, 1.6 * s)).at(wx, deep / 2, wz))
            panes.append(box((1.0 * s, 0.2 * s, 1.3 * s)).at(wx, deep / 2, wz + 0.15 * s))
    for meshes, tone, finish in ((rims, frame, "matt"), (panes, glass, "gloss")):
        if meshes:
            stage.paint(join(meshes).at(x, y, z, yaw=yaw if abs(yaw) < 1 else 0), tone, finish)
    stage.blocks(shell.at(x, y, z, yaw=yaw))


def figure(stage: Stage, x: float, y: float, z: float) -> None:
    """A standing scale person in plain clothes."""
    rng, s = stage.rng, stage.scale
    legs = cylinder(0.18 * s, 0.85 * s, segments=7)
    body = lathe(
        [(0, 0.8 * s), (0.22 * s, 0.85 * s), (0.27 * s, 1.4 * s), (0.1 * s, 1.5 * s)], segments=8
    )
    head = blob((0.12 * s, 0.12 * s, 0.14 * s), rings=5).at(0, 0, 1.62 * s)
    for mesh in (legs, body):
        stage.paint(mesh.at(x, y, z), colour(rng, saturation=(0, 0.8), value=(0.1, 0.8)))
    stage.paint(head.at(x, y, z), np.array([215, 165, 135.0]))


def fence(stage: Stage, y: float, span: float) -> None:
    rng, s = stage.rng, stage.scale
    z, tall = stage.support_z - 0.05 * stage.height, rng.uniform(0.8, 1.4) * s
    posts = [
        box((0.12 * s, 0.12 * s, tall)).at(x, y, z)
        for x in np.arange(-span, span, rng.uniform(1.5, 3) * s)
    ][:120]
    rails = [box((2 * span, 0.06 * s, 0.1 * s)).at(0, y, z + k * tall) for k in (0.4, 0.85)]
    stage.paint(join(posts + rails), colour(rng, (0.03, 0.15), (0, 0.6), (0.15, 0.95)))


def poles(stage: Stage, y: float, span: float) -> None:
    """Telegraph poles with cross arms."""
    rng, s = stage.rng, stage.scale
    meshes = []
    for x in np.arange(-span + rng.uniform(0, 4) * s, span, rng.uniform(14, 26) * s):
        meshes.append(cylinder(0.13 * s, 7 * s, segments=6).at(x, y, stage.support_z))
        flat = box((0.1 * s, 1.8 * s, 0.12 * s)).at(x, y, stage.support_z + 6.3 * s)
        meshes.append(Mesh(flat.vertices, flat.faces, flat.uv, True))
    if meshes:
        stage.paint(join(meshes), colour(rng, (0.04, 0.1), (0.2, 0.6), (0.1, 0.4)))


def platform(stage: Stage, y: float, length: float) -> None:
    """A station platform behind the tracks with its edge, a shelter and people."""
    rng, s = stage.rng, stage.scale
    deep, tall = rng.uniform(4, 8) * s, 0.9 * s
    key = stage.textured("platform", surface(rng, "asphalt", "speckle", "brick"), roughness=0.9)
    stage.add(box((length, deep, tall), tile=3 * s).at(0, y - deep / 2, stage.support_z), key)
    edge = box((length, 0.35 * s, 0.05 * s)).at(0, y - 0.2 * s, stage.support_z + tall)
    stage.paint(edge, colour(rng, (0.1, 0.16), (0, 0.8), (0.6, 1)))
    for _ in range(int(rng.integers(1, 7))):
        figure(
            stage,
            rng.uniform(-0.45, 0.45) * length,
            y - rng.uniform(0.25, 0.9) * deep,
            stage.support_z + tall,
        )
    if rng.random() < 0.7:
        house(stage, rng.uniform(-0.3, 0.3) * length, y - 0.7 * deep - 5 * s, stage.support_z)
    stage.reserve(-length / 2, length / 2, y - deep - 9 * s, y)
    if rng.random() < 0.6:
        board = wall(rng.uniform(1.5, 3) * s, 0.6 * s).at(
            rng.uniform(-0.4, 0.4) * length, y - 0.6 * deep, stage.support_z + tall + 1.4 * s
        )
        stage.print_on(board, printed(rng))


def portal(stage: Stage, x: float, y: float, end: int) -> None:
    """A tunnel mouth over the track at `x`, its hill beyond towards `end` (+1 or -1)."""
    rng = stage.rng
    key = stage.textured("portal", surface(rng, "brick", "rock"), roughness=0.95, specular=0.1)
    w, h = 1.7 * stage.width, 1.35 * stage.height
    t = 0.2 * stage.width
    deep = 0.5 * stage.length
    tile = 1.2 * stage.height
    middle = x + end * deep / 2
    for side in (-1, 1):
        pier = box((deep, 3 * t, h + 4 * t), tile=tile)
        stage.add(pier.at(middle, y + side * (w / 2 + 1.5 * t), stage.support_z), key)
    stage.add(box((deep, w, 4 * t), tile=tile).at(middle, y, stage.support_z + h), key)
    stage.paint(box((0.01, w, h)).at(x + end * deep, y, stage.support_z), np.full(3, 6.0))
    stage.blocks(box((deep, w + 6 * t, h + 4 * t)).at(middle, y, stage.support_z))


def cliff(stage: Stage, y: float, span: float, tall: float) -> None:
    """A rock face along the back, leaning away, with ledges."""
    rng = stage.rng
    key = stage.textured("cliff", surface(rng, "rock"), roughness=0.95, specular=0.1)
    xs, zs = np.linspace(-span, span, 60), np.linspace(0, 1, 28)
    bulge = cv2.resize(noise(rng, 1.6), (60, 28)) + 0.4 * cv2.resize(noise(rng, 0.8), (60, 28))
    ledges = np.floor(zs * rng.integers(3, 7)) / 6
    crest = 0.6 + 0.6 * cv2.resize(noise(rng, 2.0)[:1], (60, 1))[0]
    x, z = np.meshgrid(xs, zs)
    heights = z * tall * crest[None, :]
    depth = y - (0.5 * zs + 0.5 * ledges)[:, None] * 0.35 * tall + (bulge - 1.4) * 0.25 * tall
    face = terrain(xs, zs, heights, tile=1.0)
    vertices = np.column_stack([x.ravel(), depth.ravel(), heights.ravel() + stage.support_z - 0.02])
    uv = vertices[:, [0, 2]] / (2.5 * stage.height)
    stage.add(Mesh(vertices, face.faces, uv, True), key, owner="room")


def painted_scene(stage: Stage, y: float, span: float, tall: float) -> None:
    """The backdrop board behind a layout."""
    low = 0.25 * tall
    board = wall(2 * span, tall).at(0, y, stage.support_z - low)
    key = stage.textured("backdrop", backdrop(stage.rng), roughness=0.8, specular=0.2)
    stage.add(board, key, owner="room")
    stage.truth["backdrop"] = "painted"


def sprinkle(
    stage: Stage, field: tuple[Floats, Floats, Floats], region: Rect, kinds: str, count: int
) -> None:
    """Scatter "tree", "bush", "boulder", "figure" or "house" (first letters) on free ground."""
    makers = {
        "t": (tree, 2.5),
        "b": (bush, 1.5),
        "r": (boulder, 1.5),
        "f": (figure, 0.6),
        "h": (house, 12.0),
    }
    for _ in range(count):
        maker, wide = makers[str(stage.rng.choice(list(kinds)))]
        spot = stage.spot(region, (wide * stage.scale, wide * stage.scale), tries=4)
        if spot is not None:
            x, y = _middle(spot)
            maker(stage, x, y, height_at(field, x, y))


def signal(stage: Stage, x: float, y: float) -> None:
    """A semaphore post with an arm."""
    rng, s = stage.rng, stage.scale
    post = tube(
        np.array([[x, y, stage.support_z], [x, y, stage.support_z + 7 * s]]), 0.12 * s, segments=6
    )
    arm = box((1.5 * s, 0.05 * s, 0.3 * s)).at(x + 0.8 * s, y + 0.1 * s, stage.support_z + 6.3 * s)
    stage.paint(post, colour(rng, saturation=(0, 0.3)))
    stage.paint(arm, colour(rng, (0.0, 0.14), (0.6, 1), (0.5, 0.9)))
