"""One process that renders its share of the scenes of a split."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2


def work(arguments: argparse.Namespace, index: int) -> None:
    """Render every `workers`-th scene, starting with `index`."""
    os.environ["CUDA_VISIBLE_DEVICES"] = str(index % arguments.cards)
    cv2.setNumThreads(1)
    started = time.monotonic()
    from tools.render import plan

    renderer = _renderer(
        arguments.variant, index % arguments.cards if arguments.cards > 1 else None
    )
    logs = {
        folder: folder / f"labels-{arguments.split}-{index:02d}.jsonl"
        for folder in _folders(arguments)
    }
    # A scene may show one part and not another; it is done once any folder has it.
    done = set().union(*(_finished(path) for path in logs.values()))
    last = arguments.first + arguments.scenes
    for number in range(arguments.first + index, last, arguments.workers):
        if number in done:
            continue
        if time.monotonic() - started > arguments.seconds:
            break
        try:
            lines = _scene(renderer, plan.job(arguments.split, arguments.seed, number), arguments)
        except Exception:
            print(f"scene {number}:\n{traceback.format_exc()}", file=sys.stderr, flush=True)
            continue
        for folder, records in lines.items():
            with logs[folder].open("a", encoding="utf-8") as log:
                log.write("".join(json.dumps(record) + "\n" for record in records))


def _renderer(variant: str, card: int | None) -> Any:
    if variant == "raster":
        from tools.render.raster import Rasteriser

        return Rasteriser(card)
    from tools.render.raytrace import PathTracer

    return PathTracer(variant)


def _folders(arguments: argparse.Namespace) -> list[Path]:
    """Where pictures go: close ones into a folder a region, which must exist already."""
    return [arguments.out / region for region in arguments.close] or [arguments.out]


def size_of(scene: int, sizes: Sequence[int]) -> tuple[int, int]:
    """Width and height of a scene's pictures: scenes take turns with the pairs of `sizes`."""
    at = 2 * (scene % (len(sizes) // 2))
    return sizes[at], sizes[at + 1]


def _scene(renderer: Any, job: Any, arguments: argparse.Namespace) -> dict[Path, list[Any]]:
    """Render one scene; its labels by folder."""
    from tools.render.closeup import shoot_close
    from tools.render.studio import shoot

    lines: dict[Path, list[Any]] = {}
    many = {"views": arguments.views, "samples": arguments.samples}
    if arguments.close:
        shots = (
            (arguments.out / region, *shot)
            for region, *shot in shoot_close(renderer, job, arguments.close, **many)
        )
    else:
        whole = shoot(renderer, job, size=size_of(job.number, arguments.size), **many)
        shots = ((arguments.out, *shot) for shot in whole)
    for folder, name, picture, mask, label in shots:
        file = f"{arguments.split}-{arguments.seed}-{name}.jpg"
        cv2.imwrite(
            str(folder / file),
            cv2.cvtColor(picture, cv2.COLOR_RGB2BGR),
            [cv2.IMWRITE_JPEG_QUALITY, 93],
        )
        cv2.imwrite(str((folder / file).with_suffix(".mask.png")), mask)
        made = {"file": file, "renderer": renderer.name, **label}
        lines.setdefault(folder, []).append(made)
    return lines


def _finished(path: Path) -> set[int]:
    if not path.exists():
        return set()
    lines = path.read_text(encoding="utf-8").splitlines()
    return {json.loads(line)["job"] for line in lines if line.endswith("}")}
