"""From nothing to models and looks within a stated time, on a card or on cores.

python -m tools.produce --out DIR --seconds 1600 --cards 2 --workers 30 --version 2026.12

Renders the sets that training must not see, then training pictures, trains all networks
side by side, exports them and looks over the unseen sets. Every phase has its own end on
the clock, so that a later one is never starved, and each leaves what the next one needs
even when it is cut short. What is left in DIR: models/, *.jsonl.gz, *.sheet.jpg, the pictures, log.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from vision.network import NAMES

# Name of the set: split, seed, views a scene. Seeds keep calibration and judgement apart.
UNSEEN = {
    "calib": ("held", 1, 5),
    "held": ("held", 2, 5),
    "second": ("second", 2, 5),
    "guide": ("guide", 2, 4),
}
TRAIN_VIEWS = 4
# Pictures a scene yields per view on average: some have twins.
_TWINS = 1.3


@dataclass(frozen=True, slots=True)
class Clock:
    """When each phase ends, seconds since 1970."""

    unseen: float
    pictures: float
    training: float
    end: float


def clock(start: float, seconds: float, *, reserve: float) -> Clock:
    """Share out the time: a fifth for unseen sets at most, half of the rest for pictures."""
    end = start + seconds
    training = end - reserve
    unseen = start + 0.2 * seconds
    return Clock(unseen, unseen + 0.5 * (training - unseen), training, end)


def _run(arguments: list[str], log: Path, **environment: str) -> subprocess.Popen[bytes]:
    with log.open("ab") as lines:
        return subprocess.Popen(
            [sys.executable, "-m", *arguments],
            stdout=lines,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONUNBUFFERED": "1", **environment},
        )


def _render(name: str, scenes: int, views: int, options: argparse.Namespace, until: float) -> None:
    split, seed = ("train", 1) if name == "train" else UNSEEN[name][:2]
    seconds = max(until - time.time(), 1.0)
    command = ["tools.render", "--out", str(options.out / name), "--split", split]
    command += ["--seed", str(seed), "--scenes", str(scenes), "--views", str(views)]
    command += ["--workers", str(options.workers), "--cards", str(max(options.cards, 1))]
    command += ["--seconds", f"{seconds:.0f}", "--samples", str(options.samples)]
    _run(command, options.out / "log", OMP_NUM_THREADS="1").wait()


def _train(options: argparse.Namespace, until: float) -> None:
    base = ["tools.train", "--data", str(options.out / "train")]
    base += ["--out", str(options.out / "weights")]
    if options.cards == 0:  # side by side they would need six times the memory
        each = max(until - time.time(), 6.0) / len(NAMES)
        _run([*base, "--seconds", f"{each:.0f}"], options.out / "log").wait()
        return
    running = []
    for index, name in enumerate(NAMES):
        command = [*base, "--only", name, "--until", f"{until:.0f}"]
        card = str(index % options.cards)
        running.append(_run(command, options.out / "log", CUDA_VISIBLE_DEVICES=card))
    for process in running:
        process.wait()


def main() -> None:
    """Run all phases."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, required=True)
    parser.add_argument("--cards", type=int, default=0, help="graphics cards; 0 for cores only")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--samples", type=int, default=12, help="paths per pixel")
    parser.add_argument("--unseen", type=int, default=4000, help="pictures in the unseen sets")
    parser.add_argument("--reserve", type=float, default=120.0, help="seconds for the looks")
    parser.add_argument("--version", required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    times = clock(time.time(), options.seconds, reserve=options.reserve)
    shares = {"calib": 0.15, "held": 0.45, "second": 0.25, "guide": 0.15}
    for name, share in shares.items():
        views = UNSEEN[name][2]
        scenes = round(options.unseen * share / views / _TWINS)
        _render(name, scenes, views, options, times.unseen)
    _render("train", 1_000_000, TRAIN_VIEWS, options, times.pictures)
    _train(options, times.training)
    models = options.out / "models"
    export = ["tools.export", "--weights", str(options.out / "weights"), "--models", str(models)]
    _run([*export, "--version", options.version], options.out / "log").wait()
    plain = ["tools.calibrate", "--plain", "--out", str(models / "fusion.json")]
    _run(plain, options.out / "log").wait()
    for name in shares:
        look = ["tools.look", "--pictures", str(options.out / name), "--models", str(models)]
        look += ["--out", str(options.out / f"{name}.jsonl.gz"), "--workers", str(options.workers)]
        _run(look, options.out / "log", OMP_NUM_THREADS="1").wait()
    for name in ("train", *shares):
        sheet = ["tools.sheet", "--pictures", str(options.out / name)]
        _run([*sheet, "--out", str(options.out / f"{name}.sheet.jpg")], options.out / "log").wait()
    (options.out / "done").touch()


if __name__ == "__main__":
    main()
