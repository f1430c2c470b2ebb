"""Who looks at the photos: this process, or several of this machine."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait as wait_for_end
from typing import TYPE_CHECKING, Protocol

from vision.archive.reading import eye_of_this_process, look_at
from vision.archive.values import Seen, Task
from vision.records import TelltaleError

if TYPE_CHECKING:
    from vision.pipeline import Eye

# Tasks handed out beyond those at work, a worker: enough that none waits for the
# parent, few enough that memory and the work lost in a crash stay small.
AHEAD = 2


class Crew(Protocol):
    """Whoever runs `look_at` for many tasks."""

    def look(self, tasks: Sequence[Task]) -> Iterator[Seen]:
        """Look at each task once, in any order; results come as they are ready."""
        ...


class Alone:
    """This process, one photo after the other."""

    def __init__(self, load_eye: Callable[[], Eye]) -> None:
        self._load_eye = load_eye

    def look(self, tasks: Sequence[Task]) -> Iterator[Seen]:
        """Look at each task in turn."""
        for task in tasks:
            yield look_at(task, self._load_eye)


class Processes:
    """Several processes of this machine, each with networks of its own, loaded once.

    A worker that dies (a decoder that crashes, a kill) takes no photo with it: what
    was under way is tried again one by one, and only what kills a worker twice fails.
    """

    def __init__(self, load_eye: Callable[[], Eye], jobs: int) -> None:
        self._load_eye, self._jobs = load_eye, jobs

    def look(self, tasks: Sequence[Task]) -> Iterator[Seen]:
        """Look at each task; at most `jobs` times 1 + `AHEAD` are under way."""
        waiting = list(reversed(tasks))
        while waiting:
            lost: list[Task] = []
            yield from self._look_until_lost(waiting, lost, window=self._jobs * (1 + AHEAD))
            for task in lost:
                again: list[Task] = []
                yield from self._look_until_lost([task], again, window=1)
                for dead in again:
                    text = f"{dead.path}: the worker died while it looked at this photo, twice"
                    yield Seen(dead.path, code=TelltaleError.exit_code, error=text)

    def _look_until_lost(
        self, waiting: list[Task], lost: list[Task], *, window: int
    ) -> Iterator[Seen]:
        """Work `waiting` off from its end until it is empty or a worker has died."""
        under_way: dict[Future[Seen], Task] = {}
        with self._pool(min(window, self._jobs)) as pool:
            try:
                while (waiting and not lost) or under_way:
                    while waiting and not lost and len(under_way) < window:
                        task = waiting.pop()
                        # In the book before it is handed over: that may be what fails.
                        try:
                            under_way[pool.submit(look_at, task, self._load_eye)] = task
                        except BrokenProcessPool:
                            lost.append(task)
                    if not under_way:
                        break
                    done, _ = wait(under_way, return_when=FIRST_COMPLETED)
                    for future in done:
                        task = under_way.pop(future)
                        try:
                            seen = future.result()
                        except BrokenProcessPool:
                            lost.append(task)
                        else:
                            yield seen
            except GeneratorExit:
                pool.shutdown(cancel_futures=True)
                raise

    def _pool(self, jobs: int) -> ProcessPoolExecutor:
        # Not a fork: the networks' library has threads, which a fork would cut off.
        context = multiprocessing.get_context("spawn")
        return ProcessPoolExecutor(jobs, context, _begin, (self._load_eye,))


def _begin(load_eye: Callable[[], Eye]) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    eye_of_this_process(load_eye)


def _end_with_parent() -> None:
    # A killed parent closes no queue, and its workers would wait for it for ever.
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_end([parent.sentinel])
        os._exit(1)
