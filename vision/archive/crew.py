"""Who looks at the photos: this process, or several of this machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import TYPE_CHECKING, Protocol

from vision.archive.reading import eye_of_this_process, look_at
from vision.archive.values import Seen, Task
from vision.records import TelltaleError
from vision.workers import work_off

if TYPE_CHECKING:
    from vision.pipeline import Eye


class Crew(Protocol):
    """Whoever runs `look_at` for many tasks."""

    def look(self, tasks: Iterable[Task]) -> Iterator[Seen]:
        """Look at each task once, in any order; results come as they are ready.

        Tasks are drawn as they are needed. Where there are no more, they are asked for
        again after each result: a copy of a photo waits for that of the photo.
        """
        ...


class Alone:
    """This process, one photo after the other."""

    def __init__(self, load_eye: Callable[[], Eye]) -> None:
        self._load_eye = load_eye

    def look(self, tasks: Iterable[Task]) -> Iterator[Seen]:
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

    def look(self, tasks: Iterable[Task]) -> Iterator[Seen]:
        """Look at each task; at most three for each of the `jobs` are under way."""
        yield from work_off(
            tasks,
            partial(look_at, load_eye=self._load_eye),
            died=_died,
            begin=partial(eye_of_this_process, self._load_eye),
            jobs=self._jobs,
        )


def _died(task: Task) -> Seen:
    text = f"{task.path}: the worker died while it looked at this photo, twice"
    return Seen(task.path, code=TelltaleError.exit_code, error=text)
