"""The parts box in which an engine is put together."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tools.locomotive.solids import Mesh, join
from tools.parts import Material, Part


@dataclass
class Kit:
    """Meshes sorted by name, owner, side and material until they become parts."""

    owner: str = "locomotive"
    bins: dict[tuple[str, str, str, str], list[Mesh]] = field(default_factory=dict)

    def add(self, name: str, material: str, *meshes: Mesh, side: str = "both") -> None:
        """Put meshes into the part `name`."""
        self.bins.setdefault((name, self.owner, side, material), []).extend(meshes)

    def pair(self, name: str, material: str, *meshes: Mesh, sided: bool = False) -> None:
        """Put meshes of the left side in, and their mirror images on the right."""
        mirror = [m.mirrored() for m in meshes]
        if sided:
            self.add(name, material, *meshes, side="left")
            self.add(name, material, *mirror, side="right")
        else:
            self.add(name, material, *meshes, *mirror)

    def parts(self, scale: float, materials: dict[str, Material]) -> tuple[Part, ...]:
        """All parts, in metres of the model; textured ones get a woven projection as uv."""
        out = []
        for (name, owner, side, material), meshes in self.bins.items():
            mesh = join(meshes)
            if not len(mesh.f):
                continue
            corners = mesh.v[mesh.f]
            area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
            faces = mesh.f[np.linalg.norm(area, axis=1) > 1e-12]
            used, flat = np.unique(faces, return_inverse=True)
            v = mesh.v[used]
            uv = None
            if materials[material].texture is not None:
                # Oblique so that no face of a box sees the texture edge-on.
                uv = np.stack([v[:, 0] * 0.27 + 0.11 * v[:, 1], v[:, 2] * 0.29 + 0.23 * v[:, 1]], 1)
                uv = uv.astype(np.float32)
            out.append(
                Part(
                    name,
                    owner,
                    (v * scale).astype(np.float32),
                    flat.reshape(-1, 3).astype(np.int32),
                    material,
                    uv,
                    side,
                    True,
                )
            )
        return tuple(out)

    def bounds(self, owner: str) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest corner of everything an owner has."""
        v = [m.v for k, ms in self.bins.items() if k[1] == owner for m in ms if len(m.v)]
        return np.min([p.min(0) for p in v], axis=0), np.max([p.max(0) for p in v], axis=0)
