"""Several networks at once, on one copy of the pictures a card, while more come in."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import torch
from torch import multiprocessing

from tools.train.loading import empty, follow
from tools.train.pictures import STORED, Pictures


@dataclass(frozen=True)
class Source:
    """A folder that is still being rendered into.

    Attributes
    ----------
    folder : Path
    capacity : int
        Pictures that a card has room for; those beyond are left out.
    first : int
        Pictures to wait for before the training starts.
    threads : int
        For decoding.
    stored : (int, int)
        Width and height in pixels that pictures are fitted into.
    figures : bool
        Whether the figures of cab numbers are sought, which only the reader learns from.
    """

    folder: Path
    capacity: int
    first: int
    threads: int = 3
    stored: tuple[int, int] = STORED
    figures: bool = True


def train_together(
    source: Source,
    devices: Mapping[str, str],
    work: Callable[[str, Pictures, float], None],
    *,
    until: float,
    in_threads: bool = False,
) -> None:
    """Train every network of `devices` on its device until a time.

    Parameters
    ----------
    source : Source
    devices : mapping of str to str
        Network and the device it is trained on.
    work : callable
        Trains one network: its name, the pictures, when to stop. Must be picklable.
    until : float
        Seconds since 1970.
    in_threads : bool
        Threads in place of processes, where these cannot share a card's memory.

    Raises
    ------
    RuntimeError
        One of the networks failed; the others have run to their end.
    """
    stores = {
        device: empty(source.capacity, device, source.stored) for device in set(devices.values())
    }
    loader = threading.Thread(
        target=follow,
        args=(list(stores.values()), source.folder),
        kwargs={"until": until, "threads": source.threads, "figures": source.figures},
        daemon=True,
    )
    loader.start()
    filled = next(iter(stores.values())).filled
    while int(filled) < min(source.first, source.capacity) and time.time() < until:
        time.sleep(0.2)
    print(f"{int(filled)} pictures to start with", flush=True)
    context = multiprocessing.get_context("spawn")
    runners = []
    for name, device in devices.items():
        arguments = (work, name, stores[device], until)
        if in_threads:
            runners.append(threading.Thread(target=_run, args=arguments))
        else:
            runners.append(context.Process(target=_run, args=arguments))
        runners[-1].start()
    for runner in runners:
        runner.join()
    loader.join(timeout=10.0)
    failed = [r.name for r in runners if getattr(r, "exitcode", 0)]
    if failed:
        raise RuntimeError(f"{len(failed)} of {len(runners)} networks failed")


def _run(
    work: Callable[[str, Pictures, float], None], name: str, pictures: Pictures, until: float
) -> None:
    if pictures.pixels.is_cuda:
        torch.cuda.set_device(pictures.pixels.device)
    work(name, pictures, until)
