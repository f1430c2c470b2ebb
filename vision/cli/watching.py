"""How a run over an archive is followed: on the terminal, and its failures in a log."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import typer


def shown(path: str) -> str:
    """Write a path as one line: a name may hold line breaks and terminal codes."""
    from vision.report.names import one_line

    return one_line(path)


class TerminalWatcher:
    """Shows a run on a terminal, and keeps its failures in a log."""

    def __init__(self, log: Path | None, progress: Any) -> None:
        self._log, self._progress = log, progress
        self._task: Any = None
        self._failed = 0

    def begin(self, what: str, count: int) -> None:
        """So many things of a kind are to be done now."""
        if self._progress is not None and count:
            self._failed = 0
            self._task = self._progress.add_task(what, total=count, failed=0)

    def step(self, *, failed: bool = False) -> None:
        """One of them is done, or has failed."""
        if self._progress is not None:
            self._failed += failed
            self._progress.update(self._task, advance=1, failed=self._failed)

    def failure(self, text: str) -> None:
        """Tell of a failure, and log it with the time."""
        line = shown(text)
        typer.echo(f"telltale: {line}", err=True)
        if self._log is not None:
            try:
                self._log.parent.mkdir(parents=True, exist_ok=True)
                with self._log.open("a", encoding="utf-8", errors="backslashreplace") as log:
                    log.write(f"{time.strftime('%Y-%m-%dT%H:%M:%S%z')} {line}\n")
            except OSError as error:
                # The failure itself has been told of on stderr; once is enough for this.
                typer.echo(f"telltale: {self._log}: {error.strerror}", err=True)
                self._log = None


@contextmanager
def watching(log: Path | None) -> Iterator[TerminalWatcher]:
    """A watcher, with a bar of progress where somebody looks on; failures go to the log."""
    if not sys.stderr.isatty():
        yield TerminalWatcher(log, None)
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        ProgressColumn,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class Rate(ProgressColumn):
        """Things done a second over the last while, as measured."""

        def render(self, task: Any) -> Text:
            speed = task.finished_speed or task.speed
            return Text("" if speed is None else f"{speed:.1f}/s")

    failures = TextColumn("{task.fields[failed]} failed")
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        Rate(),
        TimeRemainingColumn(),
        failures,
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        yield TerminalWatcher(log, progress)
