"""One job from sampled parameters to developed pictures and their labels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools import camera, locomotive, scene
from tools.parts import Material, Model, Part, Scene
from tools.render.contrast import only_distinct
from tools.render.framing import framed
from tools.render.hardships import hardships
from tools.render.lens import through_lens
from tools.render.plan import Job
from tools.render.raytrace import LENSES_DEG
from tools.render.truth import label
from tools.render.view import View, box_of, clip_box, mask_of

_NO_LIGHT = 1e-5  # radiance; lit rooms lie above 0.01
SWAPPED = {"present": "absent", "absent": "present"}


def shoot(
    renderer: Any, job: Job, *, views: int, size: tuple[int, int], samples: int
) -> Iterator[tuple[str, NDArray[np.uint8], NDArray[np.uint8], dict[str, Any]]]:
    """Yield (name, picture, mask, label) for every view of a job, twins after their originals.

    Parameters
    ----------
    renderer : PathTracer or Rasteriser
    job : Job
    views : int
        Cameras per scene.
    size : (int, int)
        Width and height in pixels.
    samples : int
        Paths per pixel.

    Yields
    ------
    name : str
        "000123_2" or, for the twin with one cue swapped, "000123_2t".
    picture : ndarray, shape (height, width, 3), uint8 RGB
        Of another size where a border was laid around it.
    mask : ndarray, shape of the picture, uint8
        Sum of tools.render.view.MASK_BITS.
    label : dict
    """
    subject, twin, is_engine = _subjects(job)
    turned = bool(job.generator(1).random() < 0.5)
    subject, twin = (placed(m, turned) if m is not None else None for m in (subject, twin))
    room = furnish_for(job, subject)
    extras = extras_of(job, room, subject)
    poses = poses_of(job, room, subject, views=views, size=size)
    variants = [("", subject)] + ([("t", twin)] if twin is not None else [])
    for suffix, model in variants:
        stage = stage_of(renderer, room, ([model] if model else []) + extras)
        for number, pose in enumerate(poses):
            linear = exposed(job, number, stage, pose, LENSES_DEG[job.lens], size, samples)
            if float(np.percentile(linear, 99)) < _NO_LIGHT:
                continue  # a shut room without a lamp, about one in a hundred
            view = View(stage, pose, LENSES_DEG[job.lens], size)
            truth = _label(job, view, model, is_engine=is_engine, room=room)
            picture = developed(job, number, linear, room, view)
            mask = mask_of(view)
            truth = only_distinct(truth, picture, mask)
            truth["hard"] = hardships(truth, picture, mask)
            picture, mask, truth = framed(job.generator(200 + number), picture, mask, truth)
            truth["twin_cue"] = job.twin_cue if twin is not None else None
            yield f"{job.number:06d}_{number}{suffix}", picture, mask, truth
        stage.release()


def exposed(
    job: Job,
    number: int,
    stage: Any,
    pose: Any,
    fov_deg: float,
    size: tuple[int, int],
    samples: int,
) -> NDArray[np.float32]:
    """Linear radiance of view `number` of a job, shape (height, width, 3)."""
    light: NDArray[np.float32] = stage.photograph(
        pose,
        fov_deg,
        size,
        samples=samples,
        seed=job.number * 64 + number,
        rng=job.generator(400 + number),
    )
    return light


def developed(
    job: Job, number: int, linear: NDArray[np.float32], room: Any, view: View
) -> NDArray[np.uint8]:
    """The camera's work: its lens, glass before it, exposure and all that follows."""
    linear = through_lens(job.generator(800 + number), linear, view)
    if room.truth.get("pane"):
        linear = camera.reflect(job.generator(500 + number), linear, room.environment)
    bias = float(room.truth.get("bias_stops", 0.0))
    picture: NDArray[np.uint8] = camera.develop(
        job.generator(100 + number), linear, bias_stops=bias
    )
    return picture


def _subjects(job: Job) -> tuple[Model | None, Model | None, bool]:
    """The thing in the picture, its twin with one cue swapped, and whether it is an engine."""
    rng = job.generator(0)
    if job.kind == "empty":
        return None, None, False
    if job.kind in ("wagon", "coach", "diesel", "railcar"):
        return _stock(job.kind, rng), None, False
    if job.kind == "tender":
        spec = locomotive.sample_spec(rng, job.family, has_tender=True)
        whole = locomotive.build(spec)
        kept = tuple(p for p in whole.parts if p.owner == "tender")
        return _centred(replace(whole, parts=kept)), None, False
    if job.guide is not None and job.variation is not None:
        spec = locomotive.demo_spec(job.guide, job.variation, rng)
    else:
        spec = locomotive.sample_engine(rng, job.family)
    twin = None
    if job.twin_cue is not None:
        state = SWAPPED[str(getattr(spec, job.twin_cue))]
        twin = locomotive.build(replace(spec, **{job.twin_cue: state}))
    return locomotive.build(spec), twin, True


def _centred(model: Model) -> Model:
    points = np.concatenate([p.vertices for p in model.parts])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
    offset = np.array([-middle[0], 0.0, 0.0])
    return replace(model, parts=tuple(p.moved(np.eye(3), offset) for p in model.parts))


def placed(model: Model, turned: bool) -> Model:
    """The model at the origin, centred along x over engine and tender, maybe facing -x."""
    low, high = bounds(model)
    rotation = np.diag([-1.0, -1.0, 1.0]) if turned else np.eye(3)
    offset = -rotation @ np.array([(low[0] + high[0]) / 2.0, 0.0, 0.0])
    return _moved(model, rotation, offset)


def _moved(model: Model, rotation: NDArray[np.float64], offset: NDArray[np.float64]) -> Model:
    return replace(
        model,
        parts=tuple(p.moved(rotation, offset) for p in model.parts),
        landmarks={k: rotation @ v + offset for k, v in model.landmarks.items()},
    )


def bounds(model: Model) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest corner of a model, metres."""
    points = np.concatenate([p.vertices for p in model.parts]).astype(float)
    return points.min(axis=0), points.max(axis=0)


def furnish_for(job: Job, subject: Model | None) -> Any:
    """The job's room round its subject."""
    low, high = (
        bounds(subject) if subject else (np.array([-0.15, -0.04, 0]), np.array([0.15, 0.04, 0.1]))
    )
    extent = high - low
    return scene.furnish(
        job.generator(2),
        job.room,
        length=float(extent[0]),
        width=float(extent[1]),
        height=float(high[2]),
        on_track=_on_track(job),
    )


def _on_track(job: Job) -> bool:
    return job.room in scene.TRACK_ROOMS or bool(job.generator(3).random() < 0.6)


def extras_of(job: Job, room: Any, subject: Model | None) -> list[Model]:
    """Track under the subject and, on some, other rolling stock beside or coupled to it."""
    rng = job.generator(4)
    gauge = float(np.asarray(subject.truth.get("gauge", 0.032))) if subject else 0.032
    length = float(bounds(subject)[1][0] * 2) if subject else 0.3
    extras: list[Model] = []
    if _on_track(job):
        reach = 2.0 * min(-room.track_extent[0], room.track_extent[1])
        laid = min(length * float(rng.uniform(1.2, 4.0)), max(reach, length))
        extras.append(locomotive.track(rng, laid, gauge=gauge))
    if not job.train_behind:
        return extras
    for _ in range(int(rng.integers(1, 3))):
        other = _other(job, rng)
        low, high = bounds(other)
        free = scene.distractor_slots(room, float(high[0] - low[0]))
        taken = [e.truth.get("slot") for e in extras]
        free = [slot for slot in free if tuple(np.round(slot[:3, 3], 3)) not in taken]
        if not free:
            break
        slot = np.asarray(free[int(rng.integers(len(free)))], float)
        place = tuple(np.round(slot[:3, 3], 3))
        placed = _as_other(_moved(other, slot[:3, :3], slot[:3, 3]))
        extras.append(replace(placed, truth={"slot": place}))
        if abs(slot[1, 3]) > 0.02 and _on_track(job):
            rails = locomotive.track(rng, float(high[0] - low[0]) * 1.3, gauge=gauge)
            extras.append(_moved(rails, slot[:3, :3], slot[:3, 3]))
    return extras


def _other(job: Job, rng: np.random.Generator) -> Model:
    """A vehicle beside the subject: now and then a second engine."""
    if rng.random() < 0.3 and job.kind == "locomotive":
        return locomotive.build(locomotive.sample_engine(rng, job.family))
    return _stock(str(rng.choice(["wagon", "wagon", "coach", "diesel"])), rng)


def _stock(kind: str, rng: np.random.Generator) -> Model:
    made: Model = getattr(locomotive, kind)(rng)
    return made


def _as_other(model: Model) -> Model:
    return replace(model, parts=tuple(replace(p, owner="other") for p in model.parts))


def poses_of(
    job: Job, room: Any, subject: Model | None, *, views: int, size: tuple[int, int]
) -> list[Any]:
    """Where the cameras of a job stand."""
    low, high = (
        bounds(subject) if subject else (np.array([-0.15, -0.04, 0]), np.array([0.15, 0.04, 0.1]))
    )
    return [
        scene.place_camera(
            job.generator(300 + number),
            room,
            low,
            high,
            fov_deg=LENSES_DEG[job.lens],
            aspect=size[0] / size[1],
        )
        for number in range(views)
    ]


def stage_of(renderer: Any, room: Any, models: list[Model]) -> Any:
    """Room and models as one scene."""
    parts: list[Part] = list(room.parts)
    materials: dict[str, Material] = dict(room.materials)
    for index, model in enumerate(models):
        materials.update({f"{index}:{key}": m for key, m in model.materials.items()})
        parts.extend(replace(p, material=f"{index}:{p.material}") for p in model.parts)
    used = {p.material for p in parts}
    kept = {key: material for key, material in materials.items() if key in used}
    return renderer.stage(Scene(tuple(parts), kept, room.environment, tuple(room.lamps)))


def _label(
    job: Job, view: View, model: Model | None, *, is_engine: bool, room: Any
) -> dict[str, Any]:
    if model is not None and is_engine:
        record = label(view, model, room_truth=room.truth)
    else:
        record = {"size": list(view.size), "locomotive": None, "faces": None, "whole": False}
        record["tender"] = None
        if job.kind == "tender" and model is not None:
            points = np.concatenate([p.vertices for p in model.parts]).astype(float)
            record["tender"] = clip_box(box_of(view.project(points)), view.size)
    record |= {"kind": job.kind, "split": job.split, "room": job.room, "job": job.number}
    if job.guide is not None:
        record["variation"] = {"guide": job.guide, "id": job.variation}
    return record
