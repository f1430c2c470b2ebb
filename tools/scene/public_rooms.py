"""Layouts, gardens, shows and museums."""

from __future__ import annotations

import numpy as np

from tools.scene import places, scenery
from tools.scene.lighting import HALLS, OUTDOORS, drawn_room, overcast, panorama
from tools.scene.pictures import printed
from tools.scene.shapes import blob, box, cylinder, leaf_cloud, wall
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour
from tools.scene.things import LOW, TABLE, bunting, carton, price_tag, scatter


def tracks(stage: Stage, span: float, chance: float) -> None:
    places.own_track(stage, span)
    places.second_track(stage, span, chance)
    scenery.roadbed(stage, 0.0, span)
    for slot in stage.slots:
        if slot.kind == "second_track":
            y = float(slot.to_world[1, 3])
            scenery.roadbed(stage, y, span)
            stage.reserve(-span, span, y - 0.8 * stage.width, y + 0.8 * stage.width)


def layout_light(stage: Stage) -> None:
    rng = stage.rng
    sky = panorama(rng, HALLS) if rng.random() < 0.5 else places.some_indoors(stage)
    places.light(
        stage, {"tubes": 3, "none": 2, "key": 2, "spots": 2, "flash": 1.5, "desk": 0.5}, sky
    )


def layout(stage: Stage) -> None:
    """A scenic layout: tracks on ballast, ground, trees, houses, a painted backdrop."""
    rng = stage.rng
    span = 2.2 * stage.length + 6 * stage.height
    back, front = rng.uniform(3.5, 9) * stage.height, rng.uniform(1.5, 4) * stage.height
    tracks(stage, span, 0.6)
    kinds = ("grass", "grass", "grass", "ballast", "asphalt", "felt")
    rise = rng.choice([0.0, 0.5, 2.0]) * stage.height * rng.uniform(0.5, 1.5)
    field = scenery.ground(stage, span, front, back, rise=rise, kinds=kinds)
    deepest = min((float(s.to_world[1, 3]) for s in stage.slots), default=0.0) - stage.width
    if rng.random() < 0.35:
        scenery.platform(stage, deepest - 0.1 * stage.width, 2.2 * stage.length)
    if rng.random() < 0.2:
        end = int(rng.choice([-1, 1]))
        mouth = end * rng.uniform(0.9, 1.6) * stage.length
        scenery.portal(stage, mouth, 0.0, end)
        inner = abs(mouth) + 0.45 * stage.length
        stage.track_extent = (-span, inner) if end > 0 else (-inner, span)
        stage.slots[:] = [s for s in stage.slots if s.kind != ("ahead" if end > 0 else "behind")]
    behind = Rect(-span, span, -back, deepest)
    scenery.sprinkle(stage, field, behind, "tttbbrhf", int(rng.integers(15, 60)))
    before = Rect(-span, span, 1.2 * stage.width, front)
    scenery.sprinkle(stage, field, before, "bbrf", int(rng.integers(0, 22)))
    if rng.random() < 0.4:
        scenery.fence(stage, deepest - 0.3 * stage.width, span)
    if rng.random() < 0.4:
        scenery.poles(stage, deepest - 0.5 * stage.width, span)
    if rng.random() < 0.3:
        scenery.signal(stage, rng.uniform(-1, 1) * span * 0.4, deepest - 0.2 * stage.width)
    if rng.random() < 0.85:
        scenery.painted_scene(stage, -back, span * 1.5, rng.uniform(5, 12) * stage.height)
        stage.solids.append((np.array([-9.0, -back - 3, -2.0]), np.array([9.0, -back, 4.0])))
    places.barge(stage, front, span, 0.3)
    layout_light(stage)
    stage.max_azimuth = 1.25


def yard(stage: Stage) -> None:
    """A bare or half-finished layout: boards, cork, several tracks, boxes and wires."""
    rng = stage.rng
    span, back, front = (
        2.0 * stage.length + 0.4,
        rng.uniform(3, 6) * stage.width + 0.1,
        rng.uniform(1, 3) * stage.width,
    )
    places.own_track(stage, span)
    places.second_track(stage, span, 0.9)
    places.table(
        stage,
        ("wood", "felt", "speckle", "plaster", "asphalt", "grass"),
        span=span,
        front=front,
        back=back,
        gloss=0.15,
    )
    if rng.random() < 0.6:
        scenery.roadbed(stage, 0.0, span)
    if rng.random() < 0.6:
        places.back_wall(
            stage,
            -back - rng.uniform(0, 0.6),
            ("plaster", "wood", "brick", "wallpaper"),
            pictures=2,
        )
    deep = min((float(s.to_world[1, 3]) for s in stage.slots), default=0.0) - 0.8 * stage.width
    scatter(stage, Rect(-span, span, -back, deep), TABLE + LOW, int(rng.integers(1, 9)))
    scatter(stage, Rect(-span, span, 1.1 * stage.width, front), LOW, int(rng.integers(0, 4)))
    places.barge(stage, front, span, 0.2)
    layout_light(stage)


def _foliage(stage: Stage, at: tuple[float, float, float], radius: float) -> None:
    """A real plant: leaves in a few clumps and tones."""
    rng = stage.rng
    tone = colour(rng, (0.15, 0.42), (0.25, 0.9), (0.1, 0.6))
    leaf = rng.uniform(0.006, 0.03)
    for _ in range(5):
        size = rng.uniform(0.4, 0.65, 3) * radius
        # Clipped so that no leaf reaches out of the plant's footprint onto the track.
        aside = np.clip(rng.normal(0, 0.3, 3), -0.4, 0.4) * radius
        middle = np.array([at[0], at[1], at[2] + 0.7 * radius]) + aside
        clump = leaf_cloud(rng, tuple(size), leaf=leaf, count=int(min(60 * radius / leaf, 700)))
        stage.paint(clump.at(*middle), tone * rng.uniform(0.65, 1.3), "satin")
    if rng.random() < 0.25:
        size = (radius, radius, 0.7 * radius)
        flowers = leaf_cloud(rng, size, leaf=0.7 * leaf, count=60)
        stage.paint(
            flowers.at(at[0], at[1], at[2] + 0.8 * radius),
            colour(rng, saturation=(0, 1), value=(0.6, 1)),
        )


def garden(stage: Stage) -> None:
    """Outdoors: gravel, grass, stones, real plants, sun or cloud."""
    rng = stage.rng
    span = 3 * stage.length + 0.6
    places.own_track(stage, span)
    if stage.on_track:
        scenery.roadbed(stage, 0.0, span)
    kinds = ("ballast", "grass", "grass", "asphalt", "wood", "rock")
    tile = rng.uniform(0.5, 1.4)
    rise = rng.choice([0.0, 0.15, 0.4]) * rng.uniform(0.3, 1.2)
    field = scenery.ground(stage, span + 3.0, 2.0, 5.0, rise=rise, kinds=kinds, tile=tile)
    region = Rect(-span, span, -2.5, -1.3 * stage.width)
    for _ in range(int(rng.integers(8, 34))):
        r = rng.choice([0.08, 0.2, 0.45]) * rng.uniform(0.5, 1.0)
        spot = stage.spot(region, (2.4 * r + 0.06, 2.4 * r + 0.06), tries=4)
        if spot is None:
            continue
        x, y = (spot.x0 + spot.x1) / 2, (spot.y0 + spot.y1) / 2
        z = scenery.height_at(field, x, y)
        if rng.random() < 0.7:
            _foliage(stage, (x, y, z), r)
        else:
            stone = blob((r, 0.8 * r, 0.5 * r), roughness=0.25, rng=rng)
            stage.paint(stone.at(x, y, z), colour(rng, (0.02, 0.14), (0, 0.3), (0.25, 0.7)))
    if rng.random() < 0.4:
        places.back_wall(stage, -3.0, ("brick", "wood", "rock", "plaster"), drop=0.2)
    sky = panorama(rng, OUTDOORS) if rng.random() < 0.75 else overcast(rng)
    places.light(stage, {"none": 3, "key": 1}, sky)


def _stand_back(stage: Stage, y: float) -> None:
    """Panels with posters behind a show stand."""
    rng = stage.rng
    x = -2.0
    while x < 2.0:
        w = rng.uniform(0.5, 1.2)
        stage.paint(
            box((w - 0.02, 0.03, 1.2)).at(x + w / 2, y, stage.support_z - 0.4),
            colour(rng),
            owner="room",
        )
        if rng.random() < 0.7:
            a, b = rng.uniform(0.15, 0.4, 2)
            stage.print_on(
                wall(a, b).at(x + w / 2, y + 0.02, stage.support_z + rng.uniform(0.1, 0.4)),
                printed(rng),
            )
        x += w
    stage.solids.append((np.array([-2.0, y - 0.05, -2.0]), np.array([2.0, y + 0.02, 1.0])))
    stage.truth["backdrop"] = "panels"


def _people(stage: Stage, count: int) -> None:
    """Far-off visitors: coats and heads, out of focus in most pictures."""
    rng = stage.rng
    for _ in range(count):
        x, y = rng.uniform(-2.5, 2.5), -rng.uniform(1.2, 4.0)
        coat = cylinder(0.22, 0.75, segments=12).at(x, y, stage.support_z - 0.25)
        legs = cylinder(0.16, 0.8, segments=10).at(x, y, stage.support_z - 1.0)
        stage.paint(coat, colour(rng, saturation=(0, 0.8), value=(0.05, 0.9)))
        stage.paint(legs, colour(rng, saturation=(0, 0.6), value=(0.05, 0.5)))
        stage.paint(
            blob((0.09, 0.1, 0.13)).at(x, y, stage.support_z + 0.62), np.array([205, 155, 125.0])
        )


def show_stand(stage: Stage) -> None:
    """A trader's or club's stand in a hall: cloth table, boxes, tags, neighbours."""
    rng = stage.rng
    span, front, back = (
        1.0 + stage.length,
        rng.uniform(0.15, 0.4) + stage.width,
        rng.uniform(0.3, 0.7),
    )
    places.table(
        stage,
        ("cloth", "felt", "wood", "plaster", "paper"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.05, 0.4),
    )
    places.barge(stage, front, span, 0.7)
    places.floor(stage, ("speckle", "carpet", "wood", "asphalt"), drop=0.8)
    if rng.random() < 0.5:
        _stand_back(stage, -back - rng.uniform(0.02, 1.0))
    else:
        _people(stage, int(rng.integers(2, 9)))
    if rng.random() < 0.2:
        bunting(stage, -back, stage.support_z + rng.uniform(0.3, 0.7), 3.0)
    places.own_track(stage, rng.uniform(0.8, 2.5) * stage.length)
    places.second_track(stage, span, 0.3)
    behind = Rect(-span, span, -back, -0.65 * stage.width)
    places.beside(stage, behind, 0.7)
    places.beside(stage, behind, 0.5)
    scatter(stage, behind, (carton, carton, carton, price_tag, *TABLE), int(rng.integers(4, 22)))
    scatter(
        stage, Rect(-0.8, 0.8, 0.7 * stage.width, front), (price_tag, *LOW), int(rng.integers(0, 5))
    )
    sky = panorama(rng, HALLS) if rng.random() < 0.7 else drawn_room(rng)
    places.light(stage, {"tubes": 3, "none": 3, "spots": 1, "flash": 1.5}, sky)


def museum_hall(stage: Stage) -> None:
    """A lit plinth, often under glass, in a dim or bright hall with panels."""
    rng = stage.rng
    lift = rng.uniform(0.01, 0.05)
    places.plinth(stage, (1.15 * stage.length, 1.3 * stage.width, lift))
    stage.lowered = lift
    span, front, back = (
        0.62 * stage.length + 0.1,
        0.8 * stage.width + 0.08,
        0.8 * stage.width + 0.08,
    )
    places.table(
        stage,
        ("plaster", "wood", "felt", "marble"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.1, 0.6),
    )
    places.floor(stage, ("wood", "marble", "speckle", "tiles", "carpet"), drop=0.9)
    foot = box((1.7 * span, 1.5 * front, 0.86)).at(0, 0, stage.support_z - 0.9)
    stage.paint(foot, colour(rng, saturation=(0, 0.5), value=(0.05, 0.95)), "satin", owner="room")
    if rng.random() < 0.6:
        places.back_wall(
            stage,
            -rng.uniform(0.5, 3.5),
            ("plaster", "brick", "felt"),
            drop=0.9,
            pictures=int(rng.integers(0, 6)),
        )
    for _ in range(int(rng.integers(0, 4))):
        other = box((rng.uniform(0.4, 1.2), 0.5, rng.uniform(0.6, 1.4)))
        other = other.at(rng.uniform(-3, 3), -rng.uniform(1, 3.5), stage.support_z - 0.9)
        stage.paint(other, colour(rng, saturation=(0, 0.5)), "satin")
        stage.blocks(other)
    _people(stage, int(rng.integers(0, 4)))
    places.own_track(stage, 0.6 * stage.length)
    scatter(stage, Rect(-span, span, 0.7 * stage.width, front), (price_tag,), 2)
    stage.truth["pane"] = bool(rng.random() < 0.35)
    sky = panorama(rng, HALLS) if rng.random() < 0.6 else drawn_room(rng)
    places.light(stage, {"spots": 4, "none": 1, "tubes": 1, "key": 1}, sky)
    stage.camera_low = (-4.0, front + 0.05, -0.3)
