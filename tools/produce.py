"""From nothing to models and looks within a stated time, on cards or on cores.

python -m tools.produce --out DIR --seconds 1600 --cards 2 --workers 28 --version 2026.12

Renders the sets that training must not see, then training pictures, trains all networks
(side by side on cards: one copy of the pictures a card), exports them and looks over the
unseen sets. Rendering and training take turns: on one card they starve each other. Every
phase has its own end on the clock, so that a later one is never starved, and each leaves
what the next one needs even when it is cut short. What is left in DIR: models/, weights/,
*.jsonl.gz, *.sheet.jpg, the pictures, log.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tools.corruptions import CORRUPTIONS
from vision.network import NAMES

# Name of the set: split, seed, views a scene, share of the unseen pictures. Seeds keep
# calibration and judgement apart.
UNSEEN = {
    "calib": ("held", 1, 5, 0.14),
    "guide": ("guide", 2, 4, 0.165),
    "second": ("second", 2, 5, 0.165),
    "held": ("held", 2, 5, 0.53),
}
TRAIN_VIEWS = 5
# Pictures a scene yields per view on average: some have twins.
_TWINS = 1.27
_SPOILT = ("second", 300, 3)  # set, pictures and severity for the corruptions


@dataclass(frozen=True, slots=True)
class Clock:
    """When each phase ends, seconds since 1970."""

    unseen: float
    pictures: float
    training: float
    end: float


def clock(start: float, seconds: float, *, reserve: float) -> Clock:
    """Share out the time: a fifth for unseen sets at most, half of the rest for pictures.

    Parameters
    ----------
    start, seconds : float
        When it begins, seconds since 1970, and how long it may take.
    reserve : float
        Seconds at the end for export and looks.
    """
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


def _render(name: str, scenes: int, options: argparse.Namespace, until: float) -> None:
    split, seed, views = ("train", 1, TRAIN_VIEWS) if name == "train" else UNSEEN[name][:3]
    seconds = max(until - time.time(), 1.0)
    command = ["tools.render", "--out", str(options.out / name), "--split", split]
    command += ["--seed", str(seed), "--scenes", str(scenes), "--views", str(views)]
    command += ["--workers", str(options.workers), "--cards", str(max(options.cards, 1))]
    command += ["--seconds", f"{seconds:.0f}", "--samples", str(options.samples)]
    print(f"{time.time():.0f} rendering {name} for {seconds:.0f} s", flush=True)
    _run(command, options.out / "log", OMP_NUM_THREADS="1").wait()


def _train(options: argparse.Namespace, until: float) -> None:
    base = ["tools.train", "--data", str(options.out / "train")]
    base += ["--out", str(options.out / "weights")]
    if options.cards == 0:  # one after the other: side by side they need six times the memory
        each = max(until - time.time(), 6.0) / len(NAMES)
        _run([*base, "--seconds", f"{each:.0f}"], options.out / "log").wait()
        return
    devices = [f"cuda:{index % options.cards}" for index in range(len(NAMES))]
    base += ["--only", *NAMES, "--devices", *devices, "--until", f"{until:.0f}"]
    base += ["--room", str(options.room), "--first", "256"]
    base += ["--threads"] if options.threads else []
    _run(base, options.out / "log", OMP_NUM_THREADS="2").wait()


def _pictures(options: argparse.Namespace, times: Clock) -> None:
    """Render everything, then train."""
    for name, (_, _, views, share) in UNSEEN.items():
        scenes = round(options.unseen * share / views / _TWINS)
        _render(name, scenes, options, times.unseen)
    _render("train", 1_000_000, options, times.pictures)
    _train(options, times.training)


def _looks(options: argparse.Namespace, models: Path) -> None:
    spoilt_set, most, severity = _SPOILT
    plain = [(name, name, []) for name in UNSEEN]
    spoiling = ["--most", str(most), "--severity", str(severity), "--corrupt"]
    spoilt = [(spoilt_set, f"{spoilt_set}.{kind}", [*spoiling, kind]) for kind in CORRUPTIONS]
    for name, out, more in [*plain, *spoilt]:
        look = ["tools.look", "--pictures", str(options.out / name), "--models", str(models)]
        look += ["--out", str(options.out / f"{out}.jsonl.gz")]
        look += ["--workers", str(options.workers), *more]
        _run(look, options.out / "log", OMP_NUM_THREADS="1").wait()
        print(f"{time.time():.0f} looked over {out}", flush=True)


def main() -> None:
    """Run all phases."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, required=True)
    parser.add_argument("--cards", type=int, default=0, help="graphics cards; 0 for cores only")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--samples", type=int, default=8, help="paths per pixel")
    parser.add_argument("--unseen", type=int, default=4000, help="pictures in the unseen sets")
    parser.add_argument("--room", type=int, default=24_000, help="training pictures a card holds")
    parser.add_argument("--threads", action="store_true", help="train in threads, not processes")
    parser.add_argument("--reserve", type=float, default=150.0, help="seconds for the looks")
    parser.add_argument("--version", required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    times = clock(time.time(), options.seconds, reserve=options.reserve)
    _pictures(options, times)
    models = options.out / "models"
    export = ["tools.export", "--weights", str(options.out / "weights"), "--models", str(models)]
    _run([*export, "--version", options.version], options.out / "log").wait()
    plain = ["tools.calibrate", "--plain", "--out", str(models / "fusion.json")]
    _run(plain, options.out / "log").wait()
    (options.out / "exported").touch()
    _looks(options, models)
    for name in ("train", *UNSEEN):
        sheet = ["tools.sheet", "--pictures", str(options.out / name)]
        _run([*sheet, "--out", str(options.out / f"{name}.sheet.jpg")], options.out / "log").wait()
    (options.out / "done").touch()


if __name__ == "__main__":
    main()
