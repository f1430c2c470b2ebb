"""Of a network's weights, some or the mean of some: whichever errs least where none learnt.

python -m tools.train.choose --name boiler_top --among DIR DIR... --data DIR --out DIR

Trainings from the same weights often end in one valley, whose middle is better than any
side of it (Wortsman et al. 2022, "Model soups"); where they do not, their mean is worthless
and is not taken. The pictures in --data must be of engines that none was trained on.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import torch
from torch import Tensor

from tools.render.closeup import SIZES
from tools.train.blend import mean_of
from tools.train.loading import load
from tools.train.pictures import STORED
from tools.train.settings import MADE_UP, Settings
from tools.train.tasks import Task, task_of

_BATCHES = 24
_BATCH_ON_CORES = 8


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


def choose(
    task: Task, batches: list[tuple[Tensor, ...]], among: Sequence[Path]
) -> dict[tuple[Path, ...], float]:
    """Leave the best weights in the task's network; the error of each candidate.

    Parameters
    ----------
    task : Task
    batches : list of tuple
        What `task.draw` gives.
    among : sequence of Path
        Files of weights of one design.

    Returns
    -------
    dict
        By the files whose mean a candidate is, each alone among them.
    """
    weights = [torch.load(path, map_location="cpu", weights_only=True) for path in among]
    errors, best = {}, {}
    for count in range(1, len(among) + 1):
        for some in combinations(range(len(among)), count):
            task.net.load_state_dict(mean_of([weights[at] for at in some]))
            # What the normalisations of a mean meet is the mean of none; and to meet these
            # very pictures is worth something by itself, which all candidates must have.
            torch.optim.swa_utils.update_bn((batch[0] for batch in batches), task.net)
            files = tuple(among[at] for at in some)
            errors[files] = error_of(task, batches)
            if errors[files] == min(errors.values()):
                best = {k: v.cpu().clone() for k, v in task.net.state_dict().items()}
    task.net.load_state_dict(best)
    return errors


def main() -> None:
    """Choose, and keep the weights and how they came to be."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--name", required=True)
    parser.add_argument("--among", type=Path, nargs="+", required=True)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    options = parser.parse_args()
    stored = SIZES.get(options.data.name, STORED)
    pictures = load(options.data, options.device, stored=stored, figures=options.name == "number")
    # Of two, that which has seen more of what is made up would be right more often about that.
    task = task_of(options.name, pictures, Settings().without(*MADE_UP))
    task.net.to(options.device)
    files = [folder / f"{options.name}.pt" for folder in options.among]
    errors = choose(task, batches_of(task, options.device), files)
    best = min(errors, key=lambda which: errors[which])
    report = json.loads(best[0].with_suffix(".json").read_text("utf-8"))
    told = {_told(some): error for some, error in errors.items()}
    kind = "the best" if len(best) == 1 else f"the mean of {len(best)}"
    report |= {"chosen": f"{kind} of {len(files)} weights by fresh engines", "errors": told}
    torch.save(task.net.state_dict(), options.out / f"{options.name}.pt")
    (options.out / f"{options.name}.json").write_text(json.dumps(report), encoding="utf-8")
    print(f"{options.name}: {told}, {_told(best)} kept", flush=True)


def _told(some: Sequence[Path]) -> str:
    """Folders of the files whose mean a candidate is."""
    return " + ".join(path.parent.name for path in some)


if __name__ == "__main__":
    main()
