"""Run the eye over labelled pictures and keep everything it saw, for fitting and for judging.

python -m tools.look --pictures DIR --out looks.jsonl.gz --workers 2

One line a picture: the label beside boxes, scores and the unweighed evidence of every
cue. Calibration and evaluation read these lines, so neither runs a network again.
"""

from __future__ import annotations

import argparse
import gzip
import json
import multiprocessing as mp
import time
from pathlib import Path
from typing import Any

from vision.cues import count, gather
from vision.locate import find, pose
from vision.network import Networks, load_networks
from vision.photo import open_photo
from vision.records import BINARY_CUES, TelltaleError

_NETWORKS: dict[str, Networks] = {}


def look(path: Path, networks: Networks) -> dict[str, Any]:
    """Everything the eye sees in one picture, with no threshold applied."""
    started = time.perf_counter()
    photo = open_photo(path)
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
    for cue in BINARY_CUES:
        evidence = gather(photo, sighting, networks, cue)
        seen["cues"][cue] = {name: round(value, 4) for name, value in evidence.values.items()}
    if glimpse.tender.width > 2 and glimpse.tender.height > 2:
        counts = count(photo, glimpse.tender, networks)
        seen["counts"] = {
            name: [round(p, 5) for p in getattr(counts, name)]
            for name in ("axles", "lamps", "countable")
        }
    return seen | {"ms": round(1000 * (time.perf_counter() - started), 1)}


def _edges(box: Any) -> list[float]:
    return [round(edge, 1) for edge in box.as_tuple()]


def read_labels(folder: Path) -> list[dict[str, Any]]:
    """Labels of a rendered folder (labels-*.jsonl) or of photographs (labels.jsonl)."""
    paths = sorted(folder.glob("labels*.jsonl"))
    lines = (line for path in paths for line in path.read_text("utf-8").splitlines())
    return sorted((json.loads(line) for line in lines if line), key=lambda r: str(r["file"]))


def _one(task: tuple[Path, dict[str, Any], Path]) -> str:
    folder, label, models = task
    key = str(models)
    if key not in _NETWORKS:
        _NETWORKS[key] = load_networks(models)
    try:
        seen = look(folder / label["file"], _NETWORKS[key])
    except TelltaleError as error:
        seen = {"error": str(error)}
    return json.dumps({"file": label["file"], "label": label, "seen": seen})


def look_over(folder: Path, out: Path, *, models: Path, workers: int, most: int | None) -> int:
    """Look at every labelled picture of a folder; the number of lines written."""
    tasks = [(folder, label, models) for label in read_labels(folder)][:most]
    with mp.get_context("spawn").Pool(workers) as pool, gzip.open(out, "wt") as lines:
        for line in pool.imap(_one, tasks, chunksize=16):
            lines.write(line + "\n")
    return len(tasks)


def main() -> None:
    """Parse the arguments and look."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--models", type=Path, default=Path("models"))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--most", type=int, default=None)
    arguments = parser.parse_args()
    count = look_over(
        arguments.pictures,
        arguments.out,
        models=arguments.models,
        workers=arguments.workers,
        most=arguments.most,
    )
    print(f"{count} pictures looked at")


if __name__ == "__main__":
    main()
