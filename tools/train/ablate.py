"""What each ingredient of a judge's training is worth on shapes and rooms it never saw.

python -m tools.train.ablate --name side_rods --data DIR --second DIR --steps 400 --out FILE

The same network is trained from nothing on the same close views for the same number of
steps: with everything, with everything by another seed (what chance alone is worth), and
without each ingredient in turn. Each is asked about every close view in --second, whose
corners err as the poser's do and which nobody spoilt. Lines are appended to --out;
`tools.evaluate --ablations` makes the card's table of them.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import torch
from torch import Tensor, nn

from tools.evaluate.ablations import ANOTHER_SEED, WHOLE
from tools.metrics import area_under_roc, balanced_accuracy, balanced_accuracy_interval
from tools.render.closeup import SIZES
from tools.train.judging import answered, judge_batch
from tools.train.loading import load
from tools.train.loop import train
from tools.train.pictures import REGIONS, Pictures
from tools.train.settings import MADE_UP, SPOILT, Settings
from tools.train.tasks import task_of

INGREDIENTS = (
    "photometric",
    "patches",
    "coarse",
    "grainy",
    "jitter",
    "teach_place",
    "averaged",
)
# Levers are drawn onto boiler tops alone, and these alone are made of two.
OF_ONE = {"boiler_top": ("drawn", "spliced", "stretched")}
_ROWS = 64


def variants(name: str) -> Iterator[tuple[str, int, Settings]]:
    """What is trained: its name, seed and settings."""
    yield WHOLE, 1, Settings()
    yield ANOTHER_SEED, 2, Settings()
    for ingredient in (*INGREDIENTS, *OF_ONE.get(name, ())):
        yield ingredient, 1, Settings().without(ingredient)


@torch.no_grad()
def judged(net: nn.Module, pictures: Pictures, rows: Tensor, region: int) -> dict[str, Any]:
    """Balanced accuracy and area under the curve over all rows in which the part can be seen."""
    plain = Settings().without(*SPOILT, *MADE_UP)
    generator = torch.Generator(device=pictures.pixels.device)
    generator.manual_seed(0)
    scores, truths = [], []
    for part in rows.split(_ROWS):
        batch = judge_batch(pictures, part, generator, plain, region)
        seen = batch[2] > 0.5
        scores.append(answered(net, batch)[seen].float().cpu())
        truths.append(batch[1][seen].cpu() > 0.5)
    score, truth = torch.cat(scores).numpy(), torch.cat(truths).numpy()
    return {
        "balanced_accuracy": balanced_accuracy(truth, score > 0),
        "interval": list(balanced_accuracy_interval(truth, score > 0)),
        "area": area_under_roc(score, truth),
        "present": int(truth.sum()),
        "absent": int((~truth).sum()),
    }


def ablate(
    name: str,
    pictures: Pictures,
    second: Pictures,
    *,
    steps: int,
    share: tuple[int, int] = (0, 1),
) -> Iterator[dict[str, Any]]:
    """Train every variant, or every so many-th from one on; one line of figures each."""
    region = REGIONS.index(name)
    rows = task_of(name, second, Settings()).rows()
    for without, seed, settings in [*variants(name)][share[0] :: share[1]]:
        kept: list[nn.Module] = []

        def keep(net: nn.Module, report: dict[str, object], kept: list[nn.Module] = kept) -> None:
            if report["finished"]:
                kept.append(net)

        train(name, pictures, settings, until=time.time(), seed=seed, keep=keep, steps=steps)
        line = {"network": name, "without": without, "steps": steps}
        line |= {"pictures": int(pictures.filled)}
        yield line | judged(kept[0].eval(), second, rows, region)


def main() -> None:
    """Parse the arguments and train."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--name", required=True, choices=REGIONS)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--second", type=Path, required=True)
    parser.add_argument("--steps", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--most", type=int, help="pictures to learn from")
    parser.add_argument(
        "--share",
        type=int,
        nargs=2,
        default=(0, 1),
        metavar=("FIRST", "STEP"),
        help="every so many-th variant from one on: others are trained elsewhere meanwhile",
    )
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    options = parser.parse_args()
    like = {"stored": SIZES[options.name], "figures": False}
    data = load(options.data, options.device, most=options.most, **like)
    second = load(options.second, options.device, **like)
    share = (options.share[0], options.share[1])
    for line in ablate(options.name, data, second, steps=options.steps, share=share):
        print(json.dumps(line), flush=True)
        with options.out.open("a", encoding="utf-8") as lines:
            lines.write(json.dumps(line) + "\n")


if __name__ == "__main__":
    main()
