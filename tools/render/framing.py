"""A border round some pictures; mask and label move with it."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools import camera

_BORDER_SHARE = 0.08  # pictures with a print's or a listing's border


def framed(
    rng: np.random.Generator,
    picture: NDArray[np.uint8],
    mask: NDArray[np.uint8],
    truth: dict[str, Any],
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], dict[str, Any]]:
    """Lay a print's or a listing's border round some pictures; move mask and label with it."""
    if rng.random() > _BORDER_SHARE:
        return picture, mask, truth
    bordered, offset, factor = camera.frame(rng, picture)
    move = np.array([[factor, 0, offset[0]], [0, factor, offset[1]]], dtype=np.float64)
    size = (bordered.shape[1], bordered.shape[0])
    mask = cv2.warpAffine(mask, move, size, flags=cv2.INTER_NEAREST)

    def point(x: float, y: float) -> list[float]:
        return np.round(move @ (x, y, 1.0), 1).tolist()

    def box(edges: list[float] | None) -> list[float] | None:
        return point(*edges[:2]) + point(*edges[2:]) if edges else None

    truth["size"] = list(size)
    truth["hard"] = [*truth.get("hard", []), "in a border"]
    for owner in ("locomotive", "tender"):
        truth[owner] = box(truth.get(owner))
    regions = truth.get("regions", {})
    truth["regions"] = {name: [point(x, y) for x, y in quad] for name, quad in regions.items()}
    for cue in truth.get("cues", {}).values():
        cue["where"] = box(cue["where"])
    return bordered, mask, truth
