"""Where points land in a picture, and the cameras' matrices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

NEAR, FAR = 0.005, 100.0  # metres, before and beyond which nothing is drawn


def axes_of(pose: Any) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Origin, target and up vector of a camera, metres."""
    return (
        np.asarray(pose.origin, float),
        np.asarray(pose.target, float),
        np.asarray(pose.up, float),
    )


def camera_basis(pose: Any) -> NDArray[np.float64]:
    """Right, down and forward unit vectors of a camera, shape (3, 3)."""
    origin, target, up = axes_of(pose)
    forward = (target - origin) / np.linalg.norm(target - origin)
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(forward, right), forward])


def project(
    points: NDArray[np.float64], pose: Any, fov_deg: float, size: tuple[int, int]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pixel coordinates (n, 2), x right, y down, and depth along the axis (n,) of points."""
    basis = camera_basis(pose)
    local = (np.asarray(points, float) - axes_of(pose)[0]) @ basis.T
    focal = size[0] / 2.0 / np.tan(np.radians(fov_deg) / 2.0)
    depth = np.maximum(local[:, 2], 1e-6)
    pixels = local[:, :2] / depth[:, None] * focal + np.array(size) / 2.0
    return pixels, local[:, 2]


def looking(basis: NDArray[np.float64], eye: NDArray[np.float64]) -> NDArray[np.float64]:
    """World to OpenGL's camera axes: x right, y up, z backwards."""
    axes = np.stack([basis[0], -basis[1], -basis[2]])
    view = np.eye(4)
    view[:3, :3], view[:3, 3] = axes, -axes @ np.asarray(eye, float)
    return view


def lens(fov_deg: float, aspect: float) -> NDArray[np.float64]:
    """Perspective of a horizontal field of view; `aspect` is height over width."""
    f = 1.0 / np.tan(np.radians(fov_deg) / 2)
    a, b = (FAR + NEAR) / (NEAR - FAR), 2 * FAR * NEAR / (NEAR - FAR)
    return np.array([[f, 0, 0, 0], [0, f / aspect, 0, 0], [0, 0, a, b], [0, 0, -1.0, 0]])


def perspective(pose: Any, fov_deg: float, size: tuple[int, int]) -> NDArray[np.float64]:
    """World to clip space of a camera, shape (4, 4)."""
    return lens(fov_deg, size[1] / size[0]) @ looking(camera_basis(pose), pose.origin)


def parallel(
    along: NDArray[np.float64], middle: NDArray[np.float64], radius: float
) -> NDArray[np.float64]:
    """Orthographic camera that looks at `middle` from where a distant light stands."""
    up = np.array([0.0, 0.0, 1.0]) if abs(along[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    right = np.cross(-along, up)
    right /= np.linalg.norm(right)
    basis = np.stack([right, np.cross(-along, right), -along])
    scale = np.diag([1 / radius, 1 / radius, -1 / (3 * radius), 1.0])
    return scale @ looking(basis, middle)


def in_sight(camera: NDArray[np.float64], balls: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which balls (n, 4: middle, radius) reach into a camera's six planes.

    Planes as sums of rows of the camera's matrix: Gribb and Hartmann 2001, "Fast extraction
    of viewing frustum planes from the world-view-projection matrix".
    """
    rows = np.asarray(camera, float)
    planes = np.concatenate([rows[3] + rows[:3], rows[3] - rows[:3]])
    planes /= np.linalg.norm(planes[:, :3], axis=1, keepdims=True)
    apart = balls[:, :3] @ planes[:, :3].T + planes[:, 3]
    return np.asarray((apart > -balls[:, 3:]).all(axis=1))


def distances(depth: NDArray[np.float32], fov_deg: float) -> NDArray[np.float64]:
    """Metres along each pixel's ray from a depth buffer (height, width) of values 0 to 1."""
    along = 2 * FAR * NEAR / (FAR + NEAR - (2.0 * depth.astype(np.float64) - 1) * (FAR - NEAR))
    rows, columns = depth.shape
    focal = columns / 2 / np.tan(np.radians(fov_deg) / 2)
    x = (np.arange(columns) + 0.5 - columns / 2) / focal
    y = (np.arange(rows) + 0.5 - rows / 2) / focal
    result: NDArray[np.float64] = along * np.sqrt(1 + x[None, :] ** 2 + y[:, None] ** 2)
    return result


def share_along(region: Sequence[Sequence[float]], point: tuple[float, float]) -> float:
    """How far along a region, straightened, a point of the picture lies, 0 to 1."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(np.asarray(region, dtype=np.float32), square)
    x, _, w = matrix @ (*point, 1.0)
    return float(np.clip(x / w, 0.0, 1.0))
