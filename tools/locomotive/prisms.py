"""Sheets and plates: polygons with holes, extruded; ribbons and lofts; rivets."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tools.locomotive.solids import Mesh, grid, join, runs

Loop = tuple[tuple[float, float], ...]


def _area(p: Sequence[tuple[float, float]]) -> float:
    q = np.asarray(p, float)
    r = np.roll(q, -1, axis=0)
    return float(0.5 * (q[:, 0] * r[:, 1] - r[:, 0] * q[:, 1]).sum())


def _bridged(
    outer: Sequence[tuple[float, float]], holes: Sequence[Loop]
) -> list[tuple[float, float]]:
    """One loop: every hole joined to the outline by a doubled cut at its right end."""
    loop = list(outer)
    for hole in sorted(holes, key=lambda h: -max(p[0] for p in h)):
        inner = list(hole) if _area(hole) < 0 else list(hole)[::-1]
        k = max(range(len(inner)), key=lambda i: inner[i][0])
        inner = inner[k:] + inner[:k]
        hx, hy = inner[0]
        best = _seen_from(loop, hx, hy)
        loop = [*loop[: best + 1], *inner, inner[0], *loop[best:]]
    return loop


def _seen_from(loop: list[tuple[float, float]], hx: float, hy: float) -> int:
    """The nearest outline corner that a straight cut from the hole reaches."""
    order = sorted(range(len(loop)), key=lambda i: (loop[i][0] - hx) ** 2 + (loop[i][1] - hy) ** 2)
    p = np.asarray(loop)
    q = np.roll(p, -1, axis=0)
    for i in order:
        if loop[i][0] < hx - 1e-12:
            continue
        d = p[i] - (hx, hy)
        side_p = d[0] * (p[:, 1] - hy) - d[1] * (p[:, 0] - hx)
        side_q = d[0] * (q[:, 1] - hy) - d[1] * (q[:, 0] - hx)
        e = q - p
        side_h = e[:, 0] * (hy - p[:, 1]) - e[:, 1] * (hx - p[:, 0])
        side_i = e[:, 0] * (p[i, 1] - p[:, 1]) - e[:, 1] * (p[i, 0] - p[:, 0])
        if not ((side_p * side_q < -1e-15) & (side_h * side_i < -1e-15)).any():
            return i
    return order[0]


@lru_cache(maxsize=512)
def _ears(loop: Loop) -> tuple[tuple[int, int, int], ...]:
    """Ear clipping of a counter-clockwise loop."""
    p = np.asarray(loop, float)
    left = list(range(len(p)))
    out: list[tuple[int, int, int]] = []
    at = 0
    tries = 0
    while len(left) > 3 and tries < len(left):
        a, b, c = (left[(at + k) % len(left)] for k in (-1, 0, 1))
        if _is_ear(p, a, b, c, left):
            out.append((a, b, c))
            left.pop(at % len(left))
            at, tries = at % len(left), 0
            at += 1  # moving on keeps the triangles fat
        else:
            at, tries = at + 1, tries + 1
    if len(left) >= 3:
        out += [(left[0], left[k], left[k + 1]) for k in range(1, len(left) - 1)]
    return tuple(out)


def _is_ear(p: NDArray[np.float64], a: int, b: int, c: int, left: list[int]) -> bool:
    (ax, ay), (bx, by), (cx, cy) = p[a], p[b], p[c]
    if (bx - ax) * (cy - ay) - (by - ay) * (cx - ax) <= 1e-14:
        return False
    q = p[left]
    s1 = (bx - ax) * (q[:, 1] - ay) - (by - ay) * (q[:, 0] - ax)
    s2 = (cx - bx) * (q[:, 1] - by) - (cy - by) * (q[:, 0] - bx)
    s3 = (ax - cx) * (q[:, 1] - cy) - (ay - cy) * (q[:, 0] - cx)
    inside = (s1 > -1e-13) & (s2 > -1e-13) & (s3 > -1e-13)
    for corner in (p[a], p[b], p[c]):
        inside &= np.abs(q - corner).max(1) > 1e-10
    return not inside.any()


def _inset(loop: NDArray[np.float64], by: float) -> NDArray[np.float64]:
    """A counter-clockwise loop moved inwards by `by` (outwards for a hole)."""
    before, after = loop - np.roll(loop, 1, 0), np.roll(loop, -1, 0) - loop
    n1 = np.stack([-before[:, 1], before[:, 0]], 1)
    n2 = np.stack([-after[:, 1], after[:, 0]], 1)
    n1 /= np.maximum(np.linalg.norm(n1, axis=1, keepdims=True), 1e-12)
    n2 /= np.maximum(np.linalg.norm(n2, axis=1, keepdims=True), 1e-12)
    n = n1 + n2
    n *= 2.0 / np.maximum((n * n).sum(1, keepdims=True), 1.0)
    return loop + by * n


def prism(
    outline: ArrayLike,
    depth: tuple[float, float],
    plane: str = "xz",
    *,
    holes: Sequence[ArrayLike] = (),
    bevel: float = 0.0,
) -> Mesh:
    """A plate: a polygon with holes, extruded.

    Parameters
    ----------
    outline : array_like, shape (n, 2)
        The polygon in its plane: "xz" (depth along y), "yz" (along x) or "xy" (along z).
    depth : tuple of float
        Start and end along the third axis.
    holes : sequence of array_like, shape (k, 2)
    bevel : float
        Width of the cut along the outer edges; it catches light.
    """
    loops = [np.asarray(outline, float), *(np.asarray(h, float) for h in holes)]
    loops = [q if (_area(q) > 0) == (i == 0) else q[::-1] for i, q in enumerate(loops)]
    low, high = min(depth), max(depth)
    bevel = min(bevel, 0.45 * (high - low))
    faces = [_inset(q, bevel) if bevel else q for q in loops]
    whole = _bridged([tuple(p) for p in faces[0]], [tuple(map(tuple, h)) for h in faces[1:]])
    tris = np.array(_ears(tuple((float(a), float(b)) for a, b in whole)), np.int64).reshape(-1, 3)
    flat = np.asarray(whole)
    sheets = [Mesh(_lift(flat, high, plane), tris), Mesh(_lift(flat, low, plane), tris[:, ::-1])]
    for edge, face in zip(loops, faces, strict=True):
        rings = [(face, low), (edge, low + bevel), (edge, high - bevel), (face, high)]
        rings = rings if bevel else [(edge, low), (edge, high)]
        for (p, a), (q, b) in itertools.pairwise(rings):
            sheets.append(_wall(p, q, a, b, plane))
    whole_mesh = join(sheets)
    # x, z, y is a left-handed order of axes.
    return Mesh(whole_mesh.v, whole_mesh.f[:, ::-1]) if plane == "xz" else whole_mesh


def _lift(p: NDArray[np.float64], at: float, plane: str) -> NDArray[np.float64]:
    w = np.full(len(p), at)
    u, v = p[:, 0], p[:, 1]
    return np.stack({"xz": (u, w, v), "yz": (w, u, v), "xy": (u, v, w)}[plane], 1)


def _wall(p: NDArray[np.float64], q: NDArray[np.float64], a: float, b: float, plane: str) -> Mesh:
    """The band between two loops of the same length, split at sharp corners."""
    both = np.concatenate([p, q], 1)
    sheets = []
    for run in runs(both, closed=True):
        sheets.append(grid(np.stack([_lift(run[:, :2], a, plane), _lift(run[:, 2:], b, plane)])))
    return join(sheets)


def loft(sections: NDArray[np.float64]) -> Mesh:
    """A skin over cross-sections (n, k, 3), split where the first section bends sharply."""
    sheets = []
    mid = sections[len(sections) // 2]
    index = np.arange(len(mid), dtype=float)[:, None]
    pieces = _cut_index(mid) if len(mid) > 2 else [np.arange(len(index))]
    for columns in pieces:
        sheets.append(grid(sections[:, columns]))
    return join(sheets)


def _cut_index(points: NDArray[np.float64]) -> list[NDArray[np.int64]]:
    step = np.diff(points, axis=0)
    unit = step / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-12)
    sharp = np.nonzero((unit[1:] * unit[:-1]).sum(1) < 0.8)[0] + 1
    cuts = [0, *sharp.tolist(), len(points) - 1]
    return [np.arange(a, b + 1) for a, b in itertools.pairwise(cuts)]


def ribbon(path: ArrayLike, thickness: float) -> NDArray[np.float64]:
    """The outline of a band of `thickness` hanging under a polyline (n, 2) read in +x order."""
    p = np.asarray(path, float)
    step = np.diff(p, axis=0)
    normal = np.stack([step[:, 1], -step[:, 0]], 1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    n = np.concatenate([normal[:1], normal[:-1] + normal[1:], normal[-1:]])
    n *= np.array(2.0) / np.maximum((n * n).sum(1, keepdims=True), 1.0) * 1.0
    n[0], n[-1] = normal[0], normal[-1]
    return np.concatenate([p, (p + thickness * n)[::-1]])


def rivets(points: ArrayLike, normal: ArrayLike, radius: float) -> Mesh:
    """Small domed heads at points (n, 3), pointing along `normal` (3,) or (n, 3)."""
    p = np.asarray(points, float).reshape(-1, 3)
    if not len(p):
        return join([])
    n = np.broadcast_to(np.asarray(normal, float), p.shape)
    n = n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-12)
    helper = np.where(np.abs(n[:, :1]) > 0.8, [[0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0]])
    u = np.cross(n, helper)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    w = np.cross(n, u)
    angle = np.linspace(0, 2 * np.pi, 6, endpoint=False)
    ring = np.cos(angle)[None, :, None] * u[:, None] + np.sin(angle)[None, :, None] * w[:, None]
    top = p[:, None] + radius * (0.6 * ring + 0.55 * n[:, None])
    v = np.concatenate([p[:, None] + radius * ring, top, p[:, None] + 0.7 * radius * n[:, None]], 1)
    k = np.arange(6)
    j = (k + 1) % 6
    twelve = np.full(6, 12)
    f = np.concatenate(
        [np.stack(t, 1) for t in ((k, j, 6 + j), (k, 6 + j, 6 + k), (6 + k, 6 + j, twelve))]
    )
    return Mesh(v.reshape(-1, 3), (f[None] + 13 * np.arange(len(p))[:, None, None]).reshape(-1, 3))
