"""Who examines the listings: this process, or several of this machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from typing import TYPE_CHECKING

from vision.guide import load_guide
from vision.listings.examine import Examined, Task, examine
from vision.listings.parts import Lexicon, lexicon_of
from vision.workers import work_off

if TYPE_CHECKING:
    from vision.pipeline import Eye

LoadEye = Callable[[], "Eye"]


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
    yield from work_off(
        tasks,
        partial(_one, guide=guide, load_eye=load_eye),
        died=_died,
        begin=partial(_eye, load_eye),
        jobs=jobs,
    )


@cache
def _lexicon(guide: str) -> Lexicon:
    # Not handed over: the mappings of a guide cannot be sent to another process.
    return lexicon_of(load_guide(guide))


@cache
def _eye(load_eye: LoadEye) -> Eye:
    return load_eye()


def _one(task: Task, guide: str, load_eye: LoadEye) -> Examined:
    return examine(task, _lexicon(guide), lambda: _eye(load_eye))


def _died(task: Task) -> Examined:
    listing = task.listing
    text = "the process that examined this listing died, twice; it is left out"
    record = {"id": listing.id, "source": listing.source, "title": listing.title, "failure": text}
    return Examined(task.key, record)
