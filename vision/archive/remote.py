"""The same looks on a Dask cluster: workers elsewhere, the index and sidecars here."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from typing import TYPE_CHECKING, Any

from vision.archive.reading import look_at
from vision.archive.values import Seen, Task
from vision.records import ArchiveError, TelltaleError
from vision.workers import AHEAD

if TYPE_CHECKING:
    from vision.pipeline import Eye

# Seconds to wait for a scheduler; a wrong address should not look like a long run.
CONNECT_S = 20


class Cluster:
    """Workers that a Dask scheduler knows.

    They must see the archive under the same path, and run the same telltale. A task
    whose worker dies is given to another by the scheduler.

    Raises
    ------
    ArchiveError
        Dask is not installed, or there is no scheduler or no worker at `address`.
    """

    def __init__(self, load_eye: Callable[[], Eye], address: str) -> None:
        try:
            self._dask: Any = import_module("distributed")
        except ImportError:
            raise ArchiveError(
                "--scheduler needs Dask; install telltale with its extra: telltale-vision[archive]"
            ) from None
        self._load_eye, self._address = load_eye, address
        try:
            self._client: Any = self._dask.Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise ArchiveError(f"{address}: no scheduler answers ({error})") from error
        if not self._threads():
            self._client.close()
            raise ArchiveError(f"{address}: the scheduler has no worker")

    def close(self) -> None:
        """Leave the cluster as it is."""
        self._client.close()

    def look(self, tasks: Iterable[Task]) -> Iterator[Seen]:
        """Look at each task; no more are handed out than the workers can soon begin."""
        waiting = iter(tasks)
        by_key: dict[str, Task] = {}
        under_way = self._dask.as_completed(loop=self._client.loop)

        def hand_out() -> None:
            while len(by_key) < max(1, self._threads()) * (1 + AHEAD):
                task = next(waiting, None)
                if task is None:
                    return
                # Not pure: two files may be the same task to Dask and not to us.
                future = self._client.submit(look_at, task, self._load_eye, pure=False)
                by_key[future.key] = task
                under_way.add(future)

        hand_out()
        while by_key:
            future = next(under_way)
            task = by_key.pop(future.key)
            yield self._result(future, task)
            future.release()
            hand_out()

    def _result(self, future: Any, task: Task) -> Seen:
        error = future.exception()
        if error is None:
            seen: Seen = future.result()
            return seen
        text = f"{task.path}: the cluster failed on it ({type(error).__name__}: {error})"
        return Seen(task.path, code=TelltaleError.exit_code, error=" ".join(text.split()))

    def _threads(self) -> int:
        return sum(self._client.nthreads().values())
