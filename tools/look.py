"""Run the eye over labelled pictures and keep everything it saw, for fitting and for judging.

python -m tools.look --pictures DIR --out looks.jsonl.gz --workers 2
python -m tools.look --pictures DIR --out fog.jsonl.gz --corrupt fog --severity 3

The second spoils every picture first, to measure what that costs. One line a picture: the
label beside boxes, scores and the unweighed evidence of every cue. Calibration and
evaluation read these lines, so neither runs a network again.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import multiprocessing as mp
import time
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from tools.corruptions import CORRUPTIONS, corrupt
from tools.looks import places_of
from vision.cues import ENGINE_WIDTH_PX, gather, read_lettering
from vision.cues.tender import counted, look_at_tender
from vision.locate.finder import find
from vision.locate.poser import pose
from vision.network import Networks, load_networks
from vision.photo import closer, open_photo, photo_from_bytes
from vision.photo.decode import REDUCED_FROM
from vision.records import BINARY_CUES, LETTERING, Photo, TelltaleError

_NETWORKS: dict[str, Networks] = {}
# Spoilt pictures are saved with little compression and colour at full size: halved colour
# would take a third of the planted noise away again.
_QUALITY = 95


@dataclass(frozen=True, slots=True)
class Corruption:
    """A kind of `tools.corruptions` and its severity, 1 to 5."""

    kind: str
    severity: int


def look(
    path: Path,
    networks: Networks,
    corruption: Corruption | None = None,
    *,
    engine_width: float = ENGINE_WIDTH_PX,
    places: Sequence[float] = (),
) -> dict[str, Any]:
    """Everything the eye sees in one picture, with no threshold applied.

    A photo in which the engine is decoded narrower than `engine_width`, px, is decoded
    again. At `places`, shares of the boiler top's length, a lever is looked for closely.
    """
    started = time.perf_counter()
    photo = open_photo(path)
    if corruption is not None:
        photo = spoilt(photo, corruption)
    glimpse = find(photo, networks)
    seen: dict[str, Any] = {
        "size": list(photo.size),
        "finder": round(glimpse.score, 5),
        "glimpse": _edges(glimpse.locomotive),
        "tender": _edges(glimpse.tender),
        "tender_score": round(glimpse.tender_score, 5),
        "cues": {},
    }
    if glimpse.locomotive.width < 2 or glimpse.locomotive.height < 2:
        return seen | {"score": 0.0, "locomotive": seen["glimpse"], "faces": "left"}
    sighting = pose(photo, glimpse, networks)
    seen |= {
        "score": round(sighting.score, 5),
        "locomotive": _edges(sighting.locomotive),
        "faces": sighting.faces.value,
        "regions": {k: [[round(v, 1) for v in p] for p in q] for k, q in sighting.regions.items()},
    }
    photo = closer(photo, engine_width / max(sighting.locomotive.width, 1.0))
    for cue in BINARY_CUES:
        evidence = gather(photo, sighting, networks, cue, places)
        seen["cues"][cue] = {name: round(value, 4) for name, value in evidence.values.items()}
    if glimpse.tender.width > 2 and glimpse.tender.height > 2:
        looks = look_at_tender(photo, glimpse.tender, networks)
        counts = counted(looks)
        seen["counts"] = {
            name: [round(p, 5) for p in getattr(counts, name)]
            for name in ("axles", "lamps", "countable")
        }
        seen[LETTERING] = read_lettering(photo, glimpse.tender, looks, networks).state.value
    return seen | {"ms": round(1000 * (time.perf_counter() - started), 1)}


def spoilt(photo: Photo, corruption: Corruption) -> Photo:
    """The photo spoilt, saved as JPEG and read again; the same for the same file name.

    Raises
    ------
    ValueError
        A photo so large that it was decoded at a reduced scale: its boxes would no
        longer fit.
    """
    if photo.scale != 1.0:
        raise ValueError(f"{photo.name}: decoded at scale {photo.scale:g}, cannot be spoilt")
    name = f"{Path(photo.name).name} {corruption.kind} {corruption.severity}"
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    pixels = corrupt(rng, photo.pixels, corruption.kind, corruption.severity)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", quality=_QUALITY, subsampling=0)
    return photo_from_bytes(stream.getvalue(), photo.name)


def _edges(box: Any) -> list[float]:
    return [round(edge, 1) for edge in box.as_tuple()]


def read_labels(folder: Path) -> list[dict[str, Any]]:
    """Labels of a rendered folder (labels-*.jsonl) or of photographs (labels.jsonl)."""
    paths = sorted(folder.glob("labels*.jsonl"))
    lines = (line for path in paths for line in path.read_text("utf-8").splitlines())
    return sorted((json.loads(line) for line in lines if line), key=lambda r: str(r["file"]))


@dataclass(frozen=True, slots=True)
class _Task:
    folder: Path
    label: dict[str, Any]
    models: Path
    corruption: Corruption | None
    engine_width: float


def _one(task: _Task) -> str:
    label, models, corruption = task.label, task.models, task.corruption
    key = str(models)
    if key not in _NETWORKS:
        _NETWORKS[key] = load_networks(models)
    try:
        path = task.folder / label["file"]
        seen = look(
            path,
            _NETWORKS[key],
            corruption,
            engine_width=task.engine_width,
            places=places_of(label),
        )
    except TelltaleError as error:
        seen = {"error": str(error)}
    line = {"file": label["file"], "label": label, "seen": seen}
    if corruption is not None:
        line["corruption"] = {"kind": corruption.kind, "severity": corruption.severity}
    return json.dumps(line)


def spread(labels: list[dict[str, Any]], most: int | None) -> list[dict[str, Any]]:
    """Some `most` labels of whole scenes, evenly from all scenes; None for all of them.

    So pairs stay together, and no renderer is left out.
    """
    if most is None:
        return labels
    scenes: dict[Any, list[dict[str, Any]]] = {}
    for label in labels:
        scenes.setdefault(label.get("job", label["file"]), []).append(label)
    every = list(scenes.values())
    step = max(len(labels) / most, 1.0)
    kept = [every[int(at)] for at in np.arange(0, len(every), step)]
    return [label for scene in kept for label in scene][:most]


def look_over(
    folder: Path,
    out: Path,
    *,
    models: Path,
    workers: int,
    most: int | None,
    corruption: Corruption | None = None,
    engine_width: float = ENGINE_WIDTH_PX,
) -> int:
    """Look at the labelled pictures of a folder, or `spread` over it; the lines written.

    Only those are spoilt that are decoded at full scale. A file that is there is whole.
    """
    labels = read_labels(folder)
    if corruption is not None:
        labels = [label for label in labels if max(label.get("size", (0,))) < REDUCED_FROM[-1][1]]
    labels = spread(labels, most)
    tasks = [_Task(folder, label, models, corruption, engine_width) for label in labels]
    partial = out.with_name(f"{out.name}.partial")
    with mp.get_context("spawn").Pool(workers) as pool, gzip.open(partial, "wt") as lines:
        for line in pool.imap(_one, tasks, chunksize=16):
            lines.write(line + "\n")
    partial.replace(out)
    return len(tasks)


def main() -> None:
    """Parse the arguments and look."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--most", type=int, default=None)
    parser.add_argument("--corrupt", choices=sorted(CORRUPTIONS), default=None)
    parser.add_argument("--severity", type=int, choices=range(1, 6), default=3)
    parser.add_argument(
        "--engine-width",
        type=float,
        default=ENGINE_WIDTH_PX,
        help="decode again, more finely, an engine decoded narrower than this, px",
    )
    arguments = parser.parse_args()
    spoiling = Corruption(arguments.corrupt, arguments.severity) if arguments.corrupt else None
    count = look_over(
        arguments.pictures,
        arguments.out,
        models=arguments.models,
        workers=arguments.workers,
        most=arguments.most,
        corruption=spoiling,
        engine_width=arguments.engine_width,
    )
    print(f"{count} pictures looked at")


if __name__ == "__main__":
    main()
