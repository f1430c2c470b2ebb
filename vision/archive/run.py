"""`tag`: look at what is new, date each engine, write what has changed."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from functools import cache
from typing import TYPE_CHECKING

from vision.archive.crew import Alone, Crew, Processes
from vision.archive.engines import Engines, Prepared
from vision.archive.files import sole_run
from vision.archive.guides import known_place
from vision.archive.index import GuideRow, Index, PhotoRow
from vision.archive.order import Order, Summary, Watcher
from vision.archive.pending import Pending
from vision.archive.told import told_apart
from vision.archive.values import Seen, Task
from vision.archive.walk import Tree, walk
from vision.photo.header import NEEDS_EXTRA, formats
from vision.pipeline import LoadTold
from vision.pipeline.look import eye_name
from vision.records import (
    ArchiveError,
    PhotoEmpty,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
)

if TYPE_CHECKING:
    from vision.pipeline import Eye

# Photos whose results are written to the index together: a kill loses no more work.
BATCH = 16
_AHEAD = 4  # engines dated while sidecars are still being written
# Failures that lie in the bytes: the same bytes fail again, so they are not read again.
LASTING = {e.exit_code for e in (PhotoEmpty, PhotoUnreadable, PhotoTooLarge, PhotoTooSmall)}


def tag_archive(order: Order, load_eye: Callable[[], Eye], watcher: Watcher) -> Summary:
    """Tag the photos below a folder.

    Parameters
    ----------
    order : Order
    load_eye : callable
        Importable by name where several processes work.
    watcher : Watcher

    Returns
    -------
    Summary

    Raises
    ------
    ArchiveError, ArchiveBusy, OutputError
        The run cannot begin or go on. What is done is kept, and the next run goes on.
    """
    if not order.root.is_dir():
        raise ArchiveError(f"{order.root}: no such folder")
    with ExitStack() as held:
        if not order.dry:
            held.enter_context(sole_run(order.root, order.index_path))
        index = _open_index(order)
        held.callback(index.close)
        if order.jobs == 1 and order.scheduler is None:
            load_eye = cache(load_eye)
        model = load_eye().version
        lever_at = order.guide.lever_at
        run = _Run(order, index, eye_name(model, lever_at), watcher)
        tree = run.walk()
        if not order.dry:
            # Before anything is looked at: whoever goes on after a stop goes on with it.
            guide = order.guide
            place = order.place or known_place(guide)
            index.keep_guide(GuideRow(guide.name, guide.version, guide.sha256, place))
        tasks = run.plan(tree)
        if tasks:
            crew = _crew(order, LoadTold(load_eye, lever_at), held)
            run.look(crew, tasks)
        run.date(tree, model)
    return run.summary


def _open_index(order: Order) -> Index:
    if not order.dry:
        return Index(order.index_path)
    index = Index(None)
    if order.index_path.exists():
        index.copy_from(order.index_path)
    return index


def _crew(order: Order, load_eye: Callable[[], Eye], held: ExitStack) -> Crew:
    if order.scheduler is not None:
        from vision.archive.remote import Cluster

        cluster = Cluster(load_eye, order.scheduler)
        held.callback(cluster.close)
        return cluster
    return Alone(load_eye) if order.jobs == 1 else Processes(load_eye, order.jobs)


class _Run:
    """One run: the index is written here and nowhere else."""

    def __init__(self, order: Order, index: Index, eye: str, watcher: Watcher) -> None:
        self._order, self._index, self._eye, self._watcher = order, index, eye, watcher
        self.summary = Summary(rebuilt=index.rebuilt)
        self._unwritten = 0  # sidecars, for whatever reason
        self._fresh: set[str] = set()  # engines that this run has come to

    def walk(self) -> Tree:
        """List the photos, and clear away what a killed run left half-written."""
        tree = walk(str(self._order.root))
        for folder, reason in tree.unreadable:
            self._fail(f"{folder}: the folder cannot be read ({reason})", ArchiveError.exit_code)
        if not self._order.dry:
            for part in tree.parts:
                (self._order.root / part).unlink(missing_ok=True)
        self.summary.photos = len(tree.photos)
        return tree

    def plan(self, tree: Tree) -> list[tuple[Task, int]]:
        """What must be read, with its bytes: what is new or changed, or new to this eye."""
        before = self._index.photos()
        seen = self._index.looked_at(self._eye)
        self._index.forget_photos(path for path in before if path not in tree.photos)
        by_size: dict[int, set[str]] = {}
        for row in before.values():
            if row.stamp is not None and row.sha256 in seen:
                by_size.setdefault(row.stamp.size, set()).add(row.sha256)
        tasks = []
        for path, stamp in tree.photos.items():
            last = before.get(path)
            if last is not None and last.stamp == stamp and self._is_settled(last, seen):
                if last.code:
                    self.summary.unread += 1
                    self._fail(last.error, last.code)
                else:
                    self.summary.unchanged += 1
            else:
                known = tuple(sorted(by_size.get(stamp.size, ())))
                tasks.append((Task(str(self._order.root), path, known), stamp.size))
        return tasks

    def _is_settled(self, row: PhotoRow, seen: set[str]) -> bool:
        if not row.code:
            return row.sha256 in seen
        # What lacked an extra may be read once that is there.
        return row.code in LASTING and not (NEEDS_EXTRA in row.error and "HEIF" in formats())

    def look(self, crew: Crew, tasks: Sequence[tuple[Task, int]]) -> None:
        """Have the crew look, and keep what it saw."""
        self._watcher.begin("photos", len(tasks))
        pending = Pending(tasks)
        fresh = set()
        for batch in _batches(_noted(crew.look(pending), pending)):
            self._index.keep_seen(batch, self._eye)
            for seen in batch:
                if seen.error:
                    self.summary.unread += 1
                    self._fail(seen.error, seen.code)
                elif seen.look:
                    fresh.add(seen.sha256)
                    self.summary.looked_at += 1
                elif seen.sha256 in fresh:
                    self.summary.copies += 1
                else:
                    self.summary.unchanged += 1
                self._watcher.step(failed=bool(seen.error))

    def date(self, tree: Tree, model: str) -> None:
        """Date each engine whose photos, guide or model changed, and write its sidecars."""
        engines = Engines(self._order.root, self._index, self._order.guide, self._eye, model)
        jobs = engines.plan(tree, self._order.by)
        self.summary.idle, self.summary.unheeded = engines.idle, engines.unheeded
        self._watcher.begin("engines", len(jobs))
        # A file is safe on its disk only after a wait, in which the next engine is dated.
        waiting: deque[tuple[Prepared, Future[dict[str, os.stat_result]]]] = deque()
        with ThreadPoolExecutor(1) as writer:
            for job in jobs:
                # A sidecar that two engines share is read only once it is written.
                mine = {path for _, path in job.sidecars}
                while waiting and (len(waiting) >= _AHEAD or mine & _paths(waiting)):
                    self._finish(engines, *waiting.popleft())
                prepared = engines.prepare(job, dry=self._order.dry)
                if self._order.dry:
                    self._count(prepared, prepared.changed)
                else:
                    waiting.append((prepared, writer.submit(engines.write, prepared)))
            while waiting:
                self._finish(engines, *waiting.popleft())
        self.summary.told = told_apart(self._index.engines(), self._fresh)
        self.summary.current = engines.sidecars - len(self.summary.written) - self._unwritten

    def _finish(
        self, engines: Engines, prepared: Prepared, done: Future[dict[str, os.stat_result]]
    ) -> None:
        self._count(prepared, engines.note(prepared, done.result()))

    def _count(self, prepared: Prepared, written: list[str]) -> None:
        self.summary.written += written
        self._fresh.add(prepared.engine)
        self._unwritten += len(prepared.errors)
        for error in prepared.errors:
            self._fail(str(error), error.exit_code)
        self._watcher.step(failed=bool(prepared.errors))

    def _fail(self, text: str, code: int) -> None:
        self.summary.codes.append(code)
        self.summary.failed += 1
        self._watcher.failure(text)


def _paths(waiting: Iterable[tuple[Prepared, object]]) -> set[str]:
    return {draft.path for prepared, _ in waiting for draft in prepared.drafts}


def _noted(results: Iterator[Seen], pending: Pending) -> Iterator[Seen]:
    """Pass results on, and let go of what waits for them before the next is asked for."""
    for seen in results:
        pending.done(seen)
        yield seen


def _batches(results: Iterator[Seen]) -> Iterator[list[Seen]]:
    batch: list[Seen] = []
    try:
        for seen in results:
            batch.append(seen)
            if len(batch) == BATCH:
                full, batch = batch, []
                yield full
    finally:
        # Also where a person stops the run: what was seen until then is kept.
        if batch:
            yield batch
