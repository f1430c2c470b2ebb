"""The training loop of one network, the same for all of them."""

from __future__ import annotations

import copy
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import torch
from torch import Tensor, nn

from tools.train.finding import finder_batch, finder_loss
from tools.train.judging import judge_batch, judge_loss
from tools.train.networks import Counter, Finder, Judge, Poser
from tools.train.pictures import REGIONS, Pictures
from tools.train.posing import poser_batch, poser_loss
from tools.train.settings import Settings
from tools.train.tender import counter_batch, counter_loss

_BATCH = {"finder": 64, "poser": 96, "judge": 128, "tender": 128}
_PEAK_RATE = {"finder": 2e-3, "poser": 2e-3, "judge": 2.5e-3, "tender": 2e-3}
_DECAY = 0.02
_KEEP_EVERY = 60.0  # seconds between weights kept on the way
_AVERAGE = 0.999  # weight averaging, per step; the first steps average faster

_RECOUNT_EVERY = 200  # steps between looks for pictures that have come in


@dataclass(frozen=True)
class Task:
    """What one network learns from.

    Attributes
    ----------
    net : Module
    loss : callable
        Of the network, rows of the pictures and a generator.
    rows : callable
        The rows to draw from, as far as pictures have come in.
    batch : int
        Rows a step.
    """

    net: nn.Module
    loss: Callable[[nn.Module, Tensor, torch.Generator], Tensor]
    rows: Callable[[], Tensor]
    batch: int


def task_of(name: str, pictures: Pictures, settings: Settings) -> Task:
    """The network of that name and what it learns from."""

    def everything() -> Tensor:
        return torch.arange(int(pictures.filled), device=pictures.pixels.device)

    if name == "finder":

        def finder(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
            return finder_loss(net, finder_batch(pictures, rows, generator, settings))

        return Task(Finder(), finder, everything, _BATCH["finder"])
    if name == "poser":

        def poser(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
            return poser_loss(net, poser_batch(pictures, rows, generator, settings))

        return Task(Poser(), poser, everything, _BATCH["poser"])
    if name == "tender":

        def counter(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
            return counter_loss(net, counter_batch(pictures, rows, generator, settings))

        def tendered() -> Tensor:
            rows = everything()
            return rows[(pictures.has_tender & pictures.has_engine)[rows]]

        return Task(Counter(), counter, tendered, _BATCH["tender"])
    region = REGIONS.index(name)

    def judge(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
        batch = judge_batch(pictures, rows, generator, settings, region)
        return judge_loss(net, batch, teach_place=settings.teach_place)

    def usable() -> Tensor:
        rows = everything()
        share, quad = pictures.share[rows, region], pictures.corners[rows, region]
        along = (quad[:, 0] - quad[:, 1]).norm(dim=1)
        # Regions turned away teach the judge to say so, but need not fill a third of its time.
        open_ = (share > 0.2) | (rows % 4 == 0)
        return rows[pictures.has_engine[rows] & open_ & (along > 8) & (along < 4000)]

    return Task(Judge(), judge, usable, _BATCH["judge"])


def train(
    name: str,
    pictures: Pictures,
    settings: Settings,
    *,
    until: float,
    seed: int,
    keep: Callable[[nn.Module, dict[str, object]], None],
    start: Path | None = None,
) -> None:
    """Train one network until a time, with a one-cycle rate and averaged weights.

    From the weights in `start`, at a lower rate, where there are any.
    """
    torch.manual_seed(seed)
    device = pictures.pixels.device
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    task = task_of(name, pictures, settings)
    batch = task.batch if device.type == "cuda" else min(task.batch, 32)
    rows = task.rows()
    if start is not None:
        task.net.load_state_dict(torch.load(start, map_location="cpu", weights_only=True))
    net = task.net.to(device, memory_format=torch.channels_last).train()
    average = copy.deepcopy(net).eval()
    decayed = [p for p in net.parameters() if p.ndim > 1]
    plain = [p for p in net.parameters() if p.ndim <= 1]
    peak = _PEAK_RATE["judge" if name in REGIONS else name] * (1.0 if start is None else 0.3)
    optimiser = torch.optim.AdamW(
        [{"params": decayed, "weight_decay": _DECAY}, {"params": plain, "weight_decay": 0.0}],
        lr=peak,
    )
    started, kept, step, skipped, losses = time.time(), time.time(), 0, 0, []
    seconds = max(until - started, 1e-3)
    while (done := (time.time() - started) / seconds) < 1.0:
        rate = peak * min(1.0, done / 0.08) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        for group in optimiser.param_groups:
            group["lr"] = rate
        settings.progress = done
        if step % _RECOUNT_EVERY == 0:
            rows = task.rows()
        chosen = rows[torch.randint(len(rows), (batch,), device=device, generator=generator)]
        loss = task.loss(net, chosen, generator)
        if not torch.isfinite(loss):  # one degenerate homography must not end the run
            skipped += 1
            continue
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        step += 1
        _follow(average, net, min(_AVERAGE, step / (step + 20.0)))
        if step % 50 == 0:
            losses.append(round(loss.item(), 4))
        if step % 1000 == 0:
            print(f"{name} step {step} loss {sum(losses[-20:]) / 20:.4f}", flush=True)
        if time.time() - kept > _KEEP_EVERY:
            keep(average, _report(step, skipped, batch, losses, finished=False))
            kept = time.time()
    keep(average, _report(step, skipped, batch, losses, finished=True))
    print(
        f"{name}: {step} steps of {batch}, last losses {losses[-5:]}, {skipped} skipped", flush=True
    )


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
    for kept, current in zip(average.buffers(), net.buffers(), strict=True):
        kept.copy_(current)
