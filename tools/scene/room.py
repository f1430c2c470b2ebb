"""The values that describe a furnished room and a camera in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tools.parts import Material, Part


@dataclass(frozen=True, slots=True)
class Lamp:
    """A rectangular area light.

    Attributes
    ----------
    to_world : ndarray, shape (4, 4)
        Maps the square -1..1 in the lamp's xy plane, shining along its +z, to the
        lamp's place and size: the half sizes are its first two columns' lengths.
    half_size : tuple of float, metres
        The same half width (lamp x) and half height (lamp y), for convenience.
    radiance : tuple of float, linear RGB
    """

    to_world: NDArray[np.float64]
    half_size: tuple[float, float]
    radiance: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Slot:
    """A place where another vehicle may stand, kept free of clutter.

    Attributes
    ----------
    kind : str
        "ahead", "behind" (coupled on the engine's own track), "second_track" (beyond
        the engine), "beside" (standing on the table or shelf, no track).
    to_world : ndarray, shape (4, 4)
        Where the vehicle's origin (middle, rail top) goes, x along the vehicle.
    length, width : float, metres
        The space that is free.
    """

    kind: str
    to_world: NDArray[np.float64]
    length: float
    width: float


@dataclass(frozen=True, slots=True)
class Room:
    """Everything around the engine.

    Attributes
    ----------
    name : str
    parts : tuple of Part
        Owners "room" and "clutter". A part whose name starts with
        "occluder_" is meant to hide some of the engine.
    materials : dict of str to Material
    environment : ndarray, shape (H, 2 H, 3), float32
        Linear radiance from far away; row 0 is straight up (+z), column 0 is towards
        +y and columns go on towards +x. In Mitsuba 3 that is an `envmap` with
        `to_world = rotate([1, 0, 0], 90)`.
    lamps : tuple of Lamp
    support_z : float, metres
        Height of the surface under the track, or 0 without one.
    side : int
        +1 or -1: the viewers stand on this side in y.
    max_azimuth : float, radians
        Largest angle from broadside at which a camera can see past the furniture.
    camera_box : ndarray, shape (2, 3), metres
        Low and high corner of the air in which a camera fits.
    solids : ndarray, shape (n, 2, 3), metres
        Boxes that block a view; flagged occluders are not among them.
    slots : tuple of Slot
    track_extent : tuple of float, metres
        The engine's track may run from here to there in x.
    truth : dict
        What was sampled: "occluders" (tuple of str), "lighting", "backdrop"... "pane"
        true means that a glass pane stands before the engine: it is not a part, since
        a path tracer finds lamps behind glass only by chance; mirror the surroundings
        into the picture afterwards (`tools.camera.reflect`).
    """

    name: str
    parts: tuple[Part, ...]
    materials: dict[str, Material]
    environment: NDArray[np.float32]
    lamps: tuple[Lamp, ...]
    support_z: float
    side: int
    max_azimuth: float
    camera_box: NDArray[np.float64]
    solids: NDArray[np.float64]
    slots: tuple[Slot, ...]
    track_extent: tuple[float, float]
    truth: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Pose:
    """A camera: where it is, what it looks at, which way is up; metres."""

    origin: NDArray[np.float64]
    target: NDArray[np.float64]
    up: NDArray[np.float64]
    focus_distance: float
