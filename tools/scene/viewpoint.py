"""Where people hold the camera: sides, angles, framing, and nothing in the way."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from tools.scene.room import Pose, Room

Floats = NDArray[np.float64]
TRIES = 80
CLEARANCE = 0.02  # metres between the camera and any solid
SEEN_SHARE = 0.75  # of sample points on the engine that must be in plain sight


def distractor_slots(room: Room, length: float | None = None) -> list[Floats]:
    """Places (4, 4) for the middle of other vehicles, nearest first.

    Parameters
    ----------
    room : Room
    length : float, metres, or None
        The vehicle's. With it, places coupled to the engine are offered too, the
        vehicle drawn up to it, and places that are too short are left out. Without it
        only places beside the engine, where no length can reach it.
    """
    found = []
    for slot in room.slots:
        at = slot.to_world.copy()
        if slot.kind in ("ahead", "behind"):
            if length is None or length > slot.length:
                continue
            # The slot's inner end lies a coupling's length from the engine.
            at[0, 3] -= np.sign(at[0, 3]) * (slot.length - length) / 2
        elif length is not None and length > 1.3 * slot.length:
            continue
        found.append(at)
    return sorted(found, key=lambda m: float(np.hypot(*m[:2, 3])))


def _azimuth(rng: np.random.Generator) -> float:
    """Signed angle from broadside: 55 % within 30 deg, 35 % 30-70, 10 % beyond."""
    low, high = [(0, 30), (30, 70), (70, 88)][int(rng.choice(3, p=[0.55, 0.35, 0.10]))]
    return float(np.radians(rng.uniform(low, high)) * rng.choice([-1, 1]))


def _elevation(rng: np.random.Generator) -> float:
    low, high = [(3, 25), (25, 45), (-2, 3)][int(rng.choice(3, p=[0.72, 0.18, 0.10]))]
    return float(np.radians(rng.uniform(low, high)))


def _share(rng: np.random.Generator) -> tuple[float, bool]:
    """Share of the frame that the engine spans, and whether it is cut off on purpose."""
    kind = int(rng.choice(3, p=[0.12, 0.78, 0.10]))
    low, high = [(0.15, 0.40), (0.45, 0.95), (0.80, 1.15)][kind]
    return float(rng.uniform(low, high)), kind == 2


def camera_axes(pose: Pose) -> Floats:
    """Rows right, up, forward of the camera (3, 3)."""
    forward = (pose.target - pose.origin) / np.linalg.norm(pose.target - pose.origin)
    right = np.cross(forward, pose.up)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(right, forward), forward])


def project(pose: Pose, points: Floats, fov_deg: float, aspect: float) -> Floats:
    """Frame positions (n, 2) of world `points` (n, 3): 0..1 across and down inside.

    `fov_deg` is horizontal; `aspect` is width / height.
    """
    local = (points - pose.origin) @ camera_axes(pose).T
    half = np.tan(np.radians(fov_deg) / 2)
    depth = np.maximum(local[:, 2], 1e-6)
    return np.column_stack(
        [0.5 + local[:, 0] / depth / (2 * half), 0.5 - local[:, 1] / depth / (2 * half) * aspect]
    )


def _corners(low: Floats, high: Floats) -> Floats:
    return np.array(list(itertools.product(*zip(low, high, strict=True))))


def _looking(origin: Floats, target: Floats, roll: float) -> Pose:
    """A pose rolled by `roll` radians about the line of sight."""
    level = Pose(origin, target, np.array([0, 0, 1.0]), float(np.linalg.norm(target - origin)))
    right, up, _ = camera_axes(level)
    return Pose(origin, target, np.cos(roll) * up + np.sin(roll) * right, level.focus_distance)


def _fit_distance(
    ray: Floats, centre: Floats, corners: Floats, lens: tuple[float, float], share: float
) -> float:
    """Distance along `ray` at which the engine spans `share` of the frame."""
    near = 0.55 * float(np.max(np.ptp(corners, axis=0) @ np.abs(ray))) + 0.02
    far = 60.0 * float(np.ptp(corners, axis=0).max())
    for _ in range(28):
        middle = np.sqrt(near * far)
        at = project(_looking(centre + ray * middle, centre, 0.0), corners, *lens)
        # Height counts a little less: people leave space above before they cut the ends.
        span = max(float(np.ptp(at[:, 0])), 0.9 * float(np.ptp(at[:, 1])))
        near, far = (middle, far) if span > share else (near, middle)
    return float(np.sqrt(near * far))


def _aim_aside(
    rng: np.random.Generator, pose: Pose, corners: Floats, lens: tuple[float, float], cut: bool
) -> Floats:
    """Sideways and upward offset of the target, metres, at the engine's distance."""
    at = project(pose, corners, *lens)
    low, high = at.min(0), at.max(0)
    if cut:
        # The middle stays inside the frame, one end or the top goes out.
        push = rng.choice([-1, 1]) * rng.uniform(0.15, 0.42) * (high[0] - low[0])
        room = 0.45 * np.sign(push) - (0.5 * (low[0] + high[0]) - 0.5)
        move = np.array([push if abs(push) < abs(room) else room, rng.normal(0, 0.06)])
    else:
        slack = np.maximum(np.minimum(low, 1 - high), 0.0)
        # Photographers centre: a bell, not a flat spread over the free margin.
        move = np.clip(rng.normal(0, 0.4, 2), -1, 1) * slack * 0.9
    half = np.tan(np.radians(lens[0]) / 2) * pose.focus_distance
    right, up, _ = camera_axes(pose)
    return -move[0] * 2 * half * right + move[1] * 2 * half / lens[1] * up


def _inside(point: Floats, solids: Floats) -> bool:
    return bool(
        np.any(
            np.all((point > solids[:, 0] - CLEARANCE) & (point < solids[:, 1] + CLEARANCE), axis=1)
        )
    )


def seen_share(origin: Floats, points: Floats, solids: Floats) -> float:
    """Share of `points` (n, 3) that a straight line from `origin` reaches past `solids`."""
    if len(solids) == 0:
        return 1.0
    way = (points - origin)[:, None, :]
    way = np.where(np.abs(way) < 1e-9, 1e-9, way)
    first, second = ((solids[None, :, i] - origin) / way for i in (0, 1))
    enter = np.minimum(first, second).max(-1)
    leave = np.maximum(first, second).min(-1)
    hidden = (enter < leave) & (leave > 1e-6) & (enter < 0.985)
    return float(1.0 - hidden.any(1).mean())


def place_camera(
    rng: np.random.Generator, room: Room, bounds_min: Floats, bounds_max: Floats, *,
    fov_deg: float, aspect: float,
) -> Pose:  # fmt: skip
    """A camera position as a person would choose it in `room`.

    Parameters
    ----------
    rng : Generator
    room : Room
    bounds_min, bounds_max : ndarray, shape (3,), metres
        The engine's box.
    fov_deg : float
        Horizontal field of view, degrees.
    aspect : float
        Width / height of the picture.

    Returns
    -------
    Pose
        With the middle of the box inside the frame, in free air, most of the engine in
        plain sight (as far as the room's large things are concerned).
    """
    low, high = np.asarray(bounds_min, float), np.asarray(bounds_max, float)
    corners, centre = _corners(low, high), (low + high) / 2
    probes = centre + (_corners(low, high)[:, None] - centre) * np.array([[0.35], [0.8]])
    probes = probes.reshape(-1, 3)
    lens = (fov_deg, aspect)
    best, best_score = None, -1.0
    for attempt in range(TRIES):
        azimuth = np.clip(_azimuth(rng), -room.max_azimuth, room.max_azimuth)
        # Late tries come round to the side and up, where there is always a view.
        calm = max(0.0, attempt / TRIES - 0.3)
        azimuth, elevation = azimuth * (1 - calm), _elevation(rng) + 0.5 * calm
        share, cut = _share(rng)
        flat = np.array([np.sin(azimuth), room.side * np.cos(azimuth), 0.0])
        ray = np.cos(elevation) * flat + np.array([0, 0, np.sin(elevation)])
        distance = _fit_distance(ray, centre, corners, lens, share)
        roll = float(np.clip(rng.normal(0, np.radians(1.8)), -np.radians(5), np.radians(5)))
        origin = centre + ray * distance
        straight = _looking(origin, centre, 0.0)
        pose = _looking(origin, centre + _aim_aside(rng, straight, corners, lens, cut), roll)
        middle = project(pose, centre[None], *lens)[0]
        free = np.all((origin > room.camera_box[0]) & (origin < room.camera_box[1]))
        score = seen_share(origin, probes, room.solids) + 0.5 * free
        score -= 2.0 * _inside(origin, room.solids)
        score -= 2.0 * (not np.all((middle > 0.02) & (middle < 0.98)))
        if score > best_score:
            best, best_score = pose, score
        if score >= 0.5 + SEEN_SHARE:
            break
    if best is None:
        raise ValueError(f"{room.name}: no camera position found for a box of {high - low} m")
    return best
