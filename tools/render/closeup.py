"""Pictures of one region from near by, every view with its cue and without.

A small part takes few pixels of a picture of a whole engine, and most of the time of
rendering that goes into the room. Here the camera stands where it would, but looks
through a longer lens at the region alone: many more engines for the same time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools import locomotive
from tools.render.plan import Job
from tools.render.quieten import quieten
from tools.render.raytrace import camera_basis
from tools.render.studio import (
    SWAPPED,
    aim,
    developed,
    extras_of,
    furnish_for,
    placed,
    poses_of,
    stage_of,
)
from tools.render.truth import CORNERS, CUE_REGION, View, label, mask_of

CUE_OF = {region: cue for cue, region in CUE_REGION.items()}
SIZES = {"boiler_top": (352, 128), "side_rods": (352, 144), "running_board": (384, 96)}
# Few, because a renderer's kernel is made for each; horizontal field of view in degrees.
CLOSE_DEG = (4.0, 6.5, 10.5, 17.0, 27.0)
_MARGIN = 1.12
_SIDE_SHARE = 0.35  # views in which the region may be turned well away


@dataclass(frozen=True)
class Pose:
    """Where a camera stands and what it looks at, metres."""

    origin: NDArray[np.float64]
    target: NDArray[np.float64]
    up: NDArray[np.float64]


def shoot_close(
    mi: Any, job: Job, region: str, *, views: int, samples: int
) -> Iterator[tuple[str, NDArray[np.uint8], NDArray[np.uint8], dict[str, Any]]]:
    """Yield (name, picture, mask, label) for every view of an engine, with the cue and without.

    Parameters
    ----------
    mi : module
        Mitsuba with its variant set.
    job : Job
        Of its kinds only the engine is drawn, whatever the job says.
    region : str
        A key of `CUE_OF`.
    views : int
        Cameras per engine.
    samples : int
        Paths per pixel.

    Yields
    ------
    As `tools.render.studio.shoot`; the pictures are of `SIZES[region]`.
    """
    job = replace(job, kind="locomotive", train_behind=False)
    cue, size = CUE_OF[region], SIZES[region]
    spec = locomotive.sample_spec(job.generator(0), job.family)
    turned = bool(job.generator(1).random() < 0.5)
    other = replace(spec, **{cue: SWAPPED[str(getattr(spec, cue))]})
    models = [placed(locomotive.build(s), turned) for s in (spec, other)]
    room = furnish_for(job, models[0])
    extras = extras_of(job, room, models[0])
    far = poses_of(job, room, models[0], views=views, size=(640, 480))
    shots = [_close(job.generator(600 + n), models[0], region, pose) for n, pose in enumerate(far)]
    for suffix, model in zip(("", "t"), models, strict=True):
        stage = stage_of(mi, room, [model, *extras])
        sensors: dict[float, Any] = {}
        for number, shot in enumerate(shots):
            if shot is None:
                continue
            pose, fov = shot
            if fov not in sensors:
                sensors[fov] = stage.sensor(pose, fov, size, samples)
            aim(mi, sensors[fov], pose)
            layers = stage.layers(sensors[fov], seed=job.number * 64 + number).array
            linear = quieten(mi, job.generator(400 + number), layers, size)
            view = View(stage, pose, fov, size)
            truth = label(view, model, room_truth=room.truth)
            truth |= {"kind": job.kind, "split": job.split, "room": job.room, "job": job.number}
            picture = developed(job, number, linear, room)
            yield f"{job.number:06d}_{number}{suffix}", picture, mask_of(view), truth


def _close(
    rng: np.random.Generator, model: Any, region: str, far: Any
) -> tuple[Pose, float] | None:
    """The far pose turned to the region, and the longest lens that still holds it."""
    origin = np.asarray(far.origin, float)
    quads = [
        np.stack([model.landmarks[f"{region}_{side}_{corner}"] for corner in CORNERS])
        for side in ("left", "right")
    ]
    quad = min(quads, key=lambda q: float(np.linalg.norm(q.mean(axis=0) - origin)))
    normal = np.cross(quad[1] - quad[0], quad[3] - quad[0])
    middle = quad.mean(axis=0)
    facing = abs(float(normal @ (middle - origin)))
    facing /= float(np.linalg.norm(normal) * np.linalg.norm(middle - origin))
    if facing < 0.17 or (facing < 0.4 and rng.random() > _SIDE_SHARE):
        return None
    pose = Pose(origin, middle, np.asarray(far.up, float))
    local = (quad - origin) @ camera_basis(pose).T
    reach = np.abs(local[:, :2] / local[:, 2:]).max(axis=0) * _MARGIN * rng.uniform(1.0, 1.5)
    width, height = SIZES[region]
    needed = 2 * np.degrees(np.arctan(max(reach[0], reach[1] * width / height)))
    fitting = [fov for fov in CLOSE_DEG if fov >= needed]
    return (pose, fitting[0]) if fitting else None
