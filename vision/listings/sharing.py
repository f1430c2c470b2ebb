"""Which listings show the same photos: each content is looked at once, and by one worker."""

from __future__ import annotations

import hashlib
import os
import stat
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from vision.listings.examine import MOST_PHOTOS, Examined, Task, is_address
from vision.listings.pictures import LIMITS, listed_path
from vision.listings.store import Store
from vision.listings.values import View
from vision.records import TelltaleError

# Listings that wait for a photo which a worker is looking at; when so many do, no
# further one is drawn. Chosen: drawing may mean fetching.
MOST_WAITING = 64


class Sharing:
    """Hands out listings, and with each what is known already of its photos.

    A listing with a photo that is just being looked at for another one waits for it. The
    iterator then says that it has no more, and goes on once `done` was called.

    Parameters
    ----------
    tasks : iterable of Task
        Drawn as needed.
    store : Store
        Where views are kept.
    eye : str
        Name of the eye that looks, as `vision.pipeline.look.eye_name` gives it.
    sizes : Counter of int
        How often each file size, in bytes, occurs among the photos of all listings. Only
        files whose size occurs twice can be alike, and only those are read to be hashed.
    """

    def __init__(self, tasks: Iterable[Task], store: Store, eye: str, sizes: Counter[int]) -> None:
        self._source, self._store, self._eye = iter(tasks), store, eye
        self._sizes = {size for size, count in sizes.items() if count > 1} | store.sizes(eye)
        self._hashes: dict[tuple[str, int, int], str] = {}
        self._waiting: list[tuple[Task, dict[str, str]]] = []
        self._looked_at: dict[str, frozenset[str]] = {}

    def __iter__(self) -> Iterator[Task]:
        return self

    def __next__(self) -> Task:
        busy = frozenset().union(*self._looked_at.values())
        for position, (task, contents) in enumerate(self._waiting):
            if busy.isdisjoint(contents.values()):
                del self._waiting[position]
                return self._handed_out(task, contents)
        while len(self._waiting) < MOST_WAITING:
            task = next(self._source)
            contents = self._contents(task)
            if busy.isdisjoint(contents.values()):
                return self._handed_out(task, contents)
            self._waiting.append((task, contents))
        raise StopIteration

    def done(self, examined: Examined) -> None:
        """Let go of the photos of a listing; its views are in the store by now."""
        self._looked_at.pop(examined.key, None)

    def _handed_out(self, task: Task, contents: dict[str, str]) -> Task:
        known: dict[str, View] = {}
        for reference, sha in contents.items():
            view = self._store.view(sha, self._eye)
            if view is not None:
                known[reference] = view
        self._looked_at[task.key] = frozenset(contents.values()) - {
            view.sha256 for view in known.values()
        }
        return replace(task, known=tuple(known.items()))

    def _contents(self, task: Task) -> dict[str, str]:
        """Hash of each photo of a listing that another one may show too."""
        fetched = {url: path for url, path, _ in task.fetched if path}
        contents = {}
        for reference in task.listing.photos[:MOST_PHOTOS]:
            if is_address(reference):
                if reference in fetched:
                    # The cache names files by their content.
                    contents[reference] = Path(fetched[reference]).name
            elif sha := self._hash(task.folder, reference):
                contents[reference] = sha
        return contents

    def _hash(self, folder: Path, reference: str) -> str:
        """Hash of a file; empty where none is needed, or it cannot be read: a worker says why."""
        try:
            path = listed_path(folder, reference)
            status = os.stat(path)  # noqa: PTH116 — follows links, as reading does
            small = status.st_size in self._sizes and status.st_size <= LIMITS.bytes
            # Reading what is no file might never end.
            if not small or not stat.S_ISREG(status.st_mode):
                return ""
            key = (str(path), status.st_size, status.st_mtime_ns)
            if key not in self._hashes:
                self._hashes[key] = hashlib.sha256(path.read_bytes()).hexdigest()
            return self._hashes[key]
        except (TelltaleError, OSError, ValueError):
            return ""
