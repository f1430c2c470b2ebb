"""From nothing to models and looks within a stated time, on cards or on cores.

python -m tools.produce --out DIR --seconds 1600 --cards 2 --workers 28 --version 2027.1

Renders pictures that training must not see and training pictures: whole ones and close
views, path traced first and then, many more, rasterised. Trains all networks (finder and
poser on whole pictures, each judge on close views of its own region), exports them and looks
over the unseen sets. Rendering and training take turns, or with --room go side by side: on
two cards and 32 cores a training step took nearly twice as long while the rasteriser drew
with most of them, which hardly drew slower for it. The unseen sets are drawn beside the
training anyway. Every phase has its own end on the clock, so that a later one is never
starved, and each leaves what the next one needs even when it is cut short. What is left in
DIR: models/, weights/, *.jsonl.gz, *.sheet.jpg, the pictures, log.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from tools.corruptions import CORRUPTIONS
from tools.produce.phases import SPOILT, UNSEEN, clock
from tools.produce.rendering import rasterised, sheets, start, traced, unseen
from tools.produce.training import ablations, chosen, ended, finished, spared, training
from vision.network import NAMES


def _looks(options: argparse.Namespace, models: Path) -> None:
    """The unseen sets, plain and spoilt, looked over and their numbers read, side by side.

    Each gets as many processes as it has pictures for: starting them takes as long as looking.
    """
    spoilt_set, most, severity = SPOILT
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
        going.append(start(look, options.out / "log", OMP_NUM_THREADS="1"))
        if options.cards == 0:  # on cores one after the other, as the training
            going[-1].wait()
    for (_, _, out, _), process in zip(runs, going, strict=True):
        if process.wait() != 0:
            print(f"{time.time():.0f} looks for {out} failed, see log", flush=True)


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
    parser.add_argument("--twice", nargs="*", default=[], help="of these, to train two of each")
    parser.add_argument(
        "--against", nargs="*", default=[], help="of these, --from as a candidate too"
    )
    parser.add_argument(
        "--room", type=int, help="train while pictures come in, on so many a card at most"
    )
    parser.add_argument("--ablate", nargs="*", default=[], help="judges to weigh the training of")
    parser.add_argument("--without", nargs="*", default=[], help="ingredients to switch off")
    parser.add_argument("--from", type=Path, dest="start", help="weights to go on from")
    parser.add_argument("--teachers", type=Path, nargs="*", default=[], help="weights to ask, too")
    parser.add_argument("--seed", type=int, default=1, help="of the training pictures")
    parser.add_argument("--reserve", type=float, default=120.0, help="seconds for the looks")
    parser.add_argument("--version", required=True)
    options = parser.parse_args()
    if options.against and not options.start:
        parser.error("--against: --from expected")
    if options.room and options.cards == 0:
        parser.error("--room: at least one card expected")
    options.out.mkdir(parents=True, exist_ok=True)
    times = clock(time.time(), options.seconds, reserve=options.reserve, unseen=options.unseen > 0)
    traced(options, times)
    weighing = ablations(options)
    runs = training(options, times.training, early=True) if options.room else []
    rasterised(options, times)
    ended(weighing, times.fast)
    late = {"fast": True, "workers": max(options.workers - len(options.only), 2)}
    if options.cards == 0:  # the training has the cores to itself
        unseen(options, times.fast_unseen, **late)
    runs = runs or training(options, times.training)
    if options.cards > 0:
        unseen(options, times.fast_unseen, **late)
    sheets(options)
    finished(options, runs)
    chosen(options)
    spared(options)
    models = options.out / "models"
    export = ["tools.export", "--weights", str(options.out / "weights"), "--models", str(models)]
    start([*export, "--version", options.version], options.out / "log").wait()
    plain = ["tools.calibrate", "--plain", "--out", str(models / "fusion.json")]
    start(plain, options.out / "log").wait()
    (options.out / "exported").touch()
    if options.unseen > 0:
        _looks(options, models)
    (options.out / "done").touch()


if __name__ == "__main__":
    main()
