"""Train the networks: python -m tools.train --data DIR --out DIR --only finder --seconds 200.

Writes NAME.pt (averaged weights) and NAME.json (settings, losses, pictures seen), at the
end and about once a minute on the way, so that a run cut short leaves its best weights.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import time
from collections.abc import Callable
from pathlib import Path

import torch
from torch import Tensor, nn

from tools.train.finding import finder_batch, finder_loss
from tools.train.judging import judge_batch, judge_loss
from tools.train.networks import Counter, Finder, Judge, Poser
from tools.train.pictures import REGIONS, Pictures, load
from tools.train.posing import poser_batch, poser_loss
from tools.train.settings import Settings
from tools.train.tender import counter_batch, counter_loss

_BATCH = {"finder": 64, "poser": 128, "judge": 192, "tender": 128}
_PEAK_RATE = {"finder": 2e-3, "poser": 2e-3, "judge": 2.5e-3, "tender": 2e-3}
_DECAY = 0.02
_KEEP_EVERY = 60.0  # seconds between weights kept on the way
_AVERAGE = 0.999  # weight averaging, per step; the first steps average faster


def main() -> None:
    """Parse the arguments, load the pictures once, train what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", nargs="+", default=["finder", "poser", *REGIONS, "tender"])
    parser.add_argument("--seconds", type=float, nargs="+", default=[200.0], help="per network")
    parser.add_argument("--until", type=float, help="stop at this time, seconds since 1970")
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--without", nargs="*", default=[], help="ingredients to switch off")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    pictures = load(arguments.data, arguments.device)
    print(f"{len(pictures.files)} pictures loaded", flush=True)
    settings = Settings()
    for name in arguments.without:
        value = getattr(settings, name)
        setattr(settings, name, False if isinstance(value, bool) else 0.0)
    budgets = arguments.seconds * len(arguments.only)
    for name, seconds in zip(arguments.only, budgets, strict=False):

        def keep(net: nn.Module, report: dict[str, object], name: str = name) -> None:
            report |= {"settings": vars(settings), "pictures": len(pictures.files)}
            partial = arguments.out / f"{name}.partial"
            torch.save(net.state_dict(), partial)
            partial.replace(arguments.out / f"{name}.pt")
            (arguments.out / f"{name}.json").write_text(json.dumps(report), encoding="utf-8")

        until = time.time() + seconds if arguments.until is None else arguments.until
        train(name, pictures, settings, until=until, seed=arguments.seed, keep=keep)


def step_of(
    name: str, pictures: Pictures, settings: Settings
) -> tuple[nn.Module, Callable[[nn.Module, Tensor, torch.Generator], Tensor], Tensor, int]:
    """The network of that name, its loss over rows, the rows to draw from, and the batch size."""
    everything = torch.arange(len(pictures.files), device=pictures.pixels.device)
    if name == "finder":

        def finder(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
            return finder_loss(net, finder_batch(pictures, rows, generator, settings))

        return Finder(), finder, everything, _BATCH["finder"]
    if name == "poser":

        def poser(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
            return poser_loss(net, poser_batch(pictures, rows, generator, settings))

        return Poser(), poser, everything, _BATCH["poser"]
    if name == "tender":

        def counter(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
            return counter_loss(net, counter_batch(pictures, rows, generator, settings))

        tendered = pictures.has_tender & pictures.has_engine
        return Counter(), counter, everything[tendered], _BATCH["tender"]
    region = REGIONS.index(name)

    def judge(net: nn.Module, rows: Tensor, generator: torch.Generator) -> Tensor:
        batch = judge_batch(pictures, rows, generator, settings, region)
        return judge_loss(net, batch, teach_place=settings.teach_place)

    # Regions turned away teach the judge to say so, but need not fill a third of its time.
    share = pictures.share[:, region]
    rare = torch.arange(len(share), device=share.device) % 4 == 0
    along = (pictures.corners[:, region, 0] - pictures.corners[:, region, 1]).norm(dim=1)
    usable = pictures.has_engine & ((share > 0.2) | rare) & (along > 8) & (along < 4000)
    return Judge(), judge, everything[usable], _BATCH["judge"]


def train(
    name: str,
    pictures: Pictures,
    settings: Settings,
    *,
    until: float,
    seed: int,
    keep: Callable[[nn.Module, dict[str, object]], None],
) -> None:
    """Train one network until a time, with a one-cycle rate and averaged weights."""
    torch.manual_seed(seed)
    device = pictures.pixels.device
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    net, loss_of, rows, batch = step_of(name, pictures, settings)
    net = net.to(device, memory_format=torch.channels_last).train()
    average = copy.deepcopy(net).eval()
    decayed = [p for p in net.parameters() if p.ndim > 1]
    plain = [p for p in net.parameters() if p.ndim <= 1]
    peak = _PEAK_RATE["judge" if name in REGIONS else name]
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
        chosen = rows[torch.randint(len(rows), (batch,), device=device, generator=generator)]
        loss = loss_of(net, chosen, generator)
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


if __name__ == "__main__":
    main()
