"""Render the demo photos and their manifest: python -m tools.demo --out demo_images.

Engines of the two example guides, an engine of neither, a picture with no engine, a
tender that left the works with another engine, and a picture that cannot be answered.
All of it is invented. Resumable: a photo whose file exists is not rendered again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools import camera, locomotive, scene
from tools.parts import Model
from tools.render import raytrace
from tools.render.plan import Job
from tools.render.studio import bounds, extras_of, furnish_for, placed, stage_of
from tools.render.truth import label
from tools.render.view import View, box_of

SIZE = (1200, 900)
MOST_BYTES = 400_000
CUES = ("switch_lever", "side_linkage", "edge_stripe")


@dataclass(frozen=True, slots=True)
class Demo:
    """One demo photo: what stands where, and what must be in sight."""

    name: str
    guide: str | None
    variation: str | None
    room: str
    lens: int = 1
    tender: str | None = None
    kind: str = "locomotive"
    cut_off: bool = False
    turned: bool = False


DEMOS = (
    Demo("wayfarer_w1", "wayfarer", "W1", "wood_table"),
    Demo("wayfarer_w2", "wayfarer", "W2", "windowsill", turned=True),
    Demo("wayfarer_w3", "wayfarer", "W3", "felt"),
    Demo("wayfarer_w4", "wayfarer", "W4", "layout", turned=True),
    Demo("wayfarer_w5", "wayfarer", "W5", "shelf"),
    Demo("wayfarer_w6", "wayfarer", "W6", "show_stand", lens=2),
    Demo("wayfarer_w4_swapped_tender", "wayfarer", "W4", "stone_terrace", tender="K"),
    Demo("brindle_m1", "brindle", "M1", "garden"),
    Demo("brindle_m2", "brindle", "M2", "workbench", turned=True),
    Demo("brindle_m3", "brindle", "M3", "diorama_rock"),
    Demo("brindle_m4", "brindle", "M4", "paper_sweep", turned=True),
    Demo("brindle_m5", "brindle", "M5", "kitchen_tiles"),
    Demo("in_no_guide", None, "american", "museum_hall", lens=2),
    Demo("no_engine", None, None, "layout", kind="wagon"),
    Demo("top_cut_off", "wayfarer", "W5", "wood_table", cut_off=True, turned=True),
)


def _job(index: int, demo: Demo) -> Job:
    return Job(
        number=index,
        split="guide",
        seed=1936,
        kind=demo.kind,
        family="",
        room=demo.room,
        guide=demo.guide,
        variation=demo.variation,
        twin_cue=None,
        train_behind=demo.kind == "wagon",
        lens=demo.lens,
    )


def _subject(demo: Demo, job: Job) -> Model:
    rng = job.generator(0)
    if demo.kind == "wagon":
        return locomotive.wagon(rng)
    if demo.guide is None:
        spec = locomotive.sample_spec(rng, str(demo.variation), switch_lever="absent")
    else:
        spec = locomotive.demo_spec(demo.guide, str(demo.variation), rng, tender=demo.tender)
    return placed(locomotive.build(spec), demo.turned)


def _good(record: dict[str, Any], demo: Demo) -> bool:
    """Whether a view shows what the demo photo is for."""
    box = record["locomotive"]
    if box is None or record["faces"] not in ("left", "right"):
        return False
    visible = [record["cues"][cue]["visible"] for cue in CUES]
    if demo.cut_off:
        return record["visible"]["boiler_top"] < 0.2 and visible[1] and box[3] < SIZE[1] - 30
    whole = box[0] > 15 and box[1] > 15 and box[2] < SIZE[0] - 15 and box[3] < SIZE[1] - 15
    boiler = np.asarray(record["regions"]["boiler_top"])
    if np.linalg.norm(boiler[0] - boiler[1]) < 0.2 * SIZE[0]:
        return False
    tender = record["tender"]
    tender_in = tender is None or (tender[0] > 5 and tender[2] < SIZE[0] - 5)
    return all(visible) and whole and tender_in and (box[2] - box[0]) > 0.38 * SIZE[0]


def _view(stage: Any, job: Job, room: Any, model: Model, *, demo: Demo) -> tuple[Any, Any]:
    """The first camera, of a seeded row of them, whose view is good."""
    low, high = bounds(model)
    fov = raytrace.LENSES_DEG[job.lens]
    if demo.cut_off:  # look below the wheels, so that the frame's edge cuts the boiler top
        drop = np.array([0.0, 0.0, 0.85 * (high[2] - low[2])])
        low, high = low - drop, high - drop
    for attempt in range(400):
        pose = scene.place_camera(
            job.generator(1000 + attempt), room, low, high, fov_deg=fov, aspect=SIZE[0] / SIZE[1]
        )
        if demo.kind != "locomotive":
            points = np.concatenate([p.vertices for p in model.parts]).astype(float)
            box = box_of(View(stage, pose, fov, SIZE).project(points))
            if min(box) > 20 and box[2] < SIZE[0] - 20 and box[2] - box[0] > 0.4 * SIZE[0]:
                return pose, {"kind": demo.kind, "locomotive": None}
            continue
        record = label(View(stage, pose, fov, SIZE), model, room_truth=room.truth)
        if _good(record, demo):
            return pose, record
    raise RuntimeError(f"{demo.name}: no camera among 400 shows what it should")


def render(
    tracer: raytrace.PathTracer, index: int, demo: Demo, *, samples: int
) -> tuple[NDArray[np.uint8], Any]:
    """Render one demo photo and give its truth."""
    job = _job(index, demo)
    model = _subject(demo, job)
    room = furnish_for(job, model)
    stage = stage_of(tracer, room, [model, *extras_of(job, room, model)])
    pose, record = _view(stage, job, room, model, demo=demo)
    sensor = stage.sensor(pose, raytrace.LENSES_DEG[job.lens], SIZE, samples)
    linear = stage.picture(sensor, seed=index + 1)
    bias = float(room.truth.get("bias_stops", 0.0))
    picture = camera.develop(job.generator(100), linear, severity=0.25, bias_stops=bias)
    kept = ("faces", "tender_axles", "tender_lamps", "cab_number", "wheels")
    truth = {key: record.get(key) for key in kept} | {
        "kind": demo.kind,
        "guide": demo.guide,
        "variation": demo.variation if demo.guide else None,
        "tender": demo.tender,
        "locomotive": record["locomotive"],
        "cues": {
            cue: record["cues"][cue]["state"] if record["cues"][cue]["visible"] else "unseen"
            for cue in (CUES if "cues" in record else ())
        },
    }
    return picture, truth


def _save(path: Path, picture: NDArray[np.uint8]) -> None:
    for quality in range(92, 40, -4):
        coded = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[
            1
        ].tobytes()
        if len(coded) < MOST_BYTES:
            path.write_bytes(coded)
            return
    raise RuntimeError(f"{path}: more than {MOST_BYTES} bytes at every quality")


def main() -> None:
    """Render what is missing and write the manifest."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("demo_images"))
    parser.add_argument("--samples", type=int, default=96)
    parser.add_argument("--only", nargs="*", default=None)
    arguments = parser.parse_args()
    tracer = raytrace.PathTracer()
    manifest_path = arguments.out / "manifest.json"
    known = json.loads(manifest_path.read_text("utf-8")) if manifest_path.exists() else []
    entries = {entry["file"]: entry for entry in known}
    for index, demo in enumerate(DEMOS):
        path = arguments.out / f"{demo.name}.jpg"
        if path.exists() or (arguments.only and demo.name not in arguments.only):
            continue
        picture, truth = render(tracer, index, demo, samples=arguments.samples)
        _save(path, picture)
        entries[path.name] = {
            "file": path.name,
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "made": f"python -m tools.demo --samples {arguments.samples}",
            "licence": "Apache-2.0",
            "truth": truth,
        }
        ordered = [entries[f"{d.name}.jpg"] for d in DEMOS if f"{d.name}.jpg" in entries]
        manifest_path.write_text(json.dumps(ordered, indent=1) + "\n", encoding="utf-8")
        print(path.name, path.stat().st_size, flush=True)


if __name__ == "__main__":
    main()
