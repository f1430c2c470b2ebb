"""Several processes of this machine that work tasks off and survive each other's death."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait as wait_for_end
from typing import TypeVar

# Tasks handed out beyond those at work, a worker: enough that none waits for the
# parent, few enough that memory and the work lost in a crash stay small.
AHEAD = 2

T = TypeVar("T")
R = TypeVar("R")


def processors() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def work_off(
    tasks: Iterable[T],
    work: Callable[[T], R],
    *,
    died: Callable[[T], R],
    begin: Callable[[], object],
    jobs: int,
) -> Iterator[R]:
    """Work each task off once, in any order; results come as they are ready.

    A worker that dies (a decoder that crashes, a kill) takes no task with it: what was
    under way is tried again one by one, and only what kills a worker twice has `died`.

    Parameters
    ----------
    tasks : iterable
        Drawn as needed: at most `jobs` times 1 + `AHEAD` are under way. One that says it
        has no more is asked again after each result, so that it may hold a task back
        until another's result is in.
    work, begin : callable
        Sent to the workers; each calls `begin` once, before its first task.
    died : callable
        The result of a task that killed a worker twice.
    jobs : int
    """
    source = iter(tasks)
    while True:
        lost: list[T] = []
        yield from _until_lost(source, lost, work, begin, jobs)
        if not lost:
            return
        for task in lost:
            again: list[T] = []
            yield from _until_lost(iter([task]), again, work, begin, 1)
            yield from (died(dead) for dead in again)


def _until_lost(
    source: Iterator[T],
    lost: list[T],
    work: Callable[[T], R],
    begin: Callable[[], object],
    jobs: int,
) -> Iterator[R]:
    """Work `source` off until it is empty or a worker has died."""
    under_way: dict[Future[R], T] = {}
    # Not a fork: the networks' library has threads, which a fork would cut off.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, context, _begin, (begin,)) as pool:
        try:
            while True:
                while not lost and len(under_way) < jobs * (1 + AHEAD):
                    try:
                        task = next(source)
                    except StopIteration:
                        break
                    # In the book before it is handed over: that may be what fails.
                    try:
                        under_way[pool.submit(work, task)] = task
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


def _begin(begin: Callable[[], object]) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    # A process for each core: more threads would only stand in each other's way.
    # Imported here, since the parent looks at no picture.
    import cv2

    cv2.setNumThreads(1)
    begin()


def _end_with_parent() -> None:
    # A killed parent closes no queue, and its workers would wait for it for ever.
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)
