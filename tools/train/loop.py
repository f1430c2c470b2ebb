"""The training loop of one network, the same for all of them."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import torch
from torch import Tensor, nn

from tools.train.backbone import Taught
from tools.train.pictures import REGIONS, Pictures
from tools.train.settings import Settings
from tools.train.tasks import Task, task_of

_PEAK_RATE = {
    "finder": 2e-3,
    "poser": 2e-3,
    "judge": 2.5e-3,
    "loupe": 2.5e-3,
    "tender": 2e-3,
    "number": 2.5e-3,
}
_DECAY = 0.02
_GOING_ON = 0.5  # of the peak rate, from weights that there are
# Of it, what layers learn at that know photographs: faster they would forget them. Chosen.
_GENTLY = 0.5
_KEEP_EVERY = 60.0  # seconds between weights kept on the way
_AVERAGE = 0.999  # weight averaging, per step; the first steps average faster

_BATCH_ON_CORES = 32  # larger ones only wait longer
_LOG_EVERY = 50  # steps
_MOST_SKIPPED = 0.02  # of the steps; more than one in fifty means that the weights are lost
_RECOUNT_EVERY = 200  # steps between looks for pictures that have come in


class _Supply:
    """Batches of a task; on cores one thread draws the next while another trains on this one."""

    def __init__(self, task: Task, generator: torch.Generator) -> None:
        self._task, self._generator = task, generator
        on_card = generator.device.type == "cuda"
        self.batch = task.batch if on_card else min(task.batch, _BATCH_ON_CORES)
        self._rows = task.rows()
        # On a card both would only queue up behind each other.
        self._ahead = None if on_card else ThreadPoolExecutor(1)
        self._coming = self._ahead.submit(self._draw) if self._ahead else None

    def recount(self) -> None:
        """Take in the pictures that have come meanwhile."""
        self._rows = self._task.rows()

    def next(self) -> Any:
        """One batch."""
        if self._ahead is None or self._coming is None:
            return self._draw()
        drawn = self._coming.result()
        self._coming = self._ahead.submit(self._draw)
        return drawn

    def close(self) -> None:
        """Draw no more."""
        if self._ahead is not None:
            self._ahead.shutdown(cancel_futures=True)

    def _draw(self) -> Any:
        rows, generator = self._rows, self._generator
        at = torch.randint(len(rows), (self.batch,), device=generator.device, generator=generator)
        return self._task.draw(rows[at], generator)


def _optimiser(net: nn.Module, rate: float) -> torch.optim.Optimizer:
    """AdamW that lets weights decay but neither biases nor normalisations.

    Each group has the `share` of the rate that it learns at.
    """
    known = [m for part in net.modules() if isinstance(part, Taught) for m in part.known()]
    gentle = {id(p) for module in known for p in module.parameters()}
    groups: list[dict[str, Any]] = []
    for share in (1.0, _GENTLY):
        mine = [p for p in net.parameters() if (id(p) in gentle) == (share < 1.0)]
        for many, decay in ((True, _DECAY), (False, 0.0)):
            some = [p for p in mine if (p.ndim > 1) == many]
            groups += [{"params": some, "weight_decay": decay, "share": share}] if some else []
    return torch.optim.AdamW(groups, lr=rate, fused=True)


def train(
    name: str,
    pictures: Pictures,
    settings: Settings,
    *,
    until: float,
    seed: int,
    keep: Callable[[nn.Module, dict[str, object]], None],
    start: Path | None = None,
    steps: int | None = None,
    part: str | None = None,
    teachers: Sequence[Path] = (),
) -> None:
    """Train one network until a time, with a one-cycle rate and averaged weights.

    From the weights in `start`, at a lower rate, where there are any; for so many `steps`,
    however long they take, where these are given. Where a `part` of the network is named,
    this alone is trained, from nothing if `start` lacks it; all the rest stays as it is. Files
    of `teachers` are weights that a judge learns from beside the truth.
    """
    torch.manual_seed(seed)
    device = pictures.pixels.device
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    task = task_of(name, pictures, settings, seed=seed, teachers=teachers)
    supply = _Supply(task, generator)
    if start is not None:
        _start_from(task.net, torch.load(start, map_location="cpu", weights_only=True))
    net = task.net.to(device, memory_format=torch.channels_last).train()
    average = copy.deepcopy(net).eval()
    if part is not None:
        net.eval().requires_grad_(False)
        net.get_submodule(part).train().requires_grad_(True)
    if (
        device.type == "cuda" and steps is None
    ):  # on cores, or for a few steps, making the kernels takes longer than they save
        _quickened(net)
    fresh = start is None or part is not None
    peak = _PEAK_RATE["judge" if name in REGIONS else name] * (1.0 if fresh else _GOING_ON)
    optimiser = _optimiser(net, peak)
    started, kept, step, losses = time.time(), time.time(), 0, []
    skipped = torch.zeros((), device=device)
    seconds = max(until - started, 1e-3)

    def done_by() -> float:
        return step / steps if steps else (time.time() - started) / seconds

    while (done := done_by()) < 1.0:
        rate = peak * min(1.0, done / 0.08) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        for group in optimiser.param_groups:
            group["lr"] = rate * group["share"]
        settings.progress = done
        if step % _RECOUNT_EVERY == 0:
            supply.recount()
        loss = task.loss(net, supply.next())
        _stepped(net, loss, optimiser, skipped)
        step += 1
        _follow(average, net, min(_AVERAGE, step / (step + 20.0)) if settings.averaged else 0.0)
        if step % _LOG_EVERY == 0:
            losses.append(round(loss.item(), 4))
            if int(skipped) > _MOST_SKIPPED * step + _LOG_EVERY // 2:
                raise RuntimeError(f"{name}: {int(skipped)} of {step} steps led nowhere")
        if step % 1000 == 0:
            print(f"{name} step {step} loss {sum(losses[-20:]) / 20:.4f}", flush=True)
        if time.time() - kept > _KEEP_EVERY:
            keep(average, _report(step, int(skipped), supply.batch, losses, finished=False))
            kept = time.time()
    supply.close()
    keep(average, _report(step, int(skipped), supply.batch, losses, finished=True))
    told = f"last losses {losses[-5:]}, {int(skipped)} skipped"
    print(f"{name}: {step} steps of {supply.batch}, {told}", flush=True)


def _quickened(net: nn.Module) -> None:
    """Have the trunk worked on by fused kernels: two thirds of a step's time for half a minute.

    The trunk alone. A maximum's slope goes to the place that held it; fused, the values are
    worked out a second time, rounded in another way, and no place may hold it any more: the
    slope was lost, or divided by none, and the weights with it.
    """
    net.trunk.compile()


def _stepped(
    net: nn.Module, loss: Tensor, optimiser: torch.optim.Optimizer, skipped: Tensor
) -> None:
    """One step down the loss, unless its slope is not finite; then it is counted as skipped.

    One degenerate homography must not end the run, nor may the cores wait for the card to
    hear of it: the optimiser's own kernels leave everything as it was.
    """
    optimiser.zero_grad(set_to_none=True)
    loss.backward()
    lost = (~torch.isfinite(nn.utils.clip_grad_norm_(net.parameters(), 5.0))).float()
    optimiser.found_inf = lost  # type: ignore[attr-defined]
    optimiser.step()
    skipped += lost


def _start_from(net: nn.Module, weights: dict[str, Tensor]) -> None:
    """Take over weights; layers that they do not know yet start from nothing."""
    _, strange = net.load_state_dict(weights, strict=False)
    if strange:
        raise ValueError(f"weights of another design: {', '.join(strange)}")


def _report(
    step: int, skipped: int, batch: int, losses: list[float], *, finished: bool
) -> dict[str, object]:
    return {
        "steps": step,
        "skipped": skipped,
        "batch": batch,
        "finished": finished,
        "losses": list(losses),
    }


@torch.no_grad()
def _follow(average: nn.Module, net: nn.Module, keep: float) -> None:
    """Move the averaged weights towards the current ones; running statistics are copied."""
    mine, theirs = list(average.parameters()), [p.detach() for p in net.parameters()]
    torch._foreach_lerp_(mine, theirs, 1.0 - keep)
    torch._foreach_copy_([*average.buffers()], [*net.buffers()])
