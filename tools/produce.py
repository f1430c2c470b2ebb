"""From nothing to models and looks within a stated time, on cards or on cores.

python -m tools.produce --out DIR --seconds 1600 --cards 2 --workers 28 --version 2026.12

Renders the sets that training must not see, then training pictures: whole ones and close
views, both path traced and, many more, rasterised. Trains all networks (finder and poser on
whole pictures, each judge on close views of its own region), exports them and looks over
the unseen sets. Rendering and training take turns: on one card they starve each other.
Every phase has its own end on the clock, so that a later one is never starved, and each
leaves what the next one needs even when it is cut short. What is left in DIR: models/,
weights/, *.jsonl.gz, *.sheet.jpg, the pictures, log.
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
from tools.render.closeup import SIZES
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
# Close views whose folder bears another name than the network that learns from them.
FOLDERS = {"number": "cab_side"}
# Pictures a scene yields per view on average: some have twins.
_TWINS = 1.27
_SPOILT = ("second", 300, 3)  # set, pictures and severity for the corruptions


# Shares of the time between the unseen sets and the reserve. A path-traced picture costs as
# much as ten rasterised ones; both renderers' faults must be in the training.
_SHARES = {"traced": 0.2, "traced_close": 0.12, "fast": 0.23, "training": 0.45}
# Scenes of the fast renderer are numbered from here on, so that no two pictures of a folder
# are of the same scene.
_FAST_FIRST = 1_000_000


@dataclass(frozen=True, slots=True)
class Clock:
    """When each phase ends, seconds since 1970."""

    unseen: float
    traced: float
    traced_close: float
    fast: float
    training: float
    end: float


def clock(start: float, seconds: float, *, reserve: float) -> Clock:
    """Share out the time: a fifth for unseen sets at most, the rest by `_SHARES`.

    Parameters
    ----------
    start, seconds : float
        When it begins, seconds since 1970, and how long it may take.
    reserve : float
        Seconds at the end for export and looks.
    """
    end = start + seconds
    unseen = start + 0.2 * seconds
    rest, ends, at = end - reserve - unseen, {}, unseen
    for name, share in _SHARES.items():
        at += share * rest
        ends[name] = at
    return Clock(unseen=unseen, end=end, **ends)


def _run(arguments: list[str], log: Path, **environment: str) -> subprocess.Popen[bytes]:
    with log.open("ab") as lines:
        return subprocess.Popen(
            [sys.executable, "-m", *arguments],
            stdout=lines,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONUNBUFFERED": "1", **environment},
        )


def _rendering(
    name: str,
    scenes: int,
    options: argparse.Namespace,
    until: float,
    *,
    fast: bool = False,
    close: bool = False,
    workers: int,
) -> subprocess.Popen[bytes]:
    split, seed, views = ("train", 1, TRAIN_VIEWS) if name == "train" else UNSEEN[name][:3]
    seconds = max(until - time.time(), 1.0)
    out = options.out / ("close" if close else name)
    command = ["tools.render", "--out", str(out), "--split", split]
    command += ["--seed", str(seed), "--scenes", str(scenes)]
    command += ["--workers", str(workers), "--cards", str(max(options.cards, 1))]
    command += ["--seconds", f"{seconds:.0f}", "--samples", str(options.samples)]
    command += ["--views", str(2 if close else views)]
    command += ["--close", *SIZES] if close else []
    command += ["--variant", "raster", "--first", str(_FAST_FIRST)] if fast else []
    kind = f"{'rasterised' if fast else 'traced'} {'close views' if close else name}"
    print(f"{time.time():.0f} {kind} for {seconds:.0f} s", flush=True)
    # Mesa's rasteriser, where there is no card for it, starts a thread a core otherwise.
    alone = {"OMP_NUM_THREADS": "1", "LP_NUM_THREADS": "1"}
    return _run(command, options.out / "log", **alone)


def _pictures(options: argparse.Namespace, times: Clock) -> None:
    """Render everything that is looked at or learnt from."""
    for name, (_, _, views, share) in UNSEEN.items():
        scenes = round(options.unseen * share / views / _TWINS)
        _rendering(name, scenes, options, times.unseen, workers=options.workers).wait()
    many, all_of = 1_000_000, {"workers": options.workers}
    _rendering("train", many, options, times.traced, **all_of).wait()
    _rendering("train", many, options, times.traced_close, close=True, **all_of).wait()
    half = {"workers": max(options.workers // 2, 1), "fast": True}
    both = [
        _rendering("train", many, options, times.fast, close=close, **half)
        for close in (False, True)
    ]
    for each in both:
        each.wait()


def _train(options: argparse.Namespace, until: float) -> None:
    """Finder and poser on whole pictures, all others on close views, or on whole ones too."""
    out, log = str(options.out / "weights"), options.out / "log"
    whole = ["tools.train", "--data", str(options.out / "train"), "--out", out]
    near = {name: options.out / "close" / FOLDERS.get(name, name) for name in NAMES}
    near = {name: folder for name, folder in near.items() if any(folder.glob("labels-*"))}
    far = [name for name in NAMES if name not in near]

    def closer(name: str) -> list[str]:
        size = [str(side) for side in SIZES[near[name].name]]
        data = ["--data", str(near[name]), "--stored", *size]
        return ["tools.train", *data, "--out", out, "--only", name]

    if options.cards == 0:  # one after the other: side by side they need six times the memory
        each = ["--seconds", f"{max(until - time.time(), 6.0) / len(NAMES):.0f}"]
        _run([*whole, *each, "--only", *far], log).wait()
        for name in near:
            _run([*closer(name), *each], log).wait()
        return
    end = ["--until", f"{until:.0f}"]
    cards = [f"cuda:{index % options.cards}" for index in range(len(NAMES))]
    together = [*whole, *end, "--only", *far, "--devices", *cards[: len(far)]]
    together += ["--room", str(options.room), "--first", "256"]
    together += ["--threads"] if options.threads else []
    runs = [_run(together, log, OMP_NUM_THREADS="2")]
    for name, card in zip(near, cards[len(far) :], strict=True):
        runs.append(_run([*closer(name), *end, "--devices", card], log, OMP_NUM_THREADS="2"))
    for run in runs:
        run.wait()


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
    _train(options, times.training)
    models = options.out / "models"
    export = ["tools.export", "--weights", str(options.out / "weights"), "--models", str(models)]
    _run([*export, "--version", options.version], options.out / "log").wait()
    plain = ["tools.calibrate", "--plain", "--out", str(models / "fusion.json")]
    _run(plain, options.out / "log").wait()
    (options.out / "exported").touch()
    _looks(options, models)
    near = [f"close/{region}" for region in SIZES]
    for name in ("train", *UNSEEN, *near):
        sheet = ["tools.sheet", "--pictures", str(options.out / name)]
        file = f"{name.replace('/', '.')}.sheet.jpg"
        _run([*sheet, "--out", str(options.out / file)], options.out / "log").wait()
    (options.out / "done").touch()


if __name__ == "__main__":
    main()
