"""Pictures of single parts from near by, cues each present and absent.

A small part takes few pixels of a picture of a whole engine, and most of the time of
rendering that goes into the room. Here the camera stands where it would, but looks
through a longer lens at one part alone: many more engines for the same time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools import locomotive
from tools.locomotive.lever import beside_its_likes
from tools.render.contrast import only_distinct
from tools.render.plan import CUES, Job
from tools.render.projection import camera_basis
from tools.render.studio import (
    SWAPPED,
    developed,
    exposed,
    extras_of,
    furnish_for,
    placed,
    poses_of,
    stage_of,
)
from tools.render.truth import CUE_REGION, facing, label, quad_of
from tools.render.view import View, mask_of

CUE_OF = {region: cue for cue, region in CUE_REGION.items()}
SIZES = {
    "boiler_top": (720, 264),
    "side_rods": (400, 160),
    "running_board": (384, 96),
    "cab_side": (288, 176),
    "tender": (352, 208),
}
_WIDEST_DEG = 27.0
# Factor on what the region takes of the picture: a judge may see what lies beside it.
_MARGIN = {"tender": 1.3, "cab_side": 1.35, "boiler_top": 1.25}
# Of the views in which the part is turned well away, how many are kept. Seen from before, a
# lever was missed six times as often as from the side.
_SIDE_SHARE = {"boiler_top": 0.8}
_FEW = 0.35  # of all other parts; chosen


@dataclass(frozen=True)
class Pose:
    """Where a camera stands and what it looks at, metres."""

    origin: NDArray[np.float64]
    target: NDArray[np.float64]
    up: NDArray[np.float64]


def shoot_close(
    renderer: Any, job: Job, regions: Sequence[str], *, views: int, samples: int
) -> Iterator[tuple[str, str, NDArray[np.uint8], NDArray[np.uint8], dict[str, Any]]]:
    """Yield (region, name, picture, mask, label) of the parts of an engine.

    Regions of a cue come twice a view: as the engine is, and with its cues swapped.

    Parameters
    ----------
    renderer : PathTracer or Rasteriser
    job : Job
        Of its kinds only the engine is drawn, whatever the job says.
    regions : sequence of str
        Keys of `SIZES`.
    views : int
        Cameras per engine.
    samples : int
        Paths per pixel, where the renderer traces any.

    Yields
    ------
    As `tools.render.studio.shoot`, the region first; the pictures are of `SIZES[region]`.
    """
    job = replace(job, kind="locomotive")
    drawn = locomotive.sample_spec(job.generator(0), job.family)
    spec = locomotive.within_reach(beside_its_likes(job.generator(5), drawn))
    turned = bool(job.generator(1).random() < 0.5)
    other = replace(spec, **{cue: SWAPPED[str(getattr(spec, cue))] for cue in CUES})
    twin = any(region in CUE_OF for region in regions)
    models = [placed(locomotive.build(s), turned) for s in ((spec, other) if twin else (spec,))]
    room = furnish_for(job, models[0])
    extras = extras_of(job, room, models[0])
    far = poses_of(job, room, models[0], views=views, size=(640, 480))
    shots: dict[tuple[str, int], list[Any]] = {}
    for suffix, model in zip(("", "t"), models, strict=False):
        stage = stage_of(renderer, room, [model, *extras])
        for place, region in enumerate(regions):
            if suffix and region not in CUE_OF:
                continue
            for number, pose in enumerate(far):
                # The same for both: its twin must be seen from the same place.
                rng = job.generator(600 + 20 * place + number)
                shot = _close(rng, models[0], region, pose, lenses=renderer.lenses)
                if shot is not None:
                    seen = _seen(job, stage, model, shot, (region, number), room, samples)
                    named = region, f"{job.number:06d}_{number}{suffix}", *seen
                    shots.setdefault((region, number), []).append(named)
        stage.release()
    for both in shots.values():
        if len(both) == 2:
            _agree(*(truth for *_, truth in both), cue=CUE_OF[both[0][0]])
        yield from both


def _agree(one: dict[str, Any], other: dict[str, Any], *, cue: str) -> None:
    """Let a part be visible where it is absent only if it is where it is present.

    Of nothing no picture says whether it would have stood out: of its twin this one does.
    """
    visible = one["cues"][cue]["visible"] and other["cues"][cue]["visible"]
    for truth in (one, other):
        if truth["cues"][cue]["state"] == "absent":
            truth["cues"][cue] = {**truth["cues"][cue], "visible": visible}


def _seen(
    job: Job,
    stage: Any,
    model: Any,
    shot: tuple[Pose, float],
    which: tuple[str, int],
    room: Any,
    samples: int,
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], dict[str, Any]]:
    """Picture, mask and label of one close view."""
    (pose, fov), (region, number) = shot, which
    linear = exposed(job, number, stage, pose, fov, SIZES[region], samples)
    view = View(stage, pose, fov, SIZES[region])
    truth = label(view, model, room_truth=room.truth)
    truth |= {"kind": job.kind, "split": job.split, "room": job.room, "job": job.number}
    picture, mask = developed(job, number, linear, room, view), mask_of(view)
    return picture, mask, only_distinct(truth, picture, mask)


def _close(
    rng: np.random.Generator, model: Any, region: str, far: Any, *, lenses: tuple[float, ...]
) -> tuple[Pose, float] | None:
    """The far pose turned to the region, and the longest lens that still holds it."""
    if region == "tender" and "tender_side_left_front_top" not in model.landmarks:
        return None
    origin = np.asarray(far.origin, float)
    outline = "tender_side" if region == "tender" else region
    quads = [quad_of(model, outline, side) for side in ("left", "right")]
    quad = min(quads, key=lambda q: float(np.linalg.norm(q.mean(axis=0) - origin)))
    square = facing(origin, quad)
    shown = np.concatenate(quads) if region == "tender" else quad
    middle = shown.mean(axis=0)
    share = _SIDE_SHARE.get(region, _FEW)
    turned_away = square < 0.17 or (square < 0.4 and rng.random() > share)
    if region != "tender" and turned_away:
        return None
    pose = Pose(origin, middle, np.asarray(far.up, float))
    local = (shown - origin) @ camera_basis(pose).T
    reach = np.abs(local[:, :2] / local[:, 2:]).max(axis=0)
    reach = reach * _MARGIN.get(region, 1.12) * rng.uniform(1.0, 1.5)
    width, height = SIZES[region]
    needed = 2 * np.degrees(np.arctan(max(reach[0], reach[1] * width / height)))
    if needed > _WIDEST_DEG:
        return None
    return pose, next((fov for fov in lenses if fov >= needed), float(needed))
