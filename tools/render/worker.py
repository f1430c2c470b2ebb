"""One process that renders its share of the scenes of a split."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import traceback
from pathlib import Path
from typing import Any

import cv2


def work(arguments: argparse.Namespace, index: int) -> None:
    """Render every `workers`-th scene, starting with `index`."""
    os.environ["CUDA_VISIBLE_DEVICES"] = str(index % arguments.cards)
    cv2.setNumThreads(1)
    started = time.monotonic()
    from tools.render import plan, raytrace

    mi = raytrace.start(arguments.variant)
    path = arguments.out / f"labels-{arguments.split}-{index:02d}.jsonl"
    done = _finished(path)
    last = arguments.first + arguments.scenes
    with path.open("a", encoding="utf-8") as log:
        for number in range(arguments.first + index, last, arguments.workers):
            if number in done:
                continue
            if time.monotonic() - started > arguments.seconds:
                break
            try:
                lines = _scene(mi, plan.job(arguments.split, arguments.seed, number), arguments)
            except Exception:
                print(f"scene {number}:\n{traceback.format_exc()}", file=sys.stderr, flush=True)
                continue
            log.write("".join(json.dumps(line) + "\n" for line in lines))
            log.flush()


def _scene(mi: Any, job: Any, arguments: argparse.Namespace) -> list[dict[str, Any]]:
    from tools.render.closeup import shoot_close
    from tools.render.studio import shoot

    lines = []
    many = {"views": arguments.views, "samples": arguments.samples}
    if arguments.close:
        shots = shoot_close(mi, job, arguments.close, **many)
    else:
        shots = shoot(mi, job, size=tuple(arguments.size), **many)
    for name, picture, mask, label in shots:
        file = f"{arguments.split}-{arguments.seed}-{name}.jpg"
        cv2.imwrite(
            str(arguments.out / file),
            cv2.cvtColor(picture, cv2.COLOR_RGB2BGR),
            [cv2.IMWRITE_JPEG_QUALITY, 93],
        )
        cv2.imwrite(str((arguments.out / file).with_suffix(".mask.png")), mask)
        lines.append({"file": file, **label})
    return lines


def _finished(path: Path) -> set[int]:
    if not path.exists():
        return set()
    lines = path.read_text(encoding="utf-8").splitlines()
    return {json.loads(line)["job"] for line in lines if line.endswith("}")}
