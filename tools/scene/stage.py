"""A room under construction: collects meshes, merges them, keeps footprints apart."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tools.parts import Material, Part
from tools.scene.lighting import Radiance
from tools.scene.pictures import knit
from tools.scene.room import Lamp, Slot
from tools.scene.shapes import Floats, Mesh, join
from tools.scene.textures import Picture

PALETTE_SIDE = 8  # swatches along a palette's edge
SWATCH_PX = 4
FINISHES: dict[str, dict[str, float]] = {
    "matt": {"roughness": 0.85, "specular": 0.25},
    "satin": {"roughness": 0.42, "specular": 0.5},
    "gloss": {"roughness": 0.12, "specular": 0.5, "clearcoat": 0.4},
    "metal": {"roughness": 0.3, "metallic": 1.0},
}


@dataclass(frozen=True, slots=True)
class Rect:
    """A footprint on the supporting surface, metres."""

    x0: float
    x1: float
    y0: float
    y1: float

    def hits(self, other: Rect) -> bool:
        return (
            self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1
        )


@dataclass(slots=True)
class Stage:
    """The held resource while a room is furnished; viewers stand on the +y side.

    `length`, `width`, `height` are the engine's, metres; `taken` the footprints in use.
    """

    rng: np.random.Generator
    length: float
    width: float
    height: float
    on_track: bool
    taken: list[Rect] = field(default_factory=list)
    solids: list[tuple[Floats, Floats]] = field(default_factory=list)
    slots: list[Slot] = field(default_factory=list)
    truth: dict[str, object] = field(default_factory=dict)
    environment: Radiance | None = None
    lamps: tuple[Lamp, ...] = ()
    max_azimuth: float = 1.45
    camera_low: tuple[float, float, float] = (-6.0, 0.02, -0.3)
    camera_high: tuple[float, float, float] = (6.0, 8.0, 3.0)
    track_extent: tuple[float, float] = (-1.0, 1.0)
    lowered: float = 0.0  # metres by which a plinth lifts the engine above the table
    _meshes: dict[tuple[str, str, bool], list[Mesh]] = field(default_factory=dict)
    _materials: dict[str, Material] = field(default_factory=dict)
    _swatches: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    _prints: list[Picture] = field(default_factory=list)

    @property
    def support_z(self) -> float:
        return (-0.03 * self.length if self.on_track else 0.0) - self.lowered

    @property
    def scale(self) -> float:
        """Model scale: a standard-gauge engine is about 4.2 m high (common practice)."""
        return self.height / 4.2

    def material(self, key: str, made: Material) -> str:
        """Register a material under `key` and return the key."""
        self._materials[key] = made
        return key

    def textured(self, key: str, picture: Picture, **look: float) -> str:
        return self.material(key, Material(texture=picture, **look))  # type: ignore[arg-type]

    def add(self, mesh: Mesh, material: str, *, owner: str = "clutter") -> None:
        """Put `mesh`, already in place, into the room."""
        self._meshes.setdefault((owner, material, mesh.smooth), []).append(mesh)

    def paint(
        self, mesh: Mesh, rgb: Floats | NDArray[np.float32], finish: str = "matt", *,
        owner: str = "clutter",
    ) -> None:  # fmt: skip
        """Add `mesh` in one sRGB colour (0..255), sharing one palette for each finish."""
        tones = self._swatches.setdefault(finish, [])
        tone = tuple(float(v) for v in np.clip(rgb, 0, 255))
        if tone in tones:
            index = tones.index(tone)  # type: ignore[arg-type]
        elif len(tones) < PALETTE_SIDE**2:
            index = len(tones)
            tones.append(tone)  # type: ignore[arg-type]
        else:
            index = int(np.argmin(np.abs(np.asarray(tones) - np.asarray(tone)).sum(1)))
        row, column = divmod(index, PALETTE_SIDE)
        spot = (np.array([column, row]) + 0.5) / PALETTE_SIDE
        uv = np.broadcast_to(spot, (len(mesh.vertices), 2))
        self.add(Mesh(mesh.vertices, mesh.faces, uv, mesh.smooth), f"palette_{finish}", owner=owner)

    def print_on(self, mesh: Mesh, picture: Picture) -> None:
        """Add `mesh` with `picture` across its 0..1 uv, sharing one atlas."""
        if len(self._prints) < 16:
            self._prints.append(picture)
            cell = len(self._prints) - 1
        else:
            cell = int(self.rng.integers(16))
        row, column = divmod(cell, 4)
        # Kept 1 % inside so that bilinear lookups do not bleed into a neighbour.
        uv = (np.clip(mesh.uv, 0.01, 0.99) + [column, row]) / 4
        self.add(Mesh(mesh.vertices, mesh.faces, uv, mesh.smooth), "prints")

    def blocks(self, mesh: Mesh) -> None:
        """Remember that `mesh` can hide the engine or hold a camera."""
        self.solids.append(mesh.bounds())

    def reserve(self, x0: float, x1: float, y0: float, y1: float) -> None:
        self.taken.append(Rect(x0, x1, y0, y1))

    def spot(self, region: Rect, size: tuple[float, float], tries: int = 10) -> Rect | None:
        """A free footprint of `size` inside `region`, now taken; None if crowded."""
        for _ in range(tries):
            if region.x1 - region.x0 < size[0] or region.y1 - region.y0 < size[1]:
                return None
            x = self.rng.uniform(region.x0, region.x1 - size[0])
            y = self.rng.uniform(region.y0, region.y1 - size[1])
            rect = Rect(x, x + size[0], y, y + size[1])
            if not any(rect.hits(t) for t in self.taken):
                self.taken.append(rect)
                return rect
        return None

    def slot(self, kind: str, at: Floats, length: float, width: float) -> None:
        """Offer a place for another vehicle and keep clutter off it."""
        x, y = at[0, 3], at[1, 3]
        self.reserve(x - length / 2, x + length / 2, y - width / 2, y + width / 2)
        self.slots.append(Slot(kind, at, length, width))

    def _palette(self, finish: str) -> Picture:
        picture = np.full((PALETTE_SIDE, PALETTE_SIDE, 3), 128, np.uint8)
        for index, tone in enumerate(self._swatches[finish]):
            picture[divmod(index, PALETTE_SIDE)] = np.round(tone)
        return picture.repeat(SWATCH_PX, 0).repeat(SWATCH_PX, 1)

    def parts(self) -> tuple[tuple[Part, ...], dict[str, Material]]:
        """The merged parts and the materials they use."""
        for finish in self._swatches:
            self.textured(f"palette_{finish}", self._palette(finish), **FINISHES[finish])
        if self._prints:
            self.textured("prints", knit(self._prints), roughness=0.5, specular=0.4)
        made = []
        for (owner, material, smooth), meshes in self._meshes.items():
            mesh = join(meshes)
            name = f"{owner}_{material}{'_round' if smooth else ''}"
            kind = "clutter" if owner.startswith("occluder") else owner
            made.append(
                Part(
                    name=name,
                    owner=kind,
                    vertices=mesh.vertices.astype(np.float32),
                    faces=mesh.faces.astype(np.int32),
                    material=material,
                    uv=mesh.uv.astype(np.float32),
                    smooth=smooth,
                )
            )
        used = {part.material for part in made}
        return tuple(made), {k: m for k, m in self._materials.items() if k in used}
