"""One network trained and its weights kept: what a process of its own is given to do."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import torch
from torch import nn

from tools.train.loop import train
from tools.train.pictures import Pictures
from tools.train.settings import Settings


@dataclass(frozen=True)
class Keeper:
    """Trains one network and keeps its weights in a folder."""

    out: Path
    seed: int
    without: tuple[str, ...] = ()
    start: Path | None = None
    part: str | None = None
    teachers: tuple[Path, ...] = ()

    def __call__(self, name: str, pictures: Pictures, until: float) -> None:
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        torch.backends.cudnn.benchmark = True
        settings = Settings().without(*self.without)
        start = self.start / f"{name}.pt" if self.start is not None else None
        told = [folder / f"{name}.pt" for folder in self.teachers]
        teachers = [path for path in told if path.exists()]
        before = json.loads(start.with_suffix(".json").read_text("utf-8")) if start else None

        def keep(net: nn.Module, report: dict[str, object]) -> None:
            # Counted whenever weights are kept: more pictures may have come in meanwhile.
            report |= {"settings": vars(settings), "pictures": int(pictures.filled)}
            report |= {"engines": pictures.engines(), "before": before}
            report |= {"part": self.part} if self.part else {}
            report |= {"teachers": len(teachers)} if teachers else {}
            partial = self.out / f"{name}.partial"
            torch.save(net.state_dict(), partial)
            partial.replace(self.out / f"{name}.pt")
            (self.out / f"{name}.json").write_text(json.dumps(report), encoding="utf-8")

        how = {"seed": self.seed, "start": start, "part": self.part, "teachers": teachers}
        train(name, pictures, settings, until=until, keep=keep, **how)
