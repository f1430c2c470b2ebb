"""Parts as both renderers want them: corners with normals and texture coordinates."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.parts import Part


def corners_of(part: Part) -> tuple[Any, Any, Any, Any]:
    """Vertices, faces, texture coordinates and normals; flat parts get split corners."""
    vertices, faces = part.vertices.astype(np.float32), part.faces
    uv = part.uv if part.uv is not None else np.zeros((len(vertices), 2), np.float32)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    if part.smooth:
        total = np.zeros_like(vertices)
        for corner in range(3):
            np.add.at(total, faces[:, corner], normal)
        return vertices, faces, uv, _unit(total)
    split = np.arange(faces.size).reshape(-1, 3)
    return (
        corners.reshape(-1, 3),
        split,
        uv[faces].reshape(-1, 2),
        np.repeat(_unit(normal), 3, axis=0),
    )


def _unit(vectors: NDArray[np.float32]) -> NDArray[np.float32]:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    unit: NDArray[np.float32] = vectors / np.maximum(length, 1e-12)
    return unit
