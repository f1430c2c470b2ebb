"""Rooms kept out of training, to measure on surroundings never seen."""

from __future__ import annotations

import numpy as np

from tools.scene import places, scenery
from tools.scene.home_rooms import behind
from tools.scene.lighting import OUTDOORS, overcast, panorama
from tools.scene.pictures import printed
from tools.scene.public_rooms import layout_light, tracks
from tools.scene.shapes import box, sheet
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour, surface
from tools.scene.things import BENCH, TABLE, scatter


def windowsill(stage: Stage) -> None:
    """A sill against a bright window, the light from behind."""
    rng = stage.rng
    span, back, front = (
        0.5 * stage.length + rng.uniform(0.2, 0.5),
        0.7 * stage.width + 0.03,
        0.7 * stage.width + rng.uniform(0, 0.1),
    )
    places.table(
        stage,
        ("plaster", "marble", "wood"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.3, 0.8),
    )
    tone = colour(rng, (0.05, 0.6), (0, 0.2), (0.7, 1))
    step = rng.uniform(0.3, 0.6)
    for x in np.arange(-1.5, 1.51, step):
        stage.paint(
            box((0.05, 0.05, 1.3)).at(float(x), -back - 0.03, stage.support_z), tone, "satin"
        )
    for z in (0.0, rng.uniform(0.35, 0.6)):
        stage.paint(box((3.0, 0.05, 0.05)).at(0, -back - 0.03, stage.support_z + z), tone, "satin")
    places.own_track(stage, 0.7 * stage.length)
    scatter(stage, Rect(-span, -0.6 * stage.length, -back, front), TABLE[2:], 2)
    scatter(stage, Rect(0.6 * stage.length, span, -back, front), TABLE[2:], 2)
    sky = panorama(rng, OUTDOORS) if rng.random() < 0.6 else overcast(rng)
    places.light(stage, {"none": 3, "key": 1, "flash": 1}, sky)
    stage.max_azimuth = 1.1


def kitchen_tiles(stage: Stage) -> None:
    """A glossy worktop under glazed wall tiles."""
    rng = stage.rng
    span, back, front = (
        0.5 * stage.length + rng.uniform(0.4, 0.8),
        rng.uniform(0.12, 0.4) + 0.6 * stage.width,
        rng.uniform(0.2, 0.4),
    )
    places.table(
        stage,
        ("speckle", "marble", "tiles"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.6, 0.9),
    )
    places.floor(stage, ("tiles", "wood"), drop=0.9)
    places.back_wall(stage, -back, ("tiles",), drop=0.9)
    places.own_track(stage, 0.8 * stage.length)
    scatter(stage, behind(stage, back, span), (*TABLE[2:7], TABLE[1]), int(rng.integers(2, 7)))
    places.light(
        stage, {"tubes": 2, "window": 2, "spots": 1, "none": 1}, places.some_indoors(stage)
    )


def newspaper(stage: Stage) -> None:
    """On spread printed sheets, as when something is unpacked or cleaned."""
    rng = stage.rng
    places.table(stage, ("wood", "plaster"), span=1.2, front=0.6, back=0.7, gloss=0.4)
    for _ in range(9):
        page = sheet(rng.uniform(0.25, 0.4), rng.uniform(0.3, 0.5))
        at = (rng.normal(0, 0.3), rng.normal(0, 0.2), stage.support_z + rng.uniform(0.0004, 0.0009))
        stage.print_on(page.at(*at, yaw=rng.normal(0, 0.5)), printed(rng))
    places.own_track(stage, 0.6 * stage.length)
    scatter(stage, behind(stage, 0.5, 0.6), BENCH, 4)
    key = stage.textured("card", surface(rng, "card"), roughness=0.9)
    open_box = box((1.1 * stage.length, 1.4 * stage.width, 0.8 * stage.height))
    stage.add(
        open_box.at(
            rng.normal(0, 0.2), -2.4 * stage.width - 0.05, stage.support_z, yaw=rng.normal(0, 0.2)
        ),
        key,
    )
    places.light(stage, {"key": 2, "window": 2, "none": 1}, places.some_indoors(stage))


def diorama_rock(stage: Stage) -> None:
    """A short scene before a rock face or quarry wall."""
    rng = stage.rng
    span = 1.5 * stage.length
    back, front = rng.uniform(1.6, 2.6) * stage.width, rng.uniform(1.2, 2.5) * stage.width
    tracks(stage, span, 0.0)
    field = scenery.ground(stage, span, front, back, rise=0.0, kinds=("ballast", "rock", "asphalt"))
    scenery.cliff(stage, -back, span, rng.uniform(1.5, 5) * stage.height)
    stage.solids.append((np.array([-span, -back - 3, -2]), np.array([span, -back - 0.1, 1.0])))
    scenery.sprinkle(
        stage, field, Rect(-span, span, 1.2 * stage.width, front), "rrbf", int(rng.integers(5, 25))
    )
    places.barge(stage, front, span, 0.15)
    layout_light(stage)


def stone_terrace(stage: Stage) -> None:
    """A low wall or paved terrace in the open air."""
    rng = stage.rng
    span, back, front = (
        1.0 + stage.length,
        rng.uniform(0.1, 0.25) + stage.width,
        0.8 * stage.width + rng.uniform(0.02, 0.3),
    )
    key = stage.textured("stone", surface(rng, "rock", "brick", "tiles"), roughness=0.9)
    block = box((2 * span, front + back, 0.5), tile=rng.uniform(0.3, 0.8))
    block = block.at(0, (front - back) / 2, stage.support_z - 0.5)
    stage.add(block, key, owner="room")
    stage.blocks(block)
    places.floor(stage, ("grass", "ballast"), drop=0.5)
    places.own_track(stage, 0.7 * stage.length)
    scatter(
        stage, Rect(-span, span, -back, -0.65 * stage.width), TABLE[2:7], int(rng.integers(0, 3))
    )
    sky = panorama(rng, OUTDOORS) if rng.random() < 0.8 else overcast(rng)
    places.light(stage, {"none": 1}, sky)
