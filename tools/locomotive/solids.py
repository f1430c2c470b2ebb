"""Triangle-mesh primitives: lathe, tube, box, prism, loft.

Vertices are doubled along sharp edges, so every mesh can be shown with
interpolated normals: round bodies shade smoothly, edges stay crisp.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

CREASE = np.cos(np.radians(32.0))  # sharper bends split the normals; chosen by eye


@dataclass(frozen=True, slots=True)
class Mesh:
    """Vertices (n, 3) and triangles (m, 3)."""

    v: NDArray[np.float64]
    f: NDArray[np.int64]

    def moved(self, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Mesh:
        """Shifted by (x, y, z)."""
        return Mesh(self.v + np.array([x, y, z]), self.f)

    def turned(self, axis: str, angle: float, about: ArrayLike = (0.0, 0.0, 0.0)) -> Mesh:
        """Turned by `angle` radians round the axis "x", "y" or "z" through `about`."""
        i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
        p = self.v - np.asarray(about, float)
        out = p.copy()
        out[:, i] = np.cos(angle) * p[:, i] - np.sin(angle) * p[:, j]
        out[:, j] = np.sin(angle) * p[:, i] + np.cos(angle) * p[:, j]
        return Mesh(out + np.asarray(about, float), self.f)

    def mirrored(self) -> Mesh:
        """The same thing on the engine's other side (y negated)."""
        return Mesh(self.v * np.array([1.0, -1.0, 1.0]), self.f[:, ::-1])

    def stretched(self, x: float = 1.0, y: float = 1.0, z: float = 1.0) -> Mesh:
        """Scaled along each axis about the origin."""
        return Mesh(self.v * np.array([x, y, z]), self.f)


def join(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh of many; an empty sequence gives an empty mesh."""
    meshes = [m for m in meshes if len(m.f)]
    if not meshes:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    starts = np.cumsum([0] + [len(m.v) for m in meshes[:-1]])
    faces = [m.f + s for m, s in zip(meshes, starts, strict=True)]
    return Mesh(np.concatenate([m.v for m in meshes]), np.concatenate(faces))


def grid(points: NDArray[np.float64]) -> Mesh:
    """A sheet over points (rows, columns, 3)."""
    rows, cols = points.shape[:2]
    i = np.arange(rows - 1)[:, None] * cols + np.arange(cols - 1)[None, :]
    a, b, c, d = i.ravel(), (i + 1).ravel(), (i + cols + 1).ravel(), (i + cols).ravel()
    f = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return Mesh(points.reshape(-1, 3), f)


def runs(points: ArrayLike, closed: bool = False) -> list[NDArray[np.float64]]:
    """A polyline (n, k) cut at its sharp corners into smooth runs."""
    p = np.asarray(points, float)
    if closed:
        p = np.concatenate([p, p[:1]])
    step = np.diff(p, axis=0)
    length = np.linalg.norm(step, axis=1)
    keep = length > 1e-9
    if not keep.all():
        p = np.concatenate([p[:1], p[1:][keep]])
        step, length = step[keep], length[keep]
    unit = step / length[:, None]
    sharp = np.nonzero((unit[1:] * unit[:-1]).sum(1) < CREASE)[0] + 1
    cuts = [0, *sharp.tolist(), len(p) - 1]
    return [p[a : b + 1] for a, b in itertools.pairwise(cuts)]


def lathe(profile: ArrayLike, axis: str = "z", segments: int = 24) -> Mesh:
    """A profile of (distance along the axis, radius) points revolved round an axis."""
    angle = np.linspace(0.0, 2.0 * np.pi, segments + 1)
    cos, sin = np.cos(angle), np.sin(angle)
    sheets = []
    for run in runs(profile):
        along = np.repeat(run[:, :1], segments + 1, axis=1)
        u, w = run[:, 1:] * cos, run[:, 1:] * sin
        order = {"x": (along, u, w), "y": (w, along, u), "z": (u, w, along)}[axis]
        sheets.append(grid(np.stack(order, axis=-1)))
    mesh = join(sheets)
    p = np.asarray(profile, float)
    around = float((np.diff(p[:, 0]) * (p[1:, 1] + p[:-1, 1]) ** 2).sum())
    return mesh if around >= 0 else Mesh(mesh.v, mesh.f[:, ::-1])


def rod(radius: float, start: float, end: float, axis: str = "z", segments: int = 16) -> Mesh:
    """A cylinder with slightly rounded ends."""
    e = 0.15 * radius * np.sign(end - start)
    b = 0.85 * radius
    return lathe(
        [(start, 0), (start, b), (start + e, radius), (end - e, radius), (end, b), (end, 0)],
        axis,
        segments,
    )


def ball(radius: float, segments: int = 14) -> Mesh:
    """A sphere round the origin."""
    a = np.linspace(-np.pi / 2, np.pi / 2, max(segments // 2, 4) + 1)
    return lathe(np.stack([radius * np.sin(a), radius * np.cos(a)], 1), "z", segments)


def tube(points: ArrayLike, radius: float | ArrayLike, segments: int = 8) -> Mesh:
    """A round bar along a polyline (n, 3), closed at both ends."""
    p = np.asarray(points, float)
    r = np.broadcast_to(np.asarray(radius, float), (len(p),))
    tangent = np.gradient(p, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    normal = np.cross(tangent[0], [0.0, 0.0, 1.0])
    if np.linalg.norm(normal) < 0.2:
        normal = np.cross(tangent[0], [0.0, 1.0, 0.0])
    angle = np.linspace(0.0, 2.0 * np.pi, segments + 1)[:, None]
    rings = np.empty((len(p), segments + 1, 3))
    for i in range(len(p)):
        normal = normal - tangent[i] * (normal @ tangent[i])
        normal /= np.linalg.norm(normal)
        other = np.cross(tangent[i], normal)
        rings[i] = p[i] + r[i] * (np.cos(angle) * normal + np.sin(angle) * other)
    ends = [fan(rings[0, ::-1][:-1]), fan(rings[-1][:-1])]
    return join([grid(rings), *ends])


def bend(points: ArrayLike, radius: float, steps: int = 4) -> NDArray[np.float64]:
    """A polyline (n, k) with each inner corner rounded by `radius`."""
    p = np.asarray(points, float)
    out = [p[0]]
    for before, here, after in zip(p[:-2], p[1:-1], p[2:], strict=True):
        a, b = before - here, after - here
        la, lb = np.linalg.norm(a), np.linalg.norm(b)
        reach = min(radius, 0.45 * la, 0.45 * lb)
        start, end = here + a / max(la, 1e-9) * reach, here + b / max(lb, 1e-9) * reach
        for t in np.linspace(0.0, 1.0, steps + 1):
            out.append((1 - t) ** 2 * start + 2 * t * (1 - t) * here + t**2 * end)
    out.append(p[-1])
    return np.array(out)


def fan(loop: ArrayLike) -> Mesh:
    """A flat convex polygon (n, 3)."""
    p = np.asarray(loop, float)
    k = np.arange(1, len(p) - 1)
    return Mesh(p, np.stack([np.zeros_like(k), k, k + 1], 1))


@lru_cache(maxsize=1)
def _bevel_pattern() -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Corner signs and (corner, axis) choices of the 26 faces of a bevelled box."""
    tris: list[tuple[tuple[tuple[int, int, int], int], ...]] = []
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        for s in (-1, 1):
            loop = []
            for sb, sc in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
                sign = [0, 0, 0]
                sign[a], sign[b], sign[c] = s, sb * s, sc
                loop.append(((sign[0], sign[1], sign[2]), a))
            tris += [(loop[0], loop[1], loop[2]), (loop[0], loop[2], loop[3])]
            for t in (-1, 1):
                ends = []
                for u in (-1, 1):
                    sign = [0, 0, 0]
                    sign[a], sign[b], sign[c] = s, t, u
                    ends.append((sign[0], sign[1], sign[2]))
                quad = ((ends[0], a), (ends[1], a), (ends[1], b), (ends[0], b))
                tris += [(quad[0], quad[1], quad[2]), (quad[0], quad[2], quad[3])]
                if a == 0:
                    tris += [((e, 0), (e, 1), (e, 2)) for e in ends]
    flat = [corner for tri in tris for corner in tri]
    return np.array([f[0] for f in flat]), np.array([f[1] for f in flat])


def box(center: ArrayLike, size: ArrayLike, bevel: float = 0.0) -> Mesh:
    """A box; its edges are cut by `bevel` (a zero bevel still costs a hair's breadth)."""
    half = 0.5 * np.abs(np.asarray(size, float))
    cut = min(max(bevel, 1e-5), 0.45 * half.min())
    signs, axes = _bevel_pattern()
    reach = np.repeat((half - cut)[None], len(signs), axis=0)
    k = np.arange(len(signs))
    reach[k, axes] += cut
    v = np.asarray(center, float) + signs * reach
    f = np.arange(len(v)).reshape(-1, 3)
    normal = np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]])
    outward = (normal * (v[f].mean(1) - np.asarray(center, float))).sum(1) > 0
    return Mesh(v, np.where(outward[:, None], f, f[:, ::-1]))


def span(
    x: tuple[float, float], y: tuple[float, float], z: tuple[float, float], bevel: float = 0.0
) -> Mesh:
    """A box given by its limits on each axis."""
    low, high = np.array([x[0], y[0], z[0]]), np.array([x[1], y[1], z[1]])
    return box((low + high) / 2, high - low, bevel)


def arc(
    cx: float, cy: float, r: float, start: float, end: float, steps: int = 8
) -> list[tuple[float, float]]:
    """Points of a circular arc, angles in radians."""
    angle = np.linspace(start, end, steps + 1)
    return [(float(cx + r * np.cos(a)), float(cy + r * np.sin(a))) for a in angle]


def round_rect(
    x: tuple[float, float], y: tuple[float, float], r: float, steps: int = 3
) -> list[tuple[float, float]]:
    """A rectangle with rounded corners, counter-clockwise."""
    r = min(r, 0.49 * (x[1] - x[0]), 0.49 * (y[1] - y[0]))
    h = np.pi / 2
    corners = ((x[1], y[0], -h), (x[1], y[1], 0.0), (x[0], y[1], h), (x[0], y[0], 2 * h))
    out: list[tuple[float, float]] = []
    for cx, cy, a in corners:
        sx, sy = (-1 if cx == x[1] else 1), (-1 if cy == y[1] else 1)
        out += arc(cx + sx * r, cy + sy * r, r, a, a + h, steps)
    return out
