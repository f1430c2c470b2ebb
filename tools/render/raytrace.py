"""Mitsuba 3 as a renderer of parts: a scene from meshes, pictures and first hits from it.

The structure of every scene is kept the same (one kind of surface, one glass, one
environment, rectangle lamps), because Dr.Jit compiles a kernel per structure and a
compile costs more than twenty pictures.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.parts import Material, Part, Scene
from tools.render.meshes import corners_of
from tools.render.projection import axes_of, camera_basis
from tools.render.quieten import quieten

_DEBIAN_LLVM = Path("/usr/lib/x86_64-linux-gnu/libLLVM.so.19.1")
# Lenses a kernel is kept for: horizontal field of view in degrees, from a phone's
# wide camera close up to a tele lens across a hall.
LENSES_DEG = (18.0, 27.0, 40.0, 58.0)
_MAX_DEPTH = 5  # bounces; by eye on 40 pictures, deeper ones only brighten cab interiors


def start(variant: str = "auto") -> Any:
    """Choose Mitsuba's variant (CUDA where a card is found) and return the module."""
    if "DRJIT_LIBLLVM_PATH" not in os.environ and _DEBIAN_LLVM.exists():
        os.environ["DRJIT_LIBLLVM_PATH"] = str(_DEBIAN_LLVM)
    import mitsuba as mi

    if variant == "auto":
        cards = bool(list(Path("/dev").glob("nvidia[0-9]*")))
        variant = "cuda_ad_rgb" if cards else "llvm_ad_rgb"
    mi.set_variant(variant)
    return mi


@dataclass(frozen=True, slots=True)
class FirstHits:
    """What the ray through each pixel's centre meets first, glass looked through.

    `part` indexes the part list of the scene, -1 for the surroundings; `depth` is the
    distance along the ray in metres, infinite for the surroundings.
    """

    part: NDArray[np.int32]
    depth: NDArray[np.float32]


class PathTracer:
    """Mitsuba with its variant set; makes stages.

    `lenses` are the horizontal fields of view, in degrees, that close views keep to: a
    kernel is made for each.
    """

    name = "path traced"
    lenses = (5.5, 12.0, 27.0)

    def __init__(self, variant: str = "auto") -> None:
        self.mi = start(variant)

    def stage(self, scene: Scene) -> Stage:
        """The scene, ready to be photographed."""
        return Stage(self.mi, scene)


class Stage:
    """One built scene; many views of it may be taken."""

    def __init__(self, mi: Any, shown: Scene) -> None:
        materials = shown.materials
        self._mi = mi
        self.parts = shown.parts
        surfaces = {key: mi.load_dict(_surface(mi, m)) for key, m in materials.items()}
        self._meshes = [_mesh(mi, part, surfaces[part.material]) for part in self.parts]
        scene: dict[str, Any] = {
            "type": "scene",
            "environment": {
                "type": "envmap",
                "bitmap": mi.Bitmap(np.ascontiguousarray(shown.environment, dtype=np.float32)),
                "to_world": mi.ScalarTransform4f().rotate([1, 0, 0], 90),
            },
            "pane": _hidden_pane(mi),
        }
        for index, lamp in enumerate(shown.lamps):
            scene[f"lamp{index}"] = {
                "type": "rectangle",
                "to_world": mi.ScalarTransform4f(np.asarray(lamp.to_world, dtype=np.float64)),
                "emitter": {
                    "type": "area",
                    "radiance": {"type": "rgb", "value": [float(c) for c in lamp.radiance]},
                },
            }
        for index, mesh in enumerate(self._meshes):
            scene[f"part{index}"] = mesh
        self._scene = mi.load_dict(scene)
        self._integrator = mi.load_dict(
            {
                "type": "aov",
                "aovs": "albedo:albedo,normal:sh_normal,distance:depth",
                "light": {"type": "path", "max_depth": _MAX_DEPTH},
            }
        )
        self._sensors: dict[tuple[float, tuple[int, int], int], Any] = {}
        self._glass = np.array([materials[p.material].glass for p in self.parts] + [False])
        self._lookup = self._shape_lookup()

    def _shape_lookup(self) -> NDArray[np.int32]:
        import drjit as dr

        ids = [
            int(dr.reinterpret_array(self._mi.UInt32, self._mi.ShapePtr(mesh))[0])
            for mesh in self._meshes
        ]
        lookup = np.full(max(ids, default=0) + 64, -1, dtype=np.int32)
        lookup[ids] = np.arange(len(ids))
        return lookup

    def sensor(self, pose: Any, fov_deg: float, size: tuple[int, int], samples: int) -> Any:
        """A pinhole camera at `pose` (origin, target, up), `size` = (width, height)."""
        mi = self._mi
        origin, target, up = (np.asarray(v, float).tolist() for v in axes_of(pose))
        return mi.load_dict(
            {
                "type": "perspective",
                "fov": fov_deg,
                "fov_axis": "x",
                "near_clip": 0.005,
                "far_clip": 100.0,
                "to_world": mi.ScalarTransform4f().look_at(origin, target, up),
                "film": {
                    "type": "hdrfilm",
                    "width": size[0],
                    "height": size[1],
                    "rfilter": {"type": "gaussian"},
                    "pixel_format": "rgb",
                    "component_format": "float32",
                },
                "sampler": {"type": "independent", "sample_count": samples},
            }
        )

    def photograph(
        self,
        pose: Any,
        fov_deg: float,
        size: tuple[int, int],
        *,
        samples: int,
        seed: int,
        rng: np.random.Generator,
    ) -> NDArray[np.float32]:
        """Linear radiance of a view with most of its grain taken out.

        Parameters
        ----------
        pose : has origin, target and up, metres
        fov_deg : float
            Horizontal; each value, size and sample count makes a kernel of its own.
        size : (int, int)
            Width and height in pixels.
        samples : int
            Paths per pixel.
        seed : int
            Of the paths.
        rng : Generator
            Decides how much grain stays.

        Returns
        -------
        ndarray, shape (height, width, 3), float32
        """
        key = (fov_deg, size, samples)
        if key not in self._sensors:
            self._sensors[key] = self.sensor(pose, fov_deg, size, samples)
        sensor = self._sensors[key]
        handle = self._mi.traverse(sensor)
        vectors = (v.tolist() for v in axes_of(pose))
        handle["to_world"] = self._mi.Transform4f().look_at(*vectors)
        handle.update()
        return quieten(self._mi, rng, self.layers(sensor, seed).array, size)

    def release(self) -> None:
        """Nothing to give back by hand."""

    def layers(self, sensor: Any, seed: int) -> Any:
        """Per pixel radiance (3), albedo (3), normal (3), distance: (H, W, 10), on the device."""
        return self._mi.render(
            self._scene, sensor=sensor, integrator=self._integrator, seed=seed & 0x7FFFFFFF
        )

    def picture(self, sensor: Any, seed: int) -> NDArray[np.float32]:
        """Linear RGB radiance as traced, grain and all, shape (H, W, 3)."""
        image = np.array(self.layers(sensor, seed), dtype=np.float32)[..., :3]
        return np.nan_to_num(image, posinf=1e3)

    def first_hits(self, pose: Any, fov_deg: float, size: tuple[int, int]) -> FirstHits:
        """Cast one ray through the centre of every pixel."""
        width, height = size
        rows, cols = np.mgrid[0:height, 0:width].astype(np.float64) + 0.5
        basis, focal = camera_basis(pose), width / 2.0 / np.tan(np.radians(fov_deg) / 2.0)
        across, down = (cols - width / 2.0) / focal, (rows - height / 2.0) / focal
        rays = (
            across[..., None] * basis[0]
            + down[..., None] * basis[1]
            + np.ones_like(across)[..., None] * basis[2]
        ).reshape(-1, 3)
        rays /= np.linalg.norm(rays, axis=1, keepdims=True)
        part, depth = self.cast(np.broadcast_to(axes_of(pose)[0], rays.shape), rays)
        return FirstHits(part.reshape(height, width), depth.reshape(height, width))

    def cast(
        self, origins: NDArray[np.float64], rays: NDArray[np.float64]
    ) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
        """First part and distance along each unit ray, shapes (n,); glass is looked through."""
        part, depth = self._cast_once(origins, rays)
        glass = self._glass[part]
        if glass.any():
            start = origins[glass] + rays[glass] * (depth[glass, None] + 1e-4)
            behind, further = self._cast_once(start, rays[glass])
            part[glass], depth[glass] = behind, depth[glass] + further
        return part, depth

    def _cast_once(
        self, origins: NDArray[np.float64], rays: NDArray[np.float64]
    ) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
        import drjit as dr

        mi = self._mi
        # A power-of-two count lets Dr.Jit reuse one launch size for every cast.
        origin = mi.Point3f(np.ascontiguousarray(origins.T, dtype=np.float32))
        direction = mi.Vector3f(np.ascontiguousarray(rays.T, dtype=np.float32))
        hit = self._scene.ray_intersect_preliminary(mi.Ray3f(origin, direction))
        ids = np.array(dr.reinterpret_array(mi.UInt32, hit.shape)).astype(np.int64)
        depth = np.array(hit.t).astype(np.float32)
        part = np.where(
            np.isfinite(depth), self._lookup[np.minimum(ids, len(self._lookup) - 1)], -1
        )
        return part.astype(np.int32), depth


def _surface(mi: Any, material: Material) -> dict[str, Any]:
    if material.glass:
        return {"type": "thindielectric"}
    # Always a bitmap, one pixel for plain colours: one texture class, one kernel.
    texture = material.texture
    if texture is None:
        bitmap, raw = np.full((1, 1, 3), material.color, dtype=np.float32), True
    else:
        bitmap, raw = np.ascontiguousarray(texture), False
    return {
        "type": "twosided",
        "bsdf": {
            "type": "principled",
            "base_color": {"type": "bitmap", "bitmap": mi.Bitmap(bitmap), "raw": raw},
            "roughness": float(np.clip(material.roughness, 0.05, 1.0)),
            "metallic": float(material.metallic),
            "specular": float(np.clip(material.specular, 0.02, 1.0)),
            "clearcoat": float(material.clearcoat),
            "clearcoat_gloss": 0.9,
        },
    }


def _hidden_pane(mi: Any) -> dict[str, Any]:
    far_down = mi.ScalarTransform4f().translate([0, 0, -90]).scale(0.01)
    return {"type": "rectangle", "to_world": far_down, "bsdf": {"type": "thindielectric"}}


def _mesh(mi: Any, part: Part, surface: Any) -> Any:
    vertices, faces, uv, normals = corners_of(part)
    properties = mi.Properties()
    properties["bsdf"] = surface
    mesh = mi.Mesh(
        part.name,
        len(vertices),
        len(faces),
        has_vertex_normals=True,
        has_vertex_texcoords=True,
        props=properties,
    )
    handle = mi.traverse(mesh)
    handle["vertex_positions"] = np.ravel(vertices).astype(np.float32)
    handle["vertex_normals"] = np.ravel(normals).astype(np.float32)
    handle["vertex_texcoords"] = np.ravel(uv).astype(np.float32)
    handle["faces"] = np.ravel(faces).astype(np.uint32)
    handle.update()
    return mesh
