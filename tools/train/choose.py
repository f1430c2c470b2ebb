"""Of a network trained twice, either or their mean: whichever errs least where none learnt.

python -m tools.train.choose --name boiler_top --among DIR DIR --data DIR --out DIR

Two trainings from the same weights often end in one valley, whose middle is better than
either side (Wortsman et al. 2022, "Model soups"); where they do not, their mean is worthless
and is not taken. The pictures in --data must be of engines that neither was trained on.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import torch
from torch import Tensor

from tools.render.closeup import SIZES
from tools.train.blend import between
from tools.train.loading import load
from tools.train.loop import Task, task_of
from tools.train.pictures import STORED
from tools.train.settings import Settings

_BATCHES = 24
_BATCH_ON_CORES = 8
MEAN = "mean"


def batches_of(task: Task, device: str, *, count: int = _BATCHES) -> list[tuple[Tensor, ...]]:
    """The same batches for every candidate."""
    generator = torch.Generator(device=device)
    generator.manual_seed(0)
    rows = task.rows()
    size = task.batch if device.startswith("cuda") else _BATCH_ON_CORES
    order = (
        torch.randint(len(rows), (size,), device=device, generator=generator) for _ in range(count)
    )
    return [task.draw(rows[at], generator) for at in order]


@torch.no_grad()
def error_of(task: Task, batches: list[tuple[Tensor, ...]]) -> float:
    """Mean loss of a task's network as it is used."""
    task.net.eval()
    return sum(float(task.loss(task.net, batch)) for batch in batches) / len(batches)


def choose(task: Task, batches: list[tuple[Tensor, ...]], among: list[Path]) -> dict[str, float]:
    """Leave the best weights in the task's network; the error of each candidate.

    Parameters
    ----------
    task : Task
    batches : list of tuple
        What `task.draw` gives.
    among : list of two Path
        Files of weights of one design.
    """
    weights = {str(path): torch.load(path, map_location="cpu", weights_only=True) for path in among}
    one, two = weights.values()
    errors = {}
    for which, candidate in {**weights, MEAN: between(one, two, 0.5)}.items():
        task.net.load_state_dict(candidate)
        if which == MEAN:  # what its normalisations meet is the mean of neither
            torch.optim.swa_utils.update_bn((batch[0] for batch in batches), task.net)
            weights[MEAN] = {k: v.cpu().clone() for k, v in task.net.state_dict().items()}
        errors[which] = error_of(task, batches)
    task.net.load_state_dict(weights[min(errors, key=lambda which: errors[which])])
    return errors


def main() -> None:
    """Choose, and keep the weights and how they came to be."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--name", required=True)
    parser.add_argument("--among", type=Path, nargs=2, required=True)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    options = parser.parse_args()
    stored = SIZES.get(options.data.name, STORED)
    pictures = load(options.data, options.device, stored=stored, figures=options.name == "number")
    task = task_of(options.name, pictures, Settings())
    task.net.to(options.device)
    files = [folder / f"{options.name}.pt" for folder in options.among]
    errors = choose(task, batches_of(task, options.device), files)
    best = min(errors, key=lambda which: errors[which])
    source = files[0] if best == MEAN else Path(best)
    report = json.loads(source.with_suffix(".json").read_text("utf-8"))
    report |= {"chosen": MEAN if best == MEAN else "better", "errors": [*errors.values()]}
    torch.save(task.net.state_dict(), options.out / f"{options.name}.pt")
    (options.out / f"{options.name}.json").write_text(json.dumps(report), encoding="utf-8")
    print(f"{options.name}: {errors}, {best} kept", flush=True)


if __name__ == "__main__":
    main()
