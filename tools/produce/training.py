"""All trainings side by side, and what is kept of them."""

from __future__ import annotations

import argparse
import shutil
import subprocess
import time
from pathlib import Path

from tools.produce.phases import ABLATED_ON, ABLATED_STEPS, AGAIN, FOLDERS, LOADS
from tools.produce.rendering import filled, start
from tools.render.closeup import SIZES
from vision.network import NAMES, models_folder

Run = tuple[str, str, "subprocess.Popen[bytes]"]  # network, folder of its weights, process


def training(options: argparse.Namespace, until: float, *, early: bool = False) -> list[Run]:
    """Finder and poser on whole pictures, all others on close views, or on whole ones too.

    On cores one after the other and to the end: side by side they need six times the memory.
    On cards all at once, `early` while their folders are still being filled. Those of
    `options.twice` are trained a second time, by another seed.
    """
    log = options.out / "log"
    near = {name: options.out / "close" / FOLDERS.get(name, name) for name in options.only}
    # What nothing is drawn of yet will be, where the training does not wait for all of it.
    near = {k: v for k, v in near.items() if filled(v) or (early and v.name in SIZES)}
    once = [(name, "weights") for name in LOADS if name in options.only]
    again = [(name, AGAIN) for name in options.twice]
    wanted = sorted([*once, *again], key=lambda one: -LOADS[one[0]])
    loads = [0.0] * max(options.cards, 1)
    runs: list[Run] = []
    for index, (name, kept) in enumerate(wanted):
        command = ["tools.train", "--out", str(options.out / kept), "--only", name]
        command += ["--seed", str(1 + (kept == AGAIN))]
        command += ["--data", str(near.get(name, options.out / "train"))]
        command += ["--from", str(options.start)] if options.start else []
        command += ["--teachers", *map(str, options.teachers)] if options.teachers else []
        command += ["--without", *options.without] if options.without else []
        command += ["--room", str(options.room)] if early else []
        if name in near:
            command += ["--stored", *(str(side) for side in SIZES[near[name].name])]
        if options.cards == 0:
            each = max(until - time.time(), 6.0) / (len(wanted) - index)
            runs.append((name, kept, start([*command, "--seconds", f"{each:.0f}"], log)))
            runs[-1][2].wait()
            continue
        card = loads.index(min(loads))
        loads[card] += LOADS[name]
        command += ["--until", f"{until:.0f}", "--devices", f"cuda:{card}"]
        runs.append((name, kept, start(command, log, OMP_NUM_THREADS="2")))
    return runs


def ablations(options: argparse.Namespace) -> list[subprocess.Popen[bytes]]:
    """Weigh the ingredients of some judges' training, on all cards.

    While the rasteriser draws, cards have little else to do.
    """
    runs = []
    cards = max(options.cards, 1)
    for index, name in enumerate(options.ablate):
        mine = [*range(cards)[index :: len(options.ablate)]] or [index % cards]
        for first, card in enumerate(mine):
            command = ["tools.train.ablate", "--name", name, "--steps", str(ABLATED_STEPS)]
            command += ["--data", str(options.out / "close" / name), "--most", str(ABLATED_ON)]
            command += ["--second", str(options.out / "weighed" / name)]
            command += ["--share", str(first), str(len(mine))]
            command += ["--device", f"cuda:{card}" if options.cards else "cpu"]
            command += ["--out", str(options.out / f"ablations.{name}.{first}.jsonl")]
            runs.append(start(command, options.out / "log", OMP_NUM_THREADS="2"))
    return runs


def ended(runs: list[subprocess.Popen[bytes]], until: float) -> None:
    """Wait for processes until a time, and end those that go on."""
    for process in runs:
        try:
            process.wait(timeout=max(until - time.time(), 0.1))
        except subprocess.TimeoutExpired:
            process.terminate()


def finished(options: argparse.Namespace, runs: list[Run]) -> None:
    """Wait for all trainings; tell of those that failed, and keep nothing of them."""
    going = list(runs)
    while going:
        over = [run for run in going if run[2].poll() is not None]
        going = [run for run in going if run not in over]
        for name, kept, process in over:
            if process.returncode == 0:
                continue
            print(f"{time.time():.0f} training of {name} failed, see log", flush=True)
            for path in (options.out / kept).glob(f"{name}.*"):
                path.unlink()
        time.sleep(1.0 if going else 0.0)


def chosen(options: argparse.Namespace) -> None:
    """Of what there is of a network the best, or the mean of some.

    Of what was trained twice both, and of what is held against the weights that it started
    from, these too: more training with few engines more may leave a network knowing these by
    heart and others worse.
    """
    for name in dict.fromkeys([*options.twice, *options.against]):
        folders = [options.out / "weights"]
        folders += [options.out / AGAIN] if name in options.twice else []
        folders += [options.start] if name in options.against else []
        there = [folder for folder in folders if (folder / f"{name}.pt").exists()]
        if len(there) > 1:
            choose = ["tools.train.choose", "--name", name, "--out", str(folders[0])]
            choose += ["--among", *(str(folder) for folder in there)]
            choose += ["--data", str(options.out / "check" / FOLDERS.get(name, name))]
            start(choose, options.out / "log").wait()
        elif there and there != folders[:1]:
            _copy(name, there[0], folders[0])


def spared(options: argparse.Namespace) -> None:
    """Networks without new weights stay as they were: by their weights, or as shipped."""
    models = options.out / "models"
    models.mkdir(exist_ok=True)
    for name in NAMES:
        if options.start and not (options.out / "weights" / f"{name}.pt").exists():
            _copy(name, options.start, options.out / "weights")
        if not (options.out / "weights" / f"{name}.pt").exists():
            _copy(name, models_folder(), models)


def _copy(name: str, source: Path, target: Path) -> None:
    for path in source.glob(f"{name}.*"):
        shutil.copy(path, target)
