"""Pieces that several rooms share: tables, floors, walls, tracks, lamps."""

from __future__ import annotations

import numpy as np

from tools.scene import lighting
from tools.scene.shapes import Mesh, box, prism, sheet, shift, turn, wall
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour, surface
from tools.scene.things import frame_picture

FLOOR_BELOW = 0.74  # metres from a table top to the floor, common furniture height


def table(
    stage: Stage,
    kinds: tuple[str, ...],
    *,
    span: float,
    front: float,
    back: float,
    gloss: float,
    legs: bool = False,
) -> None:
    """A table top from y = -`back` to `front`, 2 `span` long, of a textured surface."""
    rng = stage.rng
    tile = rng.uniform(0.25, 0.9)
    key = stage.textured(
        "table", surface(rng, *kinds), roughness=float(np.clip(1 - gloss, 0.08, 1)),
        specular=0.4, clearcoat=0.5 if gloss > 0.7 else 0.0,
    )  # fmt: skip
    thick = rng.uniform(0.015, 0.05)
    top = box((2 * span, front + back, thick), tile=tile)
    top = top.at(0, (front - back) / 2, stage.support_z - thick)
    stage.add(top, key, owner="room")
    stage.blocks(top)
    if not legs:
        return
    leg, tone = box((0.05, 0.05, FLOOR_BELOW - thick)), colour(rng, (0.04, 0.1), (0, 0.6))
    for x in (0.05 - span, span - 0.05):
        for y in (0.05 - back, front - 0.05):
            foot = leg.at(x, y, stage.support_z - FLOOR_BELOW)
            stage.paint(foot, tone, "satin", owner="room")


def cover(stage: Stage, kinds: tuple[str, ...], region: Rect) -> None:
    """A thin sheet (mat, paper, cloth) laid on the support."""
    mat = sheet(region.x1 - region.x0, region.y1 - region.y0, tile=stage.rng.uniform(0.1, 0.4))
    key = stage.textured("cover", surface(stage.rng, *kinds), roughness=0.8, specular=0.2)
    middle = ((region.x0 + region.x1) / 2, (region.y0 + region.y1) / 2)
    stage.add(mat.at(*middle, stage.support_z + 0.0006), key, owner="room")


def floor(stage: Stage, kinds: tuple[str, ...], drop: float = FLOOR_BELOW) -> None:
    z = stage.support_z - drop
    key = stage.textured("floor", surface(stage.rng, *kinds), roughness=0.5, specular=0.3)
    stage.add(sheet(14, 14, tile=stage.rng.uniform(0.5, 1.5)).at(0, 1.0, z), key, owner="room")


def back_wall(
    stage: Stage, y: float, kinds: tuple[str, ...], *, drop: float = FLOOR_BELOW, pictures: int = 0
) -> None:
    """A wall behind everything, facing the viewers, with prints on it."""
    rng = stage.rng
    key = stage.textured("wall", surface(rng, *kinds), roughness=0.85, specular=0.2)
    panel = wall(9.0, 3.2, tile=rng.uniform(0.3, 1.2)).at(0, y, stage.support_z - drop)
    stage.add(panel, key, owner="room")
    stage.solids.append((np.array([-5.0, y - 3.0, -2.0]), np.array([5.0, y, 4.0])))
    for _ in range(pictures):
        size = (rng.uniform(0.12, 0.5), rng.uniform(0.12, 0.5))
        at = (rng.uniform(-1, 1), y + 0.012, stage.support_z + rng.uniform(0.05, 0.5))
        frame_picture(stage, at, size)
    stage.truth["backdrop"] = "wall"


def own_track(stage: Stage, reach: float) -> None:
    """Keep the engine's place free; with a track, its line to +-`reach` and coupled slots."""
    half, side = 0.56 * stage.length, 0.62 * stage.width
    stage.track_extent = (-reach, reach)
    if not stage.on_track:
        stage.reserve(-half, half, -side, side)
        return
    stage.reserve(-reach, reach, -1.1 * stage.width, 1.1 * stage.width)
    free = reach - half
    if free > 0.35 * stage.length:
        for kind, sign in (("ahead", 1), ("behind", -1)):
            # Centre at half plus half the room, so that a shorter vehicle can be moved up.
            at = shift(sign * (half + free / 2), 0, 0)
            stage.slot(kind, at, free, stage.width)


def second_track(stage: Stage, reach: float, chance: float) -> None:
    """Perhaps a track beyond the engine (a slot; the track itself is not built here)."""
    rng = stage.rng
    if rng.random() >= chance:
        return
    y = -rng.uniform(1.5, 2.2) * stage.width
    free = rng.uniform(0.7, 1.6) * stage.length
    x = rng.uniform(-0.4, 0.4) * stage.length
    free = min(free, 2 * (reach - abs(x)))
    at = shift(x, y, 0) @ turn("z", rng.choice([0.0, np.pi]))
    stage.slot("second_track", at, free, 1.1 * stage.width)


def beside(stage: Stage, region: Rect, chance: float) -> None:
    """Perhaps room for another vehicle standing on the same surface."""
    rng = stage.rng
    if rng.random() >= chance:
        return
    size = (rng.uniform(0.6, 1.2) * stage.length, 1.2 * stage.width)
    spot = stage.spot(region, size, tries=6)
    if spot is None:
        return
    stage.taken.pop()
    at = shift((spot.x0 + spot.x1) / 2, (spot.y0 + spot.y1) / 2, 0)
    stage.slot("beside", at @ turn("z", rng.choice([0.0, np.pi])), size[0], size[1])


def light(stage: Stage, styles: dict[str, float], environment: lighting.Radiance) -> None:
    """Set the far surroundings and lamps of one of `styles` (name: weight)."""
    rng = stage.rng
    weights = np.array(list(styles.values()))
    style = str(rng.choice(list(styles), p=weights / weights.sum()))
    reach = max(1.6 * stage.length, 0.45)
    stage.lamps = lighting.lamps_over(rng, style, reach)
    stage.environment = environment
    stage.truth["lighting"] = style


def some_indoors(stage: Stage) -> lighting.Radiance:
    """Surroundings of a dwelling or workroom, stored or drawn."""
    rng = stage.rng
    pick = rng.random()
    if pick < 0.4:
        return lighting.panorama(rng, lighting.INDOORS)
    return lighting.dim(rng) if pick < 0.5 else lighting.drawn_room(rng)


def sweep(stage: Stage, kinds: tuple[str, ...], *, depth: float, tall: float, white: bool) -> None:
    """A sheet that lies flat, then curves up behind the engine."""
    rng = stage.rng
    span, radius = 3.5 * stage.length + 0.5, rng.uniform(0.15, 0.5) * tall
    angle = np.linspace(0, np.pi / 2, 10)
    y = np.concatenate(
        [[depth + 4 * stage.length], -depth - radius * np.sin(angle), [-depth - radius]]
    )
    z = np.concatenate([[0], radius - radius * np.cos(angle), [tall]])
    rows = [
        np.stack([np.array([-span, span]), [a, a], [b, b]], -1) for a, b in zip(y, z, strict=True)
    ]
    vertices = np.concatenate(rows) + [0, 0, stage.support_z]
    k = 2 * np.arange(len(y) - 1)[:, None]
    faces = np.concatenate([k + [0, 1, 3], k + [0, 3, 2]]).astype(np.int32)
    along = np.repeat(np.concatenate([[0], np.cumsum(np.hypot(np.diff(y), np.diff(z)))]), 2)
    uv = np.column_stack([vertices[:, 0], along]) / rng.uniform(0.3, 1.0)
    mesh = Mesh(vertices, faces, uv, True)
    if white:
        stage.paint(mesh, np.full(3, rng.uniform(235, 252)), "matt", owner="room")
    else:
        key = stage.textured("sweep", surface(rng, *kinds), roughness=0.85, specular=0.2)
        stage.add(mesh, key, owner="room")
    stage.solids.append(
        (np.array([-span, -depth - radius - 2, -2.0]), np.array([span, -depth - radius, tall]))
    )
    stage.truth["backdrop"] = "sweep"


def barge(stage: Stage, y: float, span: float, drop: float) -> None:
    """The front edge board of a layout or stand."""
    board = box((2 * span, 0.012, drop)).at(0, y, stage.support_z - drop - 0.002)
    stage.paint(board, colour(stage.rng, saturation=(0, 0.7), value=(0.05, 0.8)), "satin")


def plinth(stage: Stage, size: tuple[float, float, float]) -> None:
    """A wooden or stone base right under the engine or its track."""
    key = stage.textured(
        "plinth", surface(stage.rng, "wood", "marble", "wood"), roughness=0.25, clearcoat=0.3
    )
    x, y, z = size
    body = box(size, tile=0.3).at(0, 0, stage.support_z - z)
    stage.add(body, key, owner="room")
    rim = np.array(
        [
            [-x / 2 - z, -y / 2 - z],
            [x / 2 + z, -y / 2 - z],
            [x / 2 + z, y / 2 + z],
            [-x / 2 - z, y / 2 + z],
        ]
    )
    stage.add(prism(rim, z * 0.5).at(0, 0, stage.support_z - z), key, owner="room")
