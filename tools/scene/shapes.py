"""Triangle meshes of plain solids: the stuff that rooms and clutter are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mesh:
    """Vertices (n, 3) metres, faces (m, 3), uv (n, 2); `smooth` asks for vertex normals."""

    vertices: Floats
    faces: NDArray[np.int32]
    uv: Floats
    smooth: bool = False

    def moved(self, matrix: Floats) -> Mesh:
        """The mesh under a 4 x 4 rigid or affine `matrix`."""
        return replace(self, vertices=self.vertices @ matrix[:3, :3].T + matrix[:3, 3])

    def at(self, x: float, y: float, z: float, *, yaw: float = 0.0) -> Mesh:
        """The mesh turned by `yaw` radians about z, then shifted."""
        return self.moved(shift(x, y, z) @ turn("z", yaw))

    def bounds(self) -> tuple[Floats, Floats]:
        return self.vertices.min(0), self.vertices.max(0)


def shift(x: float, y: float, z: float) -> Floats:
    """Translation as a 4 x 4 matrix."""
    matrix = np.eye(4)
    matrix[:3, 3] = x, y, z
    return matrix


def turn(axis: str, angle: float) -> Floats:
    """Right-handed rotation by `angle` radians about "x", "y" or "z", 4 x 4."""
    c, s = np.cos(angle), np.sin(angle)
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    matrix = np.eye(4)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = -s, s
    return matrix


def join(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh of many; smooth if the first is."""
    starts = np.cumsum([0] + [len(m.vertices) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + s for m, s in zip(meshes, starts, strict=True)]),
        np.concatenate([m.uv for m in meshes]),
        meshes[0].smooth,
    )


def _grid_faces(rows: int, cols: int) -> NDArray[np.int32]:
    index = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    return np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    ).astype(np.int32)


def sheet(size_x: float, size_y: float, *, tile: float | None = None) -> Mesh:
    """A flat rectangle facing +z, centred; uv 0..1 across it, or metres / `tile`.

    A picture on it (v = 0 is its top row) stands upright for a viewer on the +y side.
    """
    x, y = size_x / 2, size_y / 2
    vertices = np.array([[-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0]], float)
    uv = np.array([[1, 0], [0, 0], [0, 1], [1, 1]], float)
    if tile is not None:
        uv = vertices[:, :2] / tile
    return Mesh(vertices, np.array([[0, 1, 2], [0, 2, 3]], np.int32), uv)


def wall(size_x: float, height: float, *, tile: float | None = None) -> Mesh:
    """An upright rectangle facing +y, its lower edge on z = 0."""
    # A sheet tipped up towards the viewer, who sees +x on the left: prints read right.
    flat = sheet(size_x, height, tile=tile).moved(turn("z", np.pi))
    upright = shift(0, 0, height / 2) @ turn("z", np.pi) @ turn("x", np.pi / 2)
    return flat.moved(upright)


def box(size: tuple[float, float, float], *, tile: float | None = None) -> Mesh:
    """A box standing on z = 0, centred in x and y; every face has its own uv."""
    x, y, z = size
    h = np.pi / 2
    sides = [
        wall(x, z, tile=tile).at(0, y / 2, 0),
        wall(x, z, tile=tile).at(0, -y / 2, 0, yaw=np.pi),
        wall(y, z, tile=tile).at(x / 2, 0, 0, yaw=-h),
        wall(y, z, tile=tile).at(-x / 2, 0, 0, yaw=h),
        sheet(x, y, tile=tile).at(0, 0, z),
        sheet(x, y, tile=tile).moved(turn("x", np.pi)),
    ]
    return join(sides)


def lathe(profile: Sequence[tuple[float, float]], *, segments: int = 20) -> Mesh:
    """The (radius, z) `profile` spun about z; smooth."""
    radius, z = np.asarray(profile, float).T
    angle = np.linspace(0, 2 * np.pi, segments + 1)
    vertices = np.stack(
        [
            radius[:, None] * np.cos(angle),
            radius[:, None] * np.sin(angle),
            np.broadcast_to(z[:, None], (len(z), segments + 1)),
        ],
        -1,
    ).reshape(-1, 3)
    u, v = np.meshgrid(angle / (2 * np.pi), np.linspace(0, 1, len(z)))
    uv = np.stack([u.ravel(), v.ravel()], -1)
    return Mesh(vertices, _grid_faces(len(z), segments + 1), uv, True)


def cylinder(radius: float, height: float, *, segments: int = 20) -> Mesh:
    """A closed cylinder on z = 0."""
    r = radius
    # Doubled rims keep the smooth normals from rolling over the edge.
    profile = [(0, 0), (r, 0), (r, 0), (r, height), (r, height), (0, height)]
    return lathe(profile, segments=segments)


def blob(
    radii: tuple[float, float, float],
    *,
    roughness: float = 0.0,
    rng: np.random.Generator | None = None,
    rings: int = 8,
) -> Mesh:
    """An ellipsoid about the origin; `roughness` (0..1 of the radius) makes it lumpy."""
    polar = np.linspace(0, np.pi, rings + 1)
    mesh = lathe([(np.sin(p), -np.cos(p)) for p in polar], segments=2 * rings)
    vertices = mesh.vertices
    if roughness and rng is not None:
        cols = 2 * rings + 1
        bump = rng.uniform(1 - roughness, 1 + roughness, (rings + 1, cols))
        bump[:, -1] = bump[:, 0]
        bump[0], bump[-1] = bump[0, 0], bump[-1, 0]
        vertices = vertices * bump.reshape(-1, 1)
    return replace(mesh, vertices=vertices * np.asarray(radii))


def prism(outline: Floats, height: float) -> Mesh:
    """A convex outline (k, 2), counter-clockwise, extruded from z = 0 to `height`."""
    k = len(outline)
    low = np.column_stack([outline, np.zeros(k)])
    high = np.column_stack([outline, np.full(k, height)])
    nxt = np.roll(np.arange(k), -1)
    quads = np.stack([low, low[nxt], high[nxt], high], 1).reshape(-1, 3)
    base = 4 * np.arange(k)[:, None]
    side = np.concatenate([base + [0, 1, 2], base + [0, 2, 3]])
    fan = np.stack([np.zeros(k - 2, int), np.arange(1, k - 1), np.arange(2, k)], -1)
    top, bottom = fan + 4 * k, fan[:, ::-1] + 5 * k
    vertices = np.concatenate([quads, high, low])
    uv = np.concatenate([np.tile([[0, 0], [1, 0], [1, 1], [0, 1]], (k, 1)), outline, outline])
    return Mesh(vertices, np.concatenate([side, top, bottom]).astype(np.int32), uv.astype(float))


def tube(path: Floats, radius: float | Floats, *, segments: int = 8) -> Mesh:
    """A round bar along `path` (k, 3) with `radius` along it; ends closed to points."""
    path = np.asarray(path, float)
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True) + 1e-12
    helper = np.where(np.abs(along[:, 2:]) < 0.9, [[0.0, 0, 1]], [[1.0, 0, 0]])
    side = np.cross(along, helper)
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    over = np.cross(side, along)
    angle = np.linspace(0, 2 * np.pi, segments + 1)
    radii = np.broadcast_to(np.asarray(radius, float), len(path))[:, None, None]
    ring = (
        np.cos(angle)[None, :, None] * side[:, None] + np.sin(angle)[None, :, None] * over[:, None]
    )
    body = path[:, None] + radii * ring
    ends = [np.broadcast_to(path[i], (1, segments + 1, 3)) for i in (0, -1)]
    rings = np.concatenate([ends[0], body, ends[1]])
    u, v = np.meshgrid(angle / (2 * np.pi), np.linspace(0, 1, len(rings)))
    uv = np.stack([u.ravel(), v.ravel()], -1)
    return Mesh(rings.reshape(-1, 3), _grid_faces(len(rings), segments + 1)[:, ::-1], uv, True)


def terrain(xs: Floats, ys: Floats, heights: Floats, *, tile: float) -> Mesh:
    """A height field: `heights` (len(ys), len(xs)) metres; uv in metres / `tile`."""
    x, y = np.meshgrid(xs, ys)
    vertices = np.stack([x.ravel(), y.ravel(), heights.ravel()], -1)
    # Slope is added to the uv so that steep banks do not smear the texture.
    uv = np.stack([x.ravel(), y.ravel() + heights.ravel()], -1) / tile
    return Mesh(vertices, _grid_faces(len(ys), len(xs)), uv, True)


def leaf_cloud(
    rng: np.random.Generator, radii: tuple[float, float, float], *, leaf: float, count: int
) -> Mesh:
    """`count` loose triangles of size `leaf` filling an ellipsoid's outer part."""
    way = rng.standard_normal((count, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    at = way * rng.uniform(0.55, 1.0, (count, 1)) * np.asarray(radii)
    corners = at[:, None] + leaf * rng.standard_normal((count, 3, 3)) * 0.6
    faces = np.arange(3 * count, dtype=np.int32).reshape(-1, 3)
    return Mesh(corners.reshape(-1, 3), faces, np.zeros((3 * count, 2)))
