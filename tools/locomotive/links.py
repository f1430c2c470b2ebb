"""Expansion links and what they are hung from; the left side, part of the extra linkage."""

from __future__ import annotations

import numpy as np

from tools.locomotive.prisms import prism
from tools.locomotive.solids import Mesh, arc, box, rod, round_rect, span, tube

LINK_SHAPES = ("curved", "box", "pear", "open", "closed", "solid")
HANGERS = ("bracket", "plate", "yoke", "girder", "post")


def link_of(shape: str, x: float, z: float, *, half: float, y: float, t: float) -> list[Mesh]:
    """A link of one of `LINK_SHAPES`; its trunnion is at (x, z), it reaches `half` either way."""
    w = 0.2 * half + 0.02
    depth = (y - 0.5 * t, y + 0.5 * t)
    pin = rod(0.16 * half, y - t, y + 1.3 * t, "y", 12).moved(x, 0, z)
    if shape == "box":
        body = box([x, y, z], [2.2 * w, t, 2 * half], 0.15 * t)
        cheeks = [
            box([x + dx, y + 0.6 * t, z], [0.5 * w, 0.5 * t, 2.05 * half], 0.01) for dx in (-w, w)
        ]
        caps = [
            box([x, y + 0.5 * t, z + dz], [2.6 * w, 0.8 * t, 0.2 * half], 0.01)
            for dz in (-half, half)
        ]
        return [body, *cheeks, *caps, pin]
    if shape == "pear":
        outline = [
            *arc(x, z - 0.55 * half, 2.1 * w, np.pi, 2 * np.pi, 8),
            *arc(x, z + 0.75 * half, 1.1 * w, 0.0, np.pi, 6),
        ]
        hole = arc(x, z - 0.5 * half, 1.1 * w, 0.0, 2 * np.pi, 10)[:-1]
        return [prism(outline, depth, holes=[hole], bevel=0.1 * t), pin]
    if shape == "closed":
        outline = round_rect((x - 1.3 * w, x + 1.3 * w), (z - half, z + half), 1.25 * w, 5)
        slot = round_rect((x - 0.5 * w, x + 0.5 * w), (z - 0.8 * half, z + 0.8 * half), 0.5 * w)
        return [prism(outline, depth, holes=[slot], bevel=0.1 * t), pin]
    # Struck from a centre behind: a curved bar, its slot shut, open above or not cut at all.
    r, span_a = 2.6 * half, 0.39
    cx = x - r
    outer = arc(cx, z, r + 1.2 * w, -span_a, span_a, 8)
    inner = arc(cx, z, r - 1.2 * w, span_a, -span_a, 8)
    if shape == "open":
        cut = arc(cx, z, r - 0.45 * w, span_a, -0.3, 7) + arc(cx, z, r + 0.45 * w, -0.3, span_a, 7)
        edge = arc(cx, z, r - 1.2 * w, -span_a, span_a, 8)
        return [prism(_fork(outer, cut, edge), depth), pin]
    slot = arc(cx, z, r + 0.4 * w, -0.3, 0.3, 6) + arc(cx, z, r - 0.4 * w, 0.3, -0.3, 6)
    plate = prism(outer + inner, depth, holes=[slot] if shape == "curved" else [], bevel=0.1 * t)
    return [plate, pin]


def _fork(
    outer: list[tuple[float, float]],
    cut: list[tuple[float, float]],
    edge: list[tuple[float, float]],
) -> list[tuple[float, float]]:
    """Outline of a link whose slot is open at the top: up outside, down and up the slot."""
    half = len(cut) // 2
    return outer + cut[half:][::-1] + cut[:half][::-1] + edge[::-1]


def hanger_of(
    kind: str, x: float, z: float, under: float, *, half: float, y: float, t: float, ahead: float
) -> list[Mesh]:
    """What carries a link at (x, z) below a running board whose underside is at `under`."""
    behind = (y - 1.6 * t, y - 0.9 * t)
    top = max(under + 0.06, z + 0.1)
    if kind == "plate":
        rim = [
            (x - 0.9 * half, top),
            (x + 0.9 * half, top),
            (x + 0.7 * half, z - 0.35 * half),
            (x - 0.7 * half, z - 0.35 * half),
        ]
        middle = 0.5 * (top + z)
        wide = 0.28 * min(half, top - z)
        hole = arc(x, middle, wide, 0.0, 2 * np.pi, 10)[:-1]
        return [prism(rim, behind, holes=[hole] if wide > 0.05 else [], bevel=0.006)]
    if kind == "yoke":
        posts = [
            span((x + dx - 0.03, x + dx + 0.03), (y - 0.08, y + 0.08), (z - 1.1 * half, top), 0.01)
            for dx in (-0.62 * half, 0.62 * half)
        ]
        sill = span(
            (x - 0.7 * half, x + 0.7 * half),
            (y - 0.08, y + 0.08),
            (z - 1.2 * half, z - 1.05 * half),
            0.01,
        )
        return [*posts, sill]
    if kind == "girder":
        beams = [
            span((x - 0.75 * half, ahead), behind, (z + dz - 0.03, z + dz + 0.03), 0.006)
            for dz in (0.62 * half, -0.2 * half)
        ]
        post = span((x - 0.8 * half, x - 0.62 * half), behind, (z - 0.3 * half, top), 0.006)
        return [*beams, post]
    if kind == "post":
        return [tube([[x, y - t, z - 0.02], [x, y - t, top]], 0.03, 8)]
    wedge = [
        (x - 0.6 * half, top),
        (x + 0.4 * half, top),
        (x + 0.2 * half, z - 0.2 * half),
        (x - 0.2 * half, z - 0.2 * half),
    ]
    return [prism(wedge, (y + 0.7 * t, y + 1.3 * t), bevel=0.005)]
