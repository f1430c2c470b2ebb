"""The same archive on a Dask cluster: a real scheduler and two workers on loopback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from archives import Silent, fill, state, tag
from eyes import TESTS, slow_eye
from vision.archive import Index
from vision.records import ArchiveError

pytest.importorskip("distributed", reason='needs Dask: the extra "archive"')

START_S = 60


@dataclass
class Dask:
    """A scheduler and workers as processes of their own."""

    folder: Path
    address: str = ""
    processes: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        path = os.pathsep.join([str(TESTS), str(TESTS.parent)])
        process = subprocess.Popen(
            [sys.executable, "-m", "dask", *words],
            env={**os.environ, "PYTHONPATH": path},
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.processes.append(process)
        return process

    def begin(self) -> None:
        file = self.folder / "scheduler.json"
        own = ("--scheduler-file", str(file), "--no-dashboard")
        self.start("scheduler", "--host", "127.0.0.1", "--port", "0", *own)
        wait_until(file.exists)
        self.address = json.loads(file.read_text())["address"]
        for _ in range(2):
            self.start("worker", self.address, "--no-nanny", "--nthreads", "1", "--no-dashboard")

    def workers(self) -> list[subprocess.Popen[bytes]]:
        return self.processes[1:]

    def end(self) -> None:
        for process in reversed(self.processes):
            process.kill()
            process.wait()


def wait_until(true: object) -> None:
    deadline = time.monotonic() + START_S
    while not true():  # type: ignore[operator]
        assert time.monotonic() < deadline
        time.sleep(0.05)


@pytest.fixture(scope="module")
def dask(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Dask]:
    cluster = Dask(tmp_path_factory.mktemp("dask"))
    try:
        cluster.begin()
        from distributed import Client

        with Client(cluster.address, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=START_S)
        yield cluster
    finally:
        cluster.end()


def answers(root: Path) -> list[object]:
    index = Index(root / ".telltale" / "index.sqlite")
    try:
        return list(index.engines())
    finally:
        index.close()


@pytest.mark.slow
def test_a_cluster_says_the_same_bit_for_bit_though_a_worker_dies(
    dask: Dask, tmp_path: Path
) -> None:
    alone, spread = tmp_path / "alone", tmp_path / "spread"
    for root in (alone, spread):
        fill(root, 60)
    tag(alone, load_eye=slow_eye)

    class Killer(Silent):
        def step(self, *, failed: bool = False) -> None:
            super().step(failed=failed)
            if len(self.steps) == 16:
                dask.workers()[0].kill()

    watcher = Killer()
    summary = tag(spread, load_eye=slow_eye, watcher=watcher, scheduler=dask.address)
    assert dask.workers()[0].wait(timeout=START_S) < 0
    assert dask.workers()[1].poll() is None
    assert (summary.looked_at, summary.failed) == (60, 0)
    assert {n: data for n, (data, _) in state(spread).items()} == {
        n: data for n, (data, _) in state(alone).items()
    }
    assert answers(spread) == answers(alone)
    again = tag(spread, load_eye=slow_eye, scheduler=dask.address)
    assert (again.looked_at, again.written) == (0, [])


def test_nobody_at_the_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vision.archive.remote.CONNECT_S", 1)
    fill(tmp_path, 1)
    with pytest.raises(ArchiveError, match="no scheduler answers"):
        tag(tmp_path, scheduler="tcp://127.0.0.1:9")
