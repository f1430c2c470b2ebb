"""Everything that is rendered: training pictures, close views, unseen sets."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from tools.produce.phases import (
    CHECKED,
    CLOSE_VIEWS,
    FAST_FIRST,
    FOLDERS,
    LAZY,
    MANY,
    TRAIN_VIEWS,
    TWINS,
    UNSEEN,
    UNSEEN_SIZES,
    WEIGHED,
    Clock,
)
from tools.render.closeup import SIZES


def start(
    arguments: list[str], log: Path, *, niceness: int = 0, **environment: str
) -> subprocess.Popen[bytes]:
    """Start a module of this project in a process of its own, its words going to a log."""
    with log.open("ab") as lines:
        return subprocess.Popen(
            ["nice", "-n", str(niceness), sys.executable, "-m", *arguments],
            stdout=lines,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONUNBUFFERED": "1", **environment},
        )


def _rendering(
    name: str,
    options: argparse.Namespace,
    until: float,
    *,
    workers: int,
    fast: bool = False,
    close: bool = False,
    niceness: int = 0,
) -> subprocess.Popen[bytes]:
    split, seed, views, scenes = "train", options.seed, TRAIN_VIEWS, MANY
    # What is to be weighed is weighed by what is path traced.
    wanted = options.only if fast else [*options.only, *options.ablate]
    parts, folder = _close_of(wanted), "close" if close else name
    sizes: tuple[tuple[int, int], ...] = ()
    if name == "check":
        checked = _close_of([*options.twice, *options.against])
        (split, seed, scenes), parts, folder = CHECKED, checked, name
    elif name == "weighed":
        (split, seed, scenes), parts, folder = WEIGHED, _close_of(options.ablate), name
    elif name != "train":
        split, seed, views, slow_share, fast_share = UNSEEN[name]
        sizes = UNSEEN_SIZES if fast else UNSEEN_SIZES[:1]
        pictures = options.unseen_fast * fast_share if fast else options.unseen * slow_share
        scenes = max(round(pictures / views / TWINS), 1)
    seconds = max(until - time.time(), 1.0)
    command = ["tools.render", "--out", str(options.out / folder), "--split", split]
    command += ["--seed", str(seed), "--scenes", str(scenes)]
    command += ["--workers", str(workers), "--cards", str(max(options.cards, 1))]
    command += ["--seconds", f"{seconds:.0f}", "--samples", str(options.samples)]
    command += ["--views", str(CLOSE_VIEWS if close else views)]
    command += ["--size", *(str(side) for size in sizes for side in size)] if sizes else []
    command += ["--close", *parts] if close else []
    command += ["--variant", "raster", "--first", str(FAST_FIRST)] if fast else []
    kind = f"{'rasterised' if fast else 'traced'} {'close views' if close else name}"
    print(f"{time.time():.0f} {kind} for {seconds:.0f} s", flush=True)
    # Mesa's rasteriser, where there is no card for it, starts a thread a core otherwise.
    alone = {"OMP_NUM_THREADS": "1", "LP_NUM_THREADS": "1"}
    return start(command, options.out / "log", niceness=niceness, **alone)


def _whole(options: argparse.Namespace) -> bool:
    """Whether whole pictures are needed at all: all other networks learn from close views."""
    return bool({"finder", "poser"} & set(options.only))


def _close_of(names: Sequence[str]) -> list[str]:
    """What close views these networks need."""
    needed = [FOLDERS.get(name, name) for name in names]
    return [region for region in SIZES if region in needed]


def unseen(options: argparse.Namespace, until: float, *, fast: bool, workers: int) -> None:
    """The unseen sets side by side, each with its share of the workers."""
    runs = []
    for name, (*_, slow_share, fast_share) in UNSEEN.items() if options.unseen else ():
        part = max(round(workers * (fast_share if fast else slow_share)), 1)
        lazy = LAZY if fast else 0
        runs.append(_rendering(name, options, until, fast=fast, workers=part, niceness=lazy))
    for process in runs:
        process.wait()


def traced(options: argparse.Namespace, times: Clock) -> None:
    """All that is path traced, one after the other."""
    unseen(options, times.unseen, fast=False, workers=options.workers)
    if _whole(options):
        _rendering("train", options, times.traced, workers=options.workers).wait()
    many = {"close": True, "workers": options.workers}
    _rendering("train", options, times.traced_close, **many).wait()
    if options.ablate:
        _rendering("weighed", options, times.traced_close + 30.0, fast=True, **many).wait()


def rasterised(options: argparse.Namespace, times: Clock) -> None:
    """Training pictures, and what is to be chosen by."""
    kinds = (False, True) if _whole(options) else (True,)
    share = max(options.workers // len(kinds), 1)
    # A training beside it, which needs little more than a core, goes before.
    many = {"fast": True, "workers": share, "niceness": LAZY if options.room else 0}
    both = [_rendering("train", options, times.fast, close=close, **many) for close in kinds]
    for process in both:
        process.wait()
    if options.twice or options.against:
        _rendering("check", options, times.fast + 60.0, fast=True, close=True, workers=share).wait()


def filled(folder: Path) -> bool:
    """Whether anything was rendered there."""
    return any(folder.glob("labels-*"))


def sheets(options: argparse.Namespace) -> None:
    """A contact sheet of every set."""
    for name in ("train", *UNSEEN, *(f"close/{region}" for region in SIZES)):
        if not filled(options.out / name):
            continue
        sheet = ["tools.sheet", "--pictures", str(options.out / name)]
        file = f"{name.replace('/', '.')}.sheet.jpg"
        start([*sheet, "--out", str(options.out / file)], options.out / "log").wait()
