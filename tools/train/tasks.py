"""What each network learns from: its pictures, how batches are drawn of them, and its loss."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import torch
from torch import Tensor, nn

from tools.train.finding import finder_batch, finder_loss
from tools.train.judging import judge_batch, judge_loss
from tools.train.loupe import REGION, Loupe, loupe_batch, loupe_loss
from tools.train.networks import Counter, Finder, Judge, Poser, Reader, judge_of
from tools.train.number import legible, number_batch, number_loss
from tools.train.painting import Bank
from tools.train.pictures import REGIONS, Pictures
from tools.train.posing import poser_batch, poser_loss
from tools.train.settings import Settings
from tools.train.teachers import Teachers
from tools.train.tender import counter_batch, counter_loss

# A step of a judge, of the counter or of the reader takes a card less time than it takes to
# launch it: twice the rows come nearly free.
_BATCH = {"finder": 64, "poser": 96, "judge": 256, "loupe": 256, "tender": 256, "number": 768}


@dataclass(frozen=True)
class Task:
    """What one network learns from.

    Attributes
    ----------
    net : Module
    draw : callable
        A batch from rows of the pictures and a generator.
    loss : callable
        Of the network and a batch.
    rows : callable
        The rows to draw from, as far as pictures have come in.
    batch : int
        Rows a step.
    """

    net: nn.Module
    draw: Callable[[Tensor, torch.Generator], Any]
    loss: Callable[[nn.Module, Any], Tensor]
    rows: Callable[[], Tensor]
    batch: int


def task_of(
    name: str,
    pictures: Pictures,
    settings: Settings,
    *,
    seed: int = 0,
    teachers: Sequence[Path] = (),
) -> Task:
    """The network of that name and what it learns from, a judge from `teachers`' weights, too.

    Raises
    ------
    ValueError
        Teachers of what is no judge, whose words nothing would hear.
    """
    if teachers and name not in (*REGIONS, "loupe"):
        raise ValueError(f"{name}: no judge, learns from no teachers")

    def everything() -> Tensor:
        return torch.arange(int(pictures.filled), device=pictures.pixels.device)

    def drawn_by(batch_of: Callable[..., Any], *more: Any) -> Callable[..., Any]:
        return lambda rows, generator: batch_of(pictures, rows, generator, settings, *more)

    if name == "finder":
        draw = drawn_by(finder_batch)
        return Task(Finder(), draw, finder_loss, everything, _BATCH["finder"])
    if name == "poser":
        draw = drawn_by(poser_batch)
        return Task(Poser(), draw, poser_loss, everything, _BATCH["poser"])
    if name == "tender":

        def tendered() -> Tensor:
            rows = everything()
            # From near by the engine may lie beyond the picture; its tender still counts.
            counted = pictures.countable[rows].amax(1) > 0
            return rows[pictures.has_tender[rows] & (pictures.has_engine[rows] | counted)]

        draw = drawn_by(counter_batch)
        return Task(Counter(), draw, counter_loss, tendered, _BATCH["tender"])
    if name == "number":
        bank = Bank(pictures.pixels.device, seed)
        draw = drawn_by(number_batch, bank)

        def sided() -> Tensor:
            return legible(pictures, everything())

        return Task(Reader(), draw, number_loss, sided, _BATCH["number"])
    region = REGIONS.index(REGION if name == "loupe" else name)

    def usable() -> Tensor:
        rows = everything()
        share, quad = pictures.share[rows, region], pictures.corners[rows, region]
        along = (quad[:, 0] - quad[:, 1]).norm(dim=1)
        # Regions turned away teach the judge to say so, but need not fill a third of its time.
        open_ = (share > 0.2) | (rows % 4 == 0)
        return rows[pictures.has_engine[rows] & open_ & (along > 8) & (along < 4000)]

    teach = Teachers(name, teachers, pictures.pixels.device) if teachers else None

    def listening(loss: Callable[[Any, Any], Tensor]) -> Callable[[nn.Module, Any], Tensor]:
        return loss if teach is None else lambda net, batch: loss(net, teach(batch))

    if name == "loupe":
        draw = drawn_by(loupe_batch)
        return Task(Loupe(), draw, listening(loupe_loss), usable, _BATCH["loupe"])

    def loss(net: Judge, batch: Any) -> Tensor:
        few = name == "boiler_top"
        return judge_loss(net, batch, teach_place=settings.teach_place, few_cells=few)

    draw = drawn_by(judge_batch, region)
    return Task(judge_of(name), draw, listening(loss), usable, _BATCH["judge"])
