"""How far a run is: on a terminal, truly; elsewhere, nothing but failures."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

from archives import Silent, fill, tag
from eyes import TESTS, command
from vision.archive import Index


def test_every_photo_and_engine_is_counted_once_failures_too(tmp_path: Path) -> None:
    fill(tmp_path, 5)
    (tmp_path / "bad.jpg").write_bytes(b"no picture")
    watcher = Silent()
    summary = tag(tmp_path, watcher=watcher)
    assert watcher.begun == [("photos", 6), ("engines", 5)]
    assert len(watcher.steps) == 11
    assert sum(watcher.steps) == summary.failed == len(watcher.failures) == 1
    again = Silent()
    summary = tag(tmp_path, watcher=again)
    # Known to be no picture: not read again, and still told of.
    assert again.begun == [("engines", 0)]
    assert (summary.failed, summary.codes) == (1, [13])


def test_results_are_kept_before_they_are_counted(tmp_path: Path) -> None:
    """A photo that is shown as done is done, whatever happens next."""
    fill(tmp_path, 20)

    class Reader(Silent):
        def step(self, *, failed: bool = False) -> None:
            super().step(failed=failed)
            if self.begun[-1][0] == "photos":
                copy = Index(None)
                copy.copy_from(tmp_path / ".telltale" / "index.sqlite")
                assert len(copy.photos()) >= len(self.steps)
                copy.close()

    tag(tmp_path, watcher=Reader())


def test_quiet_where_nobody_watches(tmp_path: Path) -> None:
    fill(tmp_path, 2)
    process = command("tag", tmp_path, "--jobs", "1")
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, b"")
    assert len(out.splitlines()) == 2  # by which guide, and what came of it


def test_a_terminal_sees_what_is_done_left_and_failed(tmp_path: Path) -> None:
    fill(tmp_path, 30)
    (tmp_path / "bad.jpg").write_bytes(b"no picture")
    ours, theirs = pty.openpty()
    path = os.pathsep.join([str(TESTS), str(TESTS.parent)])
    process = subprocess.Popen(
        [sys.executable, str(TESTS / "eyes.py"), "slow_eye", "tag", str(tmp_path), "--jobs=1"],
        env={**os.environ, "PYTHONPATH": path, "TERM": "xterm", "COLUMNS": "100"},
        stdout=subprocess.DEVNULL,
        stderr=theirs,
    )
    os.close(theirs)
    seen = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        seen += piece
    os.close(ours)
    assert process.wait() == 13
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", seen.decode())
    assert "31/31" in text
    assert "1 failed" in text
    assert re.search(r"\d\.\d/s", text)
    assert "telltale: bad.jpg: not a picture" in " ".join(text.split())
