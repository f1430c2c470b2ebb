"""Rooms at home: shelf, table, felt, carpet, bench, sheet of paper, cabinet."""

from __future__ import annotations

import numpy as np

from tools.scene import places
from tools.scene.lighting import case_lamps, softboxes
from tools.scene.shapes import box
from tools.scene.stage import Rect, Stage
from tools.scene.textures import colour
from tools.scene.things import BENCH, LOW, SHELF, TABLE, carton, price_tag, scatter, tin


def behind(stage: Stage, back: float, span: float) -> Rect:
    """The strip behind the engine (and behind a second track)."""
    return Rect(-span, span, -back, -0.65 * stage.width)


def before(stage: Stage, span: float, deep: float) -> Rect:
    """The strip in front of the engine: low things only."""
    start = 0.75 * stage.width
    return Rect(-span, span, start, start + deep)


def shelf(stage: Stage) -> None:
    """A bookshelf or wall shelf, open to the front, boards above and aside."""
    rng = stage.rng
    span = 0.5 * stage.length + rng.choice([0.15, 0.5, 0.9]) * rng.uniform(0.5, 1.2)
    back, front = (
        0.7 * stage.width + rng.uniform(0.03, 0.2),
        0.7 * stage.width + rng.uniform(0.0, 0.1),
    )
    kinds = ("wood", "wood", "plaster", "marble")
    places.table(stage, kinds, span=span, front=front, back=back, gloss=rng.uniform(0.1, 0.7))
    tall = max(1.3 * stage.height, 0.24) + rng.uniform(0.06, 0.25)
    boards = []
    if rng.random() < 0.75:
        boards.append(
            box((2 * span, front + back, 0.02)).at(0, (front - back) / 2, stage.support_z + tall)
        )
    if rng.random() < 0.6:
        for x in (-span, span):
            boards.append(
                box((0.02, front + back, tall)).at(x, (front - back) / 2, stage.support_z)
            )
    if rng.random() < 0.6:
        lower = box((2 * span, front + back, 0.02))
        boards.append(lower.at(0, (front - back) / 2, stage.support_z - tall))
        _more_shelves(stage, span, back, tall)
    tone = colour(rng, (0.03, 0.12), (0.0, 0.7), (0.15, 0.95))
    for board in boards:
        stage.paint(board, tone, "satin", owner="room")
        stage.blocks(board)
    places.back_wall(stage, -back, ("wallpaper", "plaster", "wood"), drop=1.0)
    places.own_track(stage, span - 0.02)
    places.beside(stage, behind(stage, back, span), 0.2)
    for x0, x1 in ((-span, -0.6 * stage.length), (0.6 * stage.length, span)):
        scatter(stage, Rect(x0 + 0.02, x1 - 0.02, -back, front), SHELF, 7)
    scatter(stage, Rect(-span, span, -back, -0.65 * stage.width), SHELF, 3)
    scatter(
        stage,
        Rect(-span, span, 0.65 * stage.width, front),
        (price_tag, tin),
        int(rng.integers(0, 3)),
    )
    places.light(
        stage,
        {"none": 2, "key": 3, "flash": 2, "spots": 1, "window": 1},
        places.some_indoors(stage),
    )
    stage.max_azimuth = 1.0 if len(boards) > 1 else 1.3
    stage.camera_low = (-3.0, front * 0.5, -0.15)


def _more_shelves(stage: Stage, span: float, back: float, tall: float) -> None:
    """Rows of books and boxes above and below the engine's shelf."""
    rng = stage.rng
    base, taken = stage.lowered, stage.taken
    for level in (-1, 1):
        if rng.random() < 0.75:
            stage.lowered, stage.taken = base - level * tall - 0.02 * (level > 0), []
            scatter(stage, Rect(-span + 0.02, span - 0.02, -back, 0.0), SHELF, 9)
    stage.lowered, stage.taken = base, taken


def wood_table(stage: Stage) -> None:
    """A kitchen, dining or coffee table with everyday things."""
    rng = stage.rng
    span, front, back = (
        0.5 * stage.length + rng.uniform(0.3, 0.8),
        rng.uniform(0.25, 0.6),
        rng.uniform(0.25, 0.6),
    )
    places.table(
        stage,
        ("wood", "wood", "wood", "marble", "speckle", "plaster"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.2, 0.85),
        legs=True,
    )
    places.floor(stage, ("wood", "carpet", "tiles", "speckle"))
    if rng.random() < 0.5:
        places.back_wall(
            stage,
            -back - rng.uniform(0.0, 1.8),
            ("wallpaper", "plaster", "plaster", "brick", "wood"),
            pictures=int(rng.integers(0, 5)),
        )
    if rng.random() < 0.35:
        edge = rng.uniform(0.6, 1.4) * stage.length
        places.cover(stage, ("cloth", "paper", "card"), Rect(-edge, edge, -0.9 * back, 0.9 * front))
    places.own_track(stage, min(span, rng.uniform(0.7, 2.0) * stage.length))
    places.beside(stage, behind(stage, back, span), 0.35)
    scatter(stage, behind(stage, back, span), TABLE + LOW, int(rng.integers(0, 16)))
    scatter(stage, before(stage, 0.8 * span, front * 0.8), LOW, int(rng.integers(0, 5)))
    places.light(
        stage,
        {"none": 3, "key": 3, "window": 2, "desk": 1, "flash": 1.5, "tubes": 1},
        places.some_indoors(stage),
    )


def felt(stage: Stage) -> None:
    """A draped table at a sale or a felt pad: plain cloth, a tag, a box."""
    rng = stage.rng
    span, front, back = (
        0.5 * stage.length + rng.uniform(0.4, 1.2),
        rng.uniform(0.2, 0.5),
        rng.uniform(0.25, 0.7),
    )
    places.table(stage, ("felt", "felt", "cloth"), span=span, front=front, back=back, gloss=0.05)
    places.barge(stage, front, span, 0.6)
    if rng.random() < 0.35:
        places.back_wall(stage, -back - rng.uniform(0.01, 0.8), ("felt", "cloth", "plaster"))
    places.own_track(stage, min(span, rng.uniform(0.7, 1.8) * stage.length))
    places.beside(stage, behind(stage, back, span), 0.6)
    scatter(
        stage,
        behind(stage, back, span),
        (carton, carton, price_tag, *TABLE),
        int(rng.integers(1, 14)),
    )
    scatter(
        stage, before(stage, 0.7 * span, front * 0.7), (price_tag, *LOW), int(rng.integers(0, 4))
    )
    places.light(
        stage, {"none": 2, "tubes": 3, "spots": 1, "flash": 2, "key": 1}, places.some_indoors(stage)
    )


def carpet(stage: Stage) -> None:
    """On the floor: carpet or boards, a skirting board or sofa front far behind."""
    rng = stage.rng
    places.floor(stage, ("carpet", "carpet", "wood", "tiles", "cloth"), drop=0.0)
    if rng.random() < 0.6:
        y = -rng.uniform(0.6, 2.5)
        places.back_wall(stage, y, ("wallpaper", "plaster"), drop=0.0, pictures=0)
        skirting = box((9, 0.02, rng.uniform(0.06, 0.18))).at(0, y + 0.011, stage.support_z)
        stage.paint(skirting, colour(rng, (0.05, 0.12), (0, 0.6), (0.2, 1)), "satin", owner="room")
    for _ in range(int(rng.integers(0, 3))):
        size = (rng.uniform(0.4, 1.6), rng.uniform(0.3, 0.8), rng.uniform(0.25, 0.8))
        sofa = box(size).at(
            rng.uniform(-1.5, 1.5), -rng.uniform(0.4, 2.0) - size[1], stage.support_z
        )
        stage.paint(sofa, colour(rng, saturation=(0, 0.7), value=(0.1, 0.8)), "matt")
        stage.blocks(sofa)
    places.own_track(stage, rng.uniform(0.8, 4.0) * stage.length)
    places.second_track(stage, 3 * stage.length, 0.3)
    places.beside(stage, behind(stage, 0.6, 0.8 + stage.length), 0.3)
    scatter(stage, behind(stage, 0.9, 0.6 + stage.length), TABLE + LOW, int(rng.integers(0, 12)))
    scatter(stage, before(stage, 0.5, 0.3), LOW, int(rng.integers(0, 3)))
    places.light(stage, {"none": 3, "key": 2, "window": 3, "flash": 2}, places.some_indoors(stage))


def workbench(stage: Stage) -> None:
    """A bench with tools, a mat and a pegboard or wall close behind."""
    rng = stage.rng
    span, front, back = (
        0.5 * stage.length + rng.uniform(0.4, 0.8),
        rng.uniform(0.2, 0.4),
        rng.uniform(0.2, 0.45),
    )
    places.table(
        stage,
        ("wood", "wood", "card", "speckle"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.05, 0.4),
    )
    if rng.random() < 0.7:
        places.back_wall(
            stage, -back, ("pegboard", "plaster", "wood", "brick"), pictures=int(rng.integers(0, 4))
        )
    if rng.random() < 0.5:
        edge = 0.7 * stage.length
        places.cover(
            stage,
            ("felt", "cloth", "paper", "card"),
            Rect(-edge, edge, -0.15 - stage.width, 0.15 + stage.width),
        )
    places.own_track(stage, min(span, rng.uniform(0.7, 1.5) * stage.length))
    places.beside(stage, behind(stage, back, span), 0.3)
    scatter(stage, behind(stage, back, span), BENCH + TABLE, int(rng.integers(6, 24)))
    scatter(stage, before(stage, 0.8 * span, front * 0.8), BENCH[:2] + LOW, int(rng.integers(1, 6)))
    places.light(
        stage, {"desk": 3, "tubes": 2, "key": 2, "none": 1, "flash": 1}, places.some_indoors(stage)
    )


def paper_sweep(stage: Stage) -> None:
    """A curved sheet for a listing photo: coloured, cloth or cutting-board grey."""
    rng = stage.rng
    depth = rng.uniform(0.8, 2.0) * stage.width + 0.02
    tall = rng.uniform(1.2, 4.0) * stage.height + 0.1
    places.sweep(stage, ("paper", "cloth", "felt", "plaster"), depth=depth, tall=tall, white=False)
    places.own_track(stage, rng.uniform(0.6, 1.3) * stage.length)
    scatter(
        stage, before(stage, 0.5 * stage.length, 0.1), (*LOW, price_tag), int(rng.integers(0, 2))
    )
    sky = softboxes(rng) if rng.random() < 0.5 else places.some_indoors(stage)
    places.light(stage, {"key": 3, "none": 2, "flash": 2, "desk": 1}, sky)


def white_product(stage: Stage) -> None:
    """A catalogue or listing picture on white: seamless, evenly lit."""
    rng = stage.rng
    depth, tall = rng.uniform(1.5, 4.0) * stage.width + 0.05, 6 * stage.height + 0.3
    places.sweep(stage, ("paper",), depth=depth, tall=tall, white=True)
    # A meter greys white paper; sellers open up until it is white again.
    stage.truth["bias_stops"] = float(rng.uniform(0.7, 2.0))
    places.own_track(stage, rng.uniform(0.55, 0.9) * stage.length)
    sky = (
        softboxes(rng)
        if rng.random() < 0.4
        else np.full((64, 128, 3), rng.uniform(0.6, 1.2), np.float32)
    )
    places.light(stage, {"none": 3, "key": 2}, sky)


def display_case(stage: Stage) -> None:
    """A cabinet: plinth or glass shelf, back panel, panes, small lamps."""
    rng = stage.rng
    span, back = (
        0.55 * stage.length + rng.uniform(0.05, 0.5),
        0.7 * stage.width + rng.uniform(0.02, 0.15),
    )
    front = 0.7 * stage.width + rng.uniform(0.02, 0.1)
    if rng.random() < 0.5:
        lift = rng.uniform(0.008, 0.03)
        places.plinth(stage, (1.12 * stage.length, 1.15 * stage.width, lift))
        stage.lowered = lift
    places.table(
        stage,
        ("wood", "felt", "plaster", "marble", "cloth"),
        span=span,
        front=front,
        back=back,
        gloss=rng.uniform(0.05, 0.8),
    )
    places.back_wall(stage, -back, ("plaster", "felt", "wood", "wallpaper", "cloth"), drop=1.0)
    places.own_track(stage, 0.6 * stage.length)
    tall = 1.3 * stage.height + rng.uniform(0.05, 0.2)
    frame = colour(rng, (0.03, 0.12), (0.0, 0.7), (0.05, 0.8))
    for x in (-span, span):
        post = box((0.02, 0.02, tall)).at(x, front, stage.support_z)
        stage.paint(post, frame, "satin", owner="room")
    lid = box((2 * span, front + back, 0.02)).at(0, (front - back) / 2, stage.support_z + tall)
    stage.paint(lid, frame, "satin", owner="room")
    stage.blocks(lid)
    stage.truth["pane"] = bool(rng.random() < 0.5)
    scatter(stage, behind(stage, back, span), (tin, price_tag, carton), int(rng.integers(0, 4)))
    scatter(
        stage, Rect(-span, span, 0.65 * stage.width, front), (price_tag,), int(rng.integers(0, 3))
    )
    places.light(stage, {"none": 1, "tubes": 1, "flash": 1}, places.some_indoors(stage))
    if rng.random() < 0.65:
        stage.lamps = case_lamps(rng, 0.8 * span, front, stage.support_z + tall - 0.004)
        stage.truth["lighting"] = "case"
    stage.max_azimuth, stage.camera_low = 1.0, (-2.0, front + 0.03, -0.1)
