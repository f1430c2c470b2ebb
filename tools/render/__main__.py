"""Render a split: python -m tools.render --out DIR --split train --scenes 100 --views 5.

Resumable: a scene whose labels are complete is not rendered again.
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
from pathlib import Path

from tools.render.closeup import SIZES
from tools.render.worker import work


def main() -> int:
    """Parse the arguments and spread the scenes over worker processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--split", choices=["train", "held", "second", "guide"], required=True)
    parser.add_argument("--scenes", type=int, required=True)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--views", type=int, default=5)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--size",
        type=int,
        nargs="+",
        default=(640, 480),
        help="width and height; of several pairs, scenes take turns",
    )
    parser.add_argument(
        "--close",
        nargs="+",
        choices=SIZES,
        default=[],
        help="pictures of these parts alone, a folder each; cues both present and absent",
    )
    parser.add_argument("--samples", type=int, default=12)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--cards", type=int, default=1, help="GPUs to spread the workers over")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop after this long")
    parser.add_argument(
        "--variant", default="auto", help="of the path tracer; raster for the fast renderer"
    )
    arguments = parser.parse_args()
    if len(arguments.size) % 2:
        parser.error("--size: widths and heights in pairs expected")
    for folder in (arguments.out, *(arguments.out / region for region in arguments.close)):
        folder.mkdir(parents=True, exist_ok=True)
    context = mp.get_context("spawn")
    workers = [
        context.Process(target=work, args=(arguments, index)) for index in range(arguments.workers)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    return max((abs(w.exitcode or 0) for w in workers), default=0)


if __name__ == "__main__":
    raise SystemExit(main())
