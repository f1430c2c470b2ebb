"""What goes wrong with real folders: kills, full disks, odd names, damage, two at once."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from lxml import etree

from archives import Silent, different, fill, state, tag
from eyes import TESTS, command, slow_eye
from shapes import encoded
from vision.archive import Index
from vision.archive.files import sole_run
from vision.records import ArchiveBusy, ArchiveError

needs_namespaces = pytest.mark.skipif(
    shutil.which("unshare") is None
    or subprocess.run(["unshare", "-Urm", "true"], capture_output=True).returncode != 0,
    reason="this system lets nobody mount a disk of their own (unshare -Urm)",
)


def in_a_fork(work: Callable[[], object]) -> int:
    """Start `work` in a copy of this process, which needs no second to import everything."""
    with warnings.catch_warnings():
        # The copy uses none of the threads that the warning is about.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid == 0:
        try:
            work()
            os._exit(0)
        finally:
            os._exit(1)
    return pid


def check_whole(root: Path, original: dict[str, tuple[bytes, int]]) -> None:
    """Photos as they were, and every sidecar complete."""
    now = state(root)
    assert {name: now[name] for name in original} == original
    for name in set(now) - set(original):
        if name.endswith(".xmp"):
            etree.fromstring(now[name][0])
        else:
            assert Path(name).name.startswith(".telltale-"), f"{name} is left over"


def check_finished(root: Path, count: int, expected: dict[str, bytes]) -> None:
    """The same files as of a run that nobody disturbed; each photo once in the index."""
    assert {name: data for name, (data, _) in state(root).items()} == expected
    index = Index(root / ".telltale" / "index.sqlite")
    try:
        assert index.rebuilt == ""
        assert len(index.photos()) == count
        members = [photo for row in index.engines() for photo in row.photos]
        assert len(members) == len(set(members)) == count
        assert set(index.sidecars()) == {f"{photo}.xmp" for photo in members}
    finally:
        index.close()


def kill_until(
    start: Callable[[Path], tuple[int, Callable[[], object]]],
    tmp_path: Path,
    *,
    count: int,
    kills: int,
    seed: int,
) -> None:
    """Kill runs at random moments until `kills` have died at work.

    `start` begins a run and gives its process and what to call when it has ended. A run
    that ends before its moment is checked, and the next begins with the photos anew.
    """
    fresh, twin = tmp_path / "fresh", tmp_path / "twin"
    fill(fresh, count)
    shutil.copytree(fresh, twin, copy_function=shutil.copy2)
    started = time.monotonic()
    wait_for(*start(twin))
    whole = time.monotonic() - started
    expected = {name: data for name, (data, _) in state(twin).items()}
    generator = np.random.default_rng(seed)
    died = runs = 0
    root = tmp_path / "root-0"
    shutil.copytree(fresh, root, copy_function=shutil.copy2)
    original = state(root)
    while died < kills:
        runs += 1
        assert runs < 10 * kills
        pid, ended = start(root)
        time.sleep(generator.uniform(0.0, whole))
        os.kill(pid, signal.SIGKILL)
        if wait_for(pid, ended) == -signal.SIGKILL:
            died += 1
            check_whole(root, original)
            continue
        check_finished(root, count, expected)
        root = tmp_path / f"root-{runs}"
        shutil.copytree(fresh, root, copy_function=shutil.copy2)
        original = state(root)
    assert wait_for(*start(root)) == 0
    check_finished(root, count, expected)
    before = state(root)
    assert wait_for(*start(root)) == 0
    assert state(root) == before
    print(f"{died} kills in {runs} runs of {count} photos; a whole run takes {whole:.1f} s")


def wait_for(pid: int, ended: Callable[[], object]) -> int:
    """Exit code of a process; minus the signal that ended it."""
    code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    ended()
    return code


@pytest.mark.slow
def test_killed_at_eight_moments_it_goes_on_where_it_was(tmp_path: Path) -> None:
    def start(root: Path) -> tuple[int, Callable[[], object]]:
        return in_a_fork(lambda: tag(root, load_eye=slow_eye)), lambda: None

    kill_until(start, tmp_path, count=60, kills=8, seed=6)


def test_work_done_before_a_kill_is_not_done_again(tmp_path: Path) -> None:
    fill(tmp_path, 40)

    def until_killed() -> None:
        class Killer(Silent):
            def step(self, *, failed: bool = False) -> None:
                super().step(failed=failed)
                if len(self.steps) == 20:
                    os.kill(os.getpid(), signal.SIGKILL)

        tag(tmp_path, watcher=Killer())

    pid = in_a_fork(until_killed)
    assert os.WTERMSIG(os.waitpid(pid, 0)[1]) == signal.SIGKILL
    # Results are kept in batches of 16, the second of which had been kept.
    assert tag(tmp_path).looked_at == 8


@pytest.mark.slow
def test_workers_end_with_a_killed_parent(tmp_path: Path) -> None:
    fill(tmp_path, 200)
    process = command("tag", tmp_path, "--jobs", "2", eye="slow_eye")
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    workers: list[str] = []
    while len(workers) < 3:  # two and the tracker of resources
        assert process.poll() is None
        workers = children.read_text().split()
        time.sleep(0.05)
    process.kill()
    process.communicate()
    deadline = time.monotonic() + 20
    while any(alive(pid) for pid in workers):
        assert time.monotonic() < deadline, "a worker outlives its parent"
        time.sleep(0.05)


def alive(pid: str) -> bool:
    try:
        return ") Z " not in Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False


def on_a_disk_of_its_own(script: str, tmp_path: Path) -> subprocess.CompletedProcess[str]:
    """Run a shell script where it may mount; `tag` and `search` are the command's."""
    path = os.pathsep.join([str(TESTS), str(TESTS.parent)])
    call = f'"{sys.executable}" "{TESTS}/eyes.py" fake_eye'
    head = f'set -u\ntag() {{ {call} tag "$@"; }}\nsearch() {{ {call} find "$@"; }}\n'
    return subprocess.run(
        ["unshare", "-Urm", "sh", "-c", head + script],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=120,
    )


@pytest.mark.slow
@needs_namespaces
def test_a_full_disk_loses_nothing_and_the_next_run_goes_on(tmp_path: Path) -> None:
    fill(tmp_path / "photos", 12)
    script = """
    mkdir disk && mount -t tmpfs -o size=900k tmpfs disk && cp -p photos/* disk/
    dd if=/dev/zero of=disk/ballast 2>/dev/null
    tag disk --jobs 1; echo "index: $?"
    tag disk --jobs 1 --index away/index.sqlite; echo "sidecars: $?"
    ls -A disk > listing; find disk -size 0 -name '*.xmp' > empty
    rm disk/ballast
    tag disk --jobs 1 --index away/index.sqlite; echo "after: $?"
    cp -a disk result
    """
    done = on_a_disk_of_its_own(script, tmp_path)
    codes = [line for line in done.stdout.splitlines() if line[-2:].strip().isdigit()]
    assert codes == ["index: 40", "sidecars: 52", "after: 0"], done.stderr
    assert done.stderr.count("No space left on device") + done.stderr.count("disk is full") >= 12
    left = (tmp_path / "listing").read_text().splitlines()
    assert not [name for name in left if name.endswith((".xmp", ".part"))]
    result = state(tmp_path / "result")
    photos = state(tmp_path / "photos")
    assert {name: result[name][0] for name in photos} == {n: d for n, (d, _) in photos.items()}
    assert {name for name in result if name.endswith(".xmp")} == {f"{n}.xmp" for n in photos}


@pytest.mark.slow
@needs_namespaces
def test_read_only_folders_are_reported_and_the_rest_is_done(tmp_path: Path) -> None:
    fill(tmp_path / "a" / "locked", 2)
    fill(tmp_path / "a" / "open", 2, start=2)
    script = """
    mount --bind a/locked a/locked && mount -o remount,ro,bind a/locked
    tag a --jobs 1; echo "code: $?"
    mount --bind a a && mount -o remount,ro,bind a
    tag a --jobs 1; echo "whole: $?"
    search --dir a "in open/"; echo "search: $?"
    """
    done = on_a_disk_of_its_own(script, tmp_path)
    assert "code: 52" in done.stdout, done.stderr
    assert "whole: 40" in done.stdout
    # Neither by which guide it was dated nor what was found is lost on a read-only disk.
    assert done.stdout.count("as before") == 1
    assert "search: 0" in done.stdout and "open/003.jpg  " in done.stdout
    assert done.stderr.count("Read-only file system") == 3
    assert {str(p.relative_to(tmp_path / "a")) for p in (tmp_path / "a").rglob("*.xmp")} == {
        "open/002.jpg.xmp",
        "open/003.jpg.xmp",
    }


ODD = (
    b"new\nline.jpg",
    b"quote'\".jpg",
    "\N{STEAM LOCOMOTIVE}.jpg".encode(),
    b"caf\xe9.jpg",
    b"-rf.jpg",
    b" space .jpg",
    b"back\\slash.jpg",
    b"[a]*.jpg",
    b"esc\x1b[31m.jpg",
    "e\N{COMBINING ACUTE ACCENT}.jpg".encode(),
)


def test_odd_names(tmp_path: Path) -> None:
    root = tmp_path / "odd"
    root.mkdir()
    for number, name in enumerate(ODD):
        (root / os.fsdecode(name)).write_bytes(encoded(different(number), "JPEG"))
    summary = tag(root)
    assert (summary.told.engines, len(summary.written), summary.failed) == (len(ODD), len(ODD), 0)
    found = {os.fsencode(path.name) for path in root.iterdir() if path.suffix == ".xmp"}
    assert found == {name + b".xmp" for name in ODD}
    assert tag(root).written == []
    process = command("find", "--dir", root, "--null")
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, b"")
    assert set(out.split(b"\0")[:-1]) == set(ODD)
    process = command("find", "--dir", root)
    out, _ = process.communicate(timeout=60)
    assert len(out.splitlines()) == len(ODD)
    assert b"\x1b" not in out


def test_a_name_too_long_for_a_sidecar_fails_alone(tmp_path: Path) -> None:
    fill(tmp_path, 1)
    (tmp_path / ("x" * 251 + ".jpg")).write_bytes(encoded(different(5), "JPEG"))
    watcher = Silent()
    summary = tag(tmp_path, watcher=watcher)
    assert (len(summary.written), summary.failed) == (1, 1)
    assert "File name too long" in watcher.failures[0]


@pytest.mark.parametrize("damage", ["head", "middle", "cut"])
def test_a_damaged_index_is_built_anew_and_said(tmp_path: Path, damage: str) -> None:
    fill(tmp_path, 6)
    tag(tmp_path)
    before = state(tmp_path)
    path = tmp_path / ".telltale" / "index.sqlite"
    data = bytearray(path.read_bytes())
    assert len(data) > 20_000
    spans = {"head": (0, 64), "middle": (4096, len(data)), "cut": (len(data), len(data))}
    first, last = spans[damage]
    data[first:last] = b"\xa5" * (last - first)
    path.write_bytes(data[: len(data) // 2] if damage == "cut" else data)
    summary = tag(tmp_path)
    assert "damaged" in summary.rebuilt
    assert path.with_name("index.sqlite.damaged-1").exists()
    assert (summary.looked_at, summary.written) == (6, [])
    assert state(tmp_path) == before
    assert tag(tmp_path).rebuilt == ""


def test_an_index_of_a_newer_telltale_is_left_alone(tmp_path: Path) -> None:
    import sqlite3

    fill(tmp_path, 1)
    tag(tmp_path)
    path = tmp_path / ".telltale" / "index.sqlite"
    base = sqlite3.connect(path)
    base.execute("PRAGMA user_version = 99")
    base.close()
    with pytest.raises(ArchiveError, match="newer telltale"):
        tag(tmp_path)


def test_a_second_run_at_once_is_refused(tmp_path: Path) -> None:
    fill(tmp_path, 1)
    elsewhere = tmp_path / "away" / "index.sqlite"
    with (
        sole_run(tmp_path, elsewhere),
        pytest.raises(ArchiveBusy, match="another run is at work here"),
    ):
        tag(tmp_path)
    with (
        sole_run(tmp_path / "other", elsewhere),
        pytest.raises(ArchiveBusy, match="another run is at work here"),
    ):
        tag(tmp_path, index=elsewhere)
    assert tag(tmp_path, index=elsewhere).failed == 0


def test_there_is_no_such_folder(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="no such folder"):
        tag(tmp_path / "nowhere")


@pytest.mark.slow
@pytest.mark.skipif("TELLTALE_LONG" not in os.environ, reason="minutes; set TELLTALE_LONG=1")
def test_killed_at_fifty_moments_over_five_hundred_photos(tmp_path: Path) -> None:
    def start(root: Path) -> tuple[int, Callable[[], object]]:
        process = command("tag", root, "--jobs", "2", eye="slow_eye", quiet=True)
        # The process is waited for by its number; the object must not wait again.
        return process.pid, lambda: setattr(process, "returncode", 0)

    kill_until(start, tmp_path, count=500, kills=50, seed=50)
