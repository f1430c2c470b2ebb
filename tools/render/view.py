"""One camera on one stage: what it sees of which part, and where."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.render.projection import project
from tools.render.raytrace import FirstHits

# Bits of the mask that lies beside each picture.
MASK_BITS = {
    "switch_lever": 1,
    "side_linkage": 2,
    "edge_stripe": 4,
    "locomotive": 8,
    "tender": 16,
    "cab_number": 32,
    "tender_lamp": 64,
    "other": 128,
}


class View:
    """One camera on one stage, with the ray casts that its truth needs."""

    def __init__(self, stage: Any, pose: Any, fov_deg: float, size: tuple[int, int]) -> None:
        self.stage, self.pose, self.fov, self.size = stage, pose, fov_deg, size
        self.hits: FirstHits = stage.first_hits(pose, fov_deg, size)
        self.origin = np.asarray(pose.origin, float)

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        return project(points, self.pose, self.fov, self.size)[0]

    def in_sight(self, points: NDArray[np.float64], tolerance: float) -> NDArray[np.bool_]:
        """Which points are inside the frame with nothing more than `tolerance` m before them."""
        pixels, depth = project(points, self.pose, self.fov, self.size)
        inside = (depth > 0) & np.all((pixels >= 0) & (pixels < self.size), axis=1)
        offsets = points - self.origin
        distance = np.linalg.norm(offsets, axis=1)
        _, reach = self.stage.cast(
            np.broadcast_to(self.origin, offsets.shape), offsets / distance[:, None]
        )
        seen: NDArray[np.bool_] = inside & (reach > distance - tolerance)
        return seen

    def pixels_of(self, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Mask of the pixels that show one of the chosen parts of the stage."""
        return np.append(chosen, False)[self.hits.part]


def mask_of(view: View) -> NDArray[np.uint8]:
    """Which pixels show what, as a sum of MASK_BITS, shape (height, width)."""
    bits = [
        MASK_BITS.get(part.owner, 0)
        | (MASK_BITS.get(part.name, 0) if part.owner in ("locomotive", "tender") else 0)
        for part in view.stage.parts
    ]
    mask: NDArray[np.uint8] = np.array([*bits, 0], dtype=np.uint8)[view.hits.part]
    return mask


def box_of(pixels: NDArray[np.float64]) -> list[float]:
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    return [float(low[0]), float(low[1]), float(high[0]), float(high[1])]


def clip_box(box: list[float], size: tuple[int, int]) -> list[float] | None:
    left, right = (float(np.clip(v, 0, size[0])) for v in (box[0], box[2]))
    top, bottom = (float(np.clip(v, 0, size[1])) for v in (box[1], box[3]))
    if right - left < 4 or bottom - top < 4:
        return None
    return [round(v, 1) for v in (left, top, right, bottom)]
