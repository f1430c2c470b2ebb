"""Photos that wait to be looked at: a copy waits for its original, and is then known."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import replace

from vision.archive.values import Seen, Task


class Pending:
    """Hands out tasks so that copies are not looked at again.

    Only a file of the same size can be a copy. While the first of a size is being looked
    at, the others wait; the iterator then says that it has no more, and goes on once
    `done` was called. After that none waits: all photos of one uncompressed format may
    have one size, and one worker would do all the work. Where different photos have one
    size, copies of all but the first are looked at again if they are read side by side.

    Parameters
    ----------
    tasks : iterable of (Task, int)
        With the size of each file, bytes.
    """

    def __init__(self, tasks: Iterable[tuple[Task, int]]) -> None:
        self._source = iter(tasks)
        self._waiting: deque[tuple[Task, int]] = deque()
        self._sizes: dict[str, int] = {}
        self._hashes: dict[int, set[str]] = {}

    def __iter__(self) -> Iterator[Task]:
        return self

    def __next__(self) -> Task:
        for position, (task, size) in enumerate(self._waiting):
            if not self._is_held(size):
                del self._waiting[position]
                return self._handed_out(task, size)
        for task, size in self._source:
            if not self._is_held(size):
                return self._handed_out(task, size)
            self._waiting.append((task, size))
        raise StopIteration

    def done(self, seen: Seen) -> None:
        """Note what came of a task."""
        size = self._sizes.pop(seen.path)
        if seen.look:
            self._hashes.setdefault(size, set()).add(seen.sha256)

    def _is_held(self, size: int) -> bool:
        return size not in self._hashes and size in self._sizes.values()

    def _handed_out(self, task: Task, size: int) -> Task:
        self._sizes[task.path] = size
        found = self._hashes.get(size)
        return task if found is None else replace(task, known=(*task.known, *sorted(found)))
