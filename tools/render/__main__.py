"""Render a split: python -m tools.render --out DIR --split train --scenes 100 --views 5.

Resumable: a scene whose labels are complete is not rendered again.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing as mp
import sys
import time
import traceback
from pathlib import Path
from typing import Any

import cv2


def main() -> int:
    """Parse the arguments and spread the scenes over worker processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--split", choices=["train", "held", "second", "guide"], required=True)
    parser.add_argument("--scenes", type=int, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--views", type=int, default=5)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--size", type=int, nargs=2, default=(640, 480))
    parser.add_argument("--samples", type=int, default=12)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--cards", type=int, default=1, help="GPUs to spread the workers over")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop after this long")
    parser.add_argument("--variant", default="auto")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    context = mp.get_context("spawn")
    workers = [
        context.Process(target=work, args=(arguments, index)) for index in range(arguments.workers)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    return max((abs(w.exitcode or 0) for w in workers), default=0)


def work(arguments: argparse.Namespace, index: int) -> None:
    """Render every `workers`-th scene, starting with `index`."""
    import os

    os.environ["CUDA_VISIBLE_DEVICES"] = str(index % arguments.cards)
    cv2.setNumThreads(1)
    started = time.monotonic()
    from tools.render import plan, raytrace

    mi = raytrace.start(arguments.variant)
    # One pool of threads per worker would fight over the cores on a shared machine.
    if mi.variant().startswith("cuda"):
        mi.Thread.set_thread_count(1) if hasattr(mi.Thread, "set_thread_count") else None
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
    from tools.render.studio import shoot

    lines = []
    shots = shoot(
        mi, job, views=arguments.views, size=tuple(arguments.size), samples=arguments.samples
    )
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


if __name__ == "__main__":
    raise SystemExit(main())
