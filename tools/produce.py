"""From nothing to models and looks within a stated time, on cards or on cores.

python -m tools.produce --out DIR --seconds 1600 --cards 2 --workers 28 --version 2027.1

Renders pictures that training must not see and training pictures: whole ones and close
views, path traced first and then, many more, rasterised. Trains all networks (finder and
poser on whole pictures, each judge on close views of its own region), exports them and looks
over the unseen sets. Rendering and training take turns: on two cards and 32 cores a training
step took 1.8 times as long while the rasteriser drew with 21 of them; only the unseen sets,
which are few, are drawn beside it. Every phase has its own end on the clock, so that a later
one is never starved, and each leaves what the next one needs even when it is cut short. What
is left in DIR: models/, weights/, *.jsonl.gz, *.sheet.jpg, the pictures, log.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tools.corruptions import CORRUPTIONS
from tools.render.closeup import SIZES
from vision.network import NAMES

# A quarter of the scale of a phone's photo of 12 megapixels, as large as many a picture in a
# listing; and nearly a half, which `vision.photo` decodes of such a photo. Scenes take turns;
# path-traced ones, which cost by the pixel, all have the first.
UNSEEN_SIZES = ((1008, 756), (1984, 1488))
# Name of the set: split, seed, views a scene, share of the unseen pictures that are path
# traced, and of those that are rasterised. Seeds keep calibration and judgement apart.
UNSEEN = {
    "calib": ("held", 1, 5, 0.27, 0.16),
    "guide": ("guide", 2, 4, 0.33, 0.19),
    "second": ("second", 2, 5, 0.33, 0.12),
    "held": ("held", 2, 5, 0.07, 0.53),
}
TRAIN_VIEWS = 5
CLOSE_VIEWS = 3
# Close views whose folder bears another name than the network that learns from them.
FOLDERS = {"number": "cab_side"}
# Pictures a scene yields per view on average: some have twins.
_TWINS = 1.27
_SPOILT = ("second", 300, 3)  # set, pictures and severity for the corruptions
# What a step of each takes of a card, about, the heaviest first: each goes to the card that
# bears least. Of four cards the lever's judge, whose training ends furthest from done, gets one
# nearly to itself.
_LOADS = {
    "boiler_top": 4.0,
    "side_rods": 2.5,
    "poser": 2.5,
    "finder": 2.5,
    "tender": 1.5,
    "number": 1.0,
    "running_board": 1.0,
}

# Ends of the phases, as shares of the time before the reserve. A path-traced picture costs
# as much as ten rasterised ones; both renderers' faults must be in the training.
_ENDS = {"unseen": 0.07, "traced": 0.15, "traced_close": 0.21, "fast": 0.42, "fast_unseen": 0.65}
_LAZY = 10  # niceness of what is drawn beside the training
# Scenes of the fast renderer are numbered from here on, so that no two pictures of a folder
# are of the same scene.
_FAST_FIRST = 1_000_000
_MANY = 1_000_000  # scenes: more than any time allows


@dataclass(frozen=True, slots=True)
class Clock:
    """When each phase ends, seconds since 1970."""

    unseen: float
    traced: float
    traced_close: float
    fast: float
    fast_unseen: float
    training: float
    end: float


def clock(start: float, seconds: float, *, reserve: float, unseen: bool = True) -> Clock:
    """Share out the time by `_ENDS`.

    Parameters
    ----------
    start, seconds : float
        When it begins, seconds since 1970, and how long it may take.
    reserve : float
        Seconds at the end for export and looks.
    unseen : bool
        Whether unseen sets are drawn; what they would take goes to the training.
    """
    training = start + seconds - reserve
    spared = 0.0 if unseen else _ENDS["unseen"]
    ends = {name: start + (share - spared) * (seconds - reserve) for name, share in _ENDS.items()}
    return Clock(training=training, end=start + seconds, **ends)


def _run(
    arguments: list[str], log: Path, *, niceness: int = 0, **environment: str
) -> subprocess.Popen[bytes]:
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
    split, seed, views, scenes = "train", options.seed, TRAIN_VIEWS, _MANY
    sizes: tuple[tuple[int, int], ...] = ()
    if name != "train":
        split, seed, views, traced, rasterised = UNSEEN[name]
        sizes = UNSEEN_SIZES if fast else UNSEEN_SIZES[:1]
        pictures = options.unseen_fast * rasterised if fast else options.unseen * traced
        scenes = max(round(pictures / views / _TWINS), 1)
    seconds = max(until - time.time(), 1.0)
    out = options.out / ("close" if close else name)
    command = ["tools.render", "--out", str(out), "--split", split]
    command += ["--seed", str(seed), "--scenes", str(scenes)]
    command += ["--workers", str(workers), "--cards", str(max(options.cards, 1))]
    command += ["--seconds", f"{seconds:.0f}", "--samples", str(options.samples)]
    command += ["--views", str(CLOSE_VIEWS if close else views)]
    command += ["--size", *(str(side) for size in sizes for side in size)] if sizes else []
    command += ["--close", *_parts(options)] if close else []
    command += ["--variant", "raster", "--first", str(_FAST_FIRST)] if fast else []
    kind = f"{'rasterised' if fast else 'traced'} {'close views' if close else name}"
    print(f"{time.time():.0f} {kind} for {seconds:.0f} s", flush=True)
    # Mesa's rasteriser, where there is no card for it, starts a thread a core otherwise.
    alone = {"OMP_NUM_THREADS": "1", "LP_NUM_THREADS": "1"}
    return _run(command, options.out / "log", niceness=niceness, **alone)


def _whole(options: argparse.Namespace) -> bool:
    """Whether whole pictures are needed at all: all other networks learn from close views."""
    return bool({"finder", "poser"} & set(options.only))


def _parts(options: argparse.Namespace) -> list[str]:
    """What close views are needed of."""
    needed = [FOLDERS.get(name, name) for name in options.only]
    return [region for region in SIZES if region in needed]


def _unseen(options: argparse.Namespace, until: float, *, fast: bool, workers: int) -> None:
    """The unseen sets side by side, each with its share of the workers."""
    runs = []
    for name, (*_, traced, rasterised) in UNSEEN.items() if options.unseen else ():
        part = max(round(workers * (rasterised if fast else traced)), 1)
        lazy = _LAZY if fast else 0
        runs.append(_rendering(name, options, until, fast=fast, workers=part, niceness=lazy))
    for run in runs:
        run.wait()


def _traced(options: argparse.Namespace, times: Clock) -> None:
    _unseen(options, times.unseen, fast=False, workers=options.workers)
    if _whole(options):
        _rendering("train", options, times.traced, workers=options.workers).wait()
    _rendering("train", options, times.traced_close, close=True, workers=options.workers).wait()


def _rasterised(options: argparse.Namespace, times: Clock) -> None:
    kinds = (False, True) if _whole(options) else (True,)
    share = max(options.workers // len(kinds), 1)
    both = [
        _rendering("train", options, times.fast, fast=True, close=close, workers=share)
        for close in kinds
    ]
    for run in both:
        run.wait()


def _filled(folder: Path) -> bool:
    return any(folder.glob("labels-*"))


def _sheets(options: argparse.Namespace) -> None:
    for name in ("train", *UNSEEN, *(f"close/{region}" for region in SIZES)):
        if not _filled(options.out / name):
            continue
        sheet = ["tools.sheet", "--pictures", str(options.out / name)]
        file = f"{name.replace('/', '.')}.sheet.jpg"
        _run([*sheet, "--out", str(options.out / file)], options.out / "log").wait()


def _training(options: argparse.Namespace, until: float) -> list[subprocess.Popen[bytes]]:
    """Finder and poser on whole pictures, all others on close views, or on whole ones too.

    On cores one after the other and to the end: side by side they need six times the memory.
    On cards all at once; the runs are returned.
    """
    log = options.out / "log"
    near = {name: options.out / "close" / FOLDERS.get(name, name) for name in options.only}
    near = {name: folder for name, folder in near.items() if _filled(folder)}
    runs = []
    wanted = [name for name in _LOADS if name in options.only]
    loads = [0.0] * max(options.cards, 1)
    for index, name in enumerate(wanted):
        command = ["tools.train", "--out", str(options.out / "weights"), "--only", name]
        command += ["--data", str(near.get(name, options.out / "train"))]
        command += ["--from", str(options.start)] if options.start else []
        if name in near:
            command += ["--stored", *(str(side) for side in SIZES[near[name].name])]
        if options.cards == 0:
            each = max(until - time.time(), 6.0) / (len(wanted) - index)
            _run([*command, "--seconds", f"{each:.0f}"], log).wait()
            continue
        card = loads.index(min(loads))
        loads[card] += _LOADS[name]
        command += ["--until", f"{until:.0f}", "--devices", f"cuda:{card}"]
        runs.append(_run(command, log, OMP_NUM_THREADS="2"))
    return runs


def _spared(options: argparse.Namespace) -> None:
    """Networks that were not to be trained are exported as they were, where weights are at hand."""
    for name in set(NAMES) - set(options.only):
        for path in options.start.glob(f"{name}.*") if options.start else ():
            shutil.copy(path, options.out / "weights")


def _looks(options: argparse.Namespace, models: Path) -> None:
    """The unseen sets, plain and spoilt, looked over and their numbers read, side by side.

    Each gets as many processes as it has pictures for: starting them takes as long as looking.
    """
    spoilt_set, most, severity = _SPOILT
    spoiling = ["--most", str(most), "--severity", str(severity), "--corrupt"]
    runs: list[tuple[str, str, str, list[str]]] = [
        *(("tools.look", name, name, []) for name in UNSEEN),
        *(("tools.look", spoilt_set, f"{spoilt_set}.{k}", [*spoiling, k]) for k in CORRUPTIONS),
        ("tools.evaluate.numbers", "guide", "numbers", []),
    ]
    counts = {name: len([*(options.out / name).glob("*.jpg")]) for name in UNSEEN}
    shares = [min(counts[name], most) if more else counts[name] for _, name, _, more in runs]
    going = []
    for (module, name, out, more), share in zip(runs, shares, strict=True):
        workers = max(round(options.workers * share / max(sum(shares), 1)), 1)
        look = [module, "--pictures", str(options.out / name), "--models", str(models)]
        look += ["--out", str(options.out / f"{out}.jsonl.gz"), "--workers", str(workers), *more]
        going.append(_run(look, options.out / "log", OMP_NUM_THREADS="1"))
        if options.cards == 0:  # on cores one after the other, as the training
            going[-1].wait()
    for run in going:
        run.wait()


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
    parser.add_argument(
        "--unseen",
        type=int,
        default=1200,
        help="unseen pictures, path traced; 0 for none at all",
    )
    parser.add_argument("--unseen-fast", type=int, default=9500, help="and rasterised")
    parser.add_argument("--only", nargs="+", default=NAMES, help="networks to train")
    parser.add_argument("--from", type=Path, dest="start", help="weights to go on from")
    parser.add_argument("--seed", type=int, default=1, help="of the training pictures")
    parser.add_argument("--reserve", type=float, default=120.0, help="seconds for the looks")
    parser.add_argument("--version", required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    unseen = options.unseen > 0
    times = clock(time.time(), options.seconds, reserve=options.reserve, unseen=unseen)
    _traced(options, times)
    _rasterised(options, times)
    late = {"fast": True, "workers": max(options.workers - len(options.only), 2)}
    if options.cards == 0:  # the training has the cores to itself
        _unseen(options, times.fast_unseen, **late)
    runs = _training(options, times.training)
    if runs:
        _unseen(options, times.fast_unseen, **late)
    _sheets(options)
    for run in runs:
        run.wait()
    models = options.out / "models"
    _spared(options)
    export = ["tools.export", "--weights", str(options.out / "weights"), "--models", str(models)]
    _run([*export, "--version", options.version], options.out / "log").wait()
    plain = ["tools.calibrate", "--plain", "--out", str(models / "fusion.json")]
    _run(plain, options.out / "log").wait()
    (options.out / "exported").touch()
    if unseen:
        _looks(options, models)
    (options.out / "done").touch()


if __name__ == "__main__":
    main()
