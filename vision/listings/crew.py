"""Who examines the listings: this process, or several of this machine."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from functools import cache
from multiprocessing.connection import wait as wait_for_end
from typing import TYPE_CHECKING

from vision.guide import load_guide
from vision.listings.examine import Examined, Task, examine
from vision.listings.parts import Lexicon, lexicon_of

if TYPE_CHECKING:
    from vision.pipeline import Eye

LoadEye = Callable[[], "Eye"]
# Tasks handed out beyond those at work, a worker: none waits, and memory stays small.
AHEAD = 2


def work(tasks: Iterable[Task], guide: str, load_eye: LoadEye, jobs: int) -> Iterator[Examined]:
    """Examine tasks by the guide of that name or file; results come as they are ready.

    A worker that dies takes no listing with it: what was under way is tried again one
    by one, and only what kills a worker twice is recorded as failed.
    """
    if jobs == 1:
        lexicon = lexicon_of(load_guide(guide))
        for task in tasks:
            yield examine(task, lexicon, load_eye)
        return
    source = iter(tasks)
    while True:
        lost: list[Task] = []
        yield from _until_lost(source, lost, guide, load_eye, jobs)
        if not lost:
            return
        for task in lost:
            again: list[Task] = []
            yield from _until_lost(iter([task]), again, guide, load_eye, 1)
            for dead in again:
                yield _died(dead)


def _until_lost(
    source: Iterator[Task], lost: list[Task], guide: str, load_eye: LoadEye, jobs: int
) -> Iterator[Examined]:
    under_way: dict[Future[Examined], Task] = {}
    # Not a fork: the networks' library has threads, which a fork would cut off.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, context, _begin, (load_eye,)) as pool:
        try:
            empty = False
            while True:
                while not empty and not lost and len(under_way) < jobs * (1 + AHEAD):
                    task = next(source, None)
                    if task is None:
                        empty = True
                        break
                    try:
                        under_way[pool.submit(_one, task, guide, load_eye)] = task
                    except BrokenProcessPool:
                        lost.append(task)
                if not under_way:
                    return
                done, _ = wait(under_way, return_when=FIRST_COMPLETED)
                for future in done:
                    task = under_way.pop(future)
                    try:
                        result = future.result()
                    except BrokenProcessPool:
                        lost.append(task)
                    else:
                        yield result
        except GeneratorExit:
            pool.shutdown(cancel_futures=True)
            raise


@cache
def _lexicon(guide: str) -> Lexicon:
    # Not handed over: the mappings of a guide cannot be sent to another process.
    return lexicon_of(load_guide(guide))


@cache
def _eye(load_eye: LoadEye) -> Eye:
    return load_eye()


def _one(task: Task, guide: str, load_eye: LoadEye) -> Examined:
    return examine(task, _lexicon(guide), lambda: _eye(load_eye))


def _begin(load_eye: LoadEye) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _eye(load_eye)


def _end_with_parent() -> None:
    # A killed parent closes no queue, and its workers would wait for it for ever.
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)


def _died(task: Task) -> Examined:
    listing = task.listing
    text = "the process that examined this listing died, twice; it is left out"
    record = {"id": listing.id, "source": listing.source, "title": listing.title, "failure": text}
    return Examined(task.key, record)
