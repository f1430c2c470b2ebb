"""From the name of a room to the finished `Room`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tools.parts import Part
from tools.scene import held_rooms, home_rooms, public_rooms
from tools.scene.hands import maybe_occlude
from tools.scene.lighting import overcast
from tools.scene.room import Lamp, Room, Slot
from tools.scene.shapes import Floats, turn
from tools.scene.stage import Stage

_TRAIN: dict[str, Callable[[Stage], None]] = {
    "shelf": home_rooms.shelf,
    "wood_table": home_rooms.wood_table,
    "felt": home_rooms.felt,
    "display_case": home_rooms.display_case,
    "layout": public_rooms.layout,
    "yard": public_rooms.yard,
    "workbench": home_rooms.workbench,
    "carpet": home_rooms.carpet,
    "paper_sweep": home_rooms.paper_sweep,
    "white_product": home_rooms.white_product,
    "garden": public_rooms.garden,
    "show_stand": public_rooms.show_stand,
    "museum_hall": public_rooms.museum_hall,
}
_HELD: dict[str, Callable[[Stage], None]] = {
    "windowsill": held_rooms.windowsill,
    "kitchen_tiles": held_rooms.kitchen_tiles,
    "newspaper": held_rooms.newspaper,
    "diorama_rock": held_rooms.diorama_rock,
    "stone_terrace": held_rooms.stone_terrace,
}
TRAIN_ROOMS: tuple[str, ...] = tuple(_TRAIN)
HELD_ROOMS: tuple[str, ...] = tuple(_HELD)
# Rooms that only look right with a track under the engine.
TRACK_ROOMS: frozenset[str] = frozenset({"layout", "yard", "diorama_rock"})


def _turned_part(part: Part) -> Part:
    return part.moved(turn("z", np.pi)[:3, :3], np.zeros(3))


def _turned_box(corners: Floats) -> Floats:
    """A box (2, 3) turned half round about z."""
    flipped = corners * [-1, -1, 1]
    return np.stack([flipped.min(0), flipped.max(0)])


def _turned_slot(slot: Slot) -> Slot:
    # Half a turn swaps the ends: what stood ahead of the engine now stands behind it.
    kind = {"ahead": "behind", "behind": "ahead"}.get(slot.kind, slot.kind)
    at = turn("z", np.pi) @ slot.to_world
    if kind in ("ahead", "behind"):
        at = at @ turn("z", np.pi)
    return Slot(kind, at, slot.length, slot.width)


def furnish(
    rng: np.random.Generator, room: str, *, length: float, width: float, height: float,
    on_track: bool,
) -> Room:  # fmt: skip
    """Build a room around an engine at the origin.

    Parameters
    ----------
    rng : Generator
        Alone decides everything that varies.
    room : str
        One of `TRAIN_ROOMS` or `HELD_ROOMS`.
    length, width, height : float, metres
        The engine (with tender, if any) centred on the origin, x along it.
    on_track : bool
        Whether a track lies under it; in `TRACK_ROOMS` nothing else looks right.

    Returns
    -------
    Room

    Raises
    ------
    ValueError
        For an unknown room or a size that is not positive.
    """
    maker = {**_TRAIN, **_HELD}.get(room)
    if maker is None:
        raise ValueError(f"room: expected one of {TRAIN_ROOMS + HELD_ROOMS}, got {room!r}")
    if min(length, width, height) <= 0:
        raise ValueError(f"engine size: expected > 0 m, got {(length, width, height)}")
    stage = Stage(rng, length, width, height, on_track)
    support = stage.support_z
    maker(stage)
    maybe_occlude(stage)
    side = int(rng.choice([-1, 1]))
    parts, materials = stage.parts()
    camera_box = np.array([stage.camera_low, stage.camera_high], float)
    solids = np.array([np.stack(s) for s in stage.solids]).reshape(-1, 2, 3)
    lamps, slots, extent = stage.lamps, tuple(stage.slots), stage.track_extent
    if side < 0:
        parts = tuple(_turned_part(p) for p in parts)
        camera_box = _turned_box(camera_box)
        solids = np.array([_turned_box(s) for s in solids]).reshape(-1, 2, 3)
        lamps = tuple(Lamp(turn("z", np.pi) @ m.to_world, m.half_size, m.radiance) for m in lamps)
        slots = tuple(_turned_slot(s) for s in slots)
        extent = (-extent[1], -extent[0])
    return Room(
        name=room,
        parts=parts,
        materials=materials,
        environment=stage.environment if stage.environment is not None else overcast(rng),
        lamps=lamps,
        support_z=support,
        side=side,
        max_azimuth=stage.max_azimuth,
        camera_box=camera_box,
        solids=solids,
        slots=slots,
        track_extent=extent,
        truth=dict(stage.truth),
    )
