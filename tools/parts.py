"""What the studio is built of: triangle meshes with a name, an owner and a material.

Axes of a locomotive: x forward (the chimney end), y to the engine's left, z up;
the origin lies at rail-top height under the middle of the engine. A room uses the
same z, with rail top or the standing surface at z = 0. Lengths are metres of the
model itself: a gauge 0 engine is about 0.3 m long.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Material:
    """A principled surface. Colours are linear RGB in 0..1.

    `texture`, if given, is an sRGB uint8 image (H, W, 3) that replaces `color`;
    parts with a textured material must carry `uv`.
    """

    color: tuple[float, float, float] = (0.5, 0.5, 0.5)
    roughness: float = 0.5
    metallic: float = 0.0
    specular: float = 0.5
    clearcoat: float = 0.0
    texture: NDArray[np.uint8] | None = None
    roughness_texture: NDArray[np.uint8] | None = None
    glass: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """A named mesh.

    Attributes
    ----------
    name : str
        What it is: "boiler", "dome", "switch_lever", "side_linkage", "edge_stripe",
        "tender_lamp", "cab_number"... A cue's part carries the cue's name.
    owner : str
        "locomotive", "tender", "wagon", "other" (a second engine), "clutter",
        "track", "room" or "glass".
    vertices : ndarray, shape (n, 3), float32, metres
    faces : ndarray, shape (m, 3), int32
    material : str
        Key into the materials that travel with the parts.
    uv : ndarray, shape (n, 2), float32, or None
    side : str
        "left", "right" or "both": which side of the engine it is on.
    smooth : bool
        Interpolated vertex normals (lathed bodies) or flat faces.
    """

    name: str
    owner: str
    vertices: NDArray[np.float32]
    faces: NDArray[np.int32]
    material: str
    uv: NDArray[np.float32] | None = None
    side: str = "both"
    smooth: bool = False

    def moved(self, rotation: NDArray[np.float64], offset: NDArray[np.float64]) -> Part:
        """The part turned by a 3x3 `rotation` and then shifted by `offset` metres."""
        vertices = (self.vertices @ rotation.T + offset).astype(np.float32)
        return replace(self, vertices=vertices)


@dataclass(frozen=True, slots=True)
class Model:
    """A built object with its truth.

    Attributes
    ----------
    parts : tuple of Part
    materials : dict of str to Material
    landmarks : dict of str to ndarray (3,), metres, engine axes
    truth : dict
        Everything sampled that a label may need (cue states, number, axles...).
    """

    parts: tuple[Part, ...]
    materials: dict[str, Material]
    landmarks: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    truth: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that a renderer needs to know.

    Attributes
    ----------
    parts : tuple of Part
    materials : mapping of str to Material
        Those that the parts name.
    environment : ndarray, shape (H, 2 H, 3), float32
        Linear radiance from far away, laid out as `tools.scene.room.Room.environment`.
    lamps : tuple
        `tools.scene.room.Lamp`.
    """

    parts: tuple[Part, ...]
    materials: Mapping[str, Material]
    environment: NDArray[np.float32]
    lamps: tuple[Any, ...] = ()
