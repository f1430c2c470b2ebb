"""Tagging a folder of photos: what is done, and what is not done twice."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from archives import Silent, different, fill, state, tag
from eyes import LOOKS, PAUSE, command, deadly_eye, fake_eye
from shapes import encoded
from vision.archive import undo_archive
from vision.archive.pending import Pending
from vision.archive.reading import look_at
from vision.archive.values import Seen, Task
from vision.archive.walk import walk
from vision.records import PhotoUnreadable


def test_each_photo_gets_a_sidecar_and_no_photo_is_touched(shelf: Path) -> None:
    before = state(shelf)
    summary = tag(shelf)
    after = state(shelf)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {f"{name}.xmp" for name in before}
    assert (summary.photos, summary.looked_at, summary.told.engines) == (5, 5, 4)
    assert (len(summary.written), summary.failed) == (5, 0)


def test_originals_are_never_opened_for_writing(
    shelf: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    opened = []

    def hook(event: str, args: tuple[object, ...]) -> None:
        if event == "open" and watching:
            opened.append((args[0], args[1], args[2]))

    watching = True
    sys.addaudithook(hook)
    tag(shelf)
    watching = False
    mine = [(p, mode, flags) for p, mode, flags in opened if str(p).endswith(".jpg")]
    assert len(mine) == 5
    assert all(flags & (os.O_WRONLY | os.O_RDWR) == 0 for _, _, flags in mine)


def test_a_second_run_reads_and_writes_nothing(shelf: Path) -> None:
    tag(shelf)
    before = state(shelf)
    summary = tag(shelf, load_eye=fake_eye)
    assert state(shelf) == before
    assert (summary.looked_at, summary.unchanged, summary.told.dated) == (0, 5, 0)
    assert (summary.written, summary.current) == ([], 5)


@pytest.mark.parametrize("jobs", [1, 2])
def test_copies_are_looked_at_once(tmp_path: Path, jobs: int) -> None:
    """Each copy was looked at as if it were another photo."""
    originals = fill(tmp_path / "a", 3)
    for folder in ("b", "c"):
        (tmp_path / folder).mkdir()
        for path in originals:
            # Beside the original in the order of names too.
            (tmp_path / folder / path.name).write_bytes(path.read_bytes())
            path.with_suffix(f".{folder}.jpg").write_bytes(path.read_bytes())
    looks = tmp_path / "looks.txt"
    process = command(
        *("tag", tmp_path, "--group", "photo", "--jobs", jobs),
        eye="slow_eye",
        **{LOOKS: str(looks), PAUSE: "0.1"},
    )
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err.decode()
    contents = [line.split()[0] for line in looks.read_text("utf-8").splitlines()]
    assert len(contents) == len(set(contents)) == 3
    assert "15 photos (3 looked at, 12 copies of these, 0 known already" in out.decode()
    # Whatever was looked at and whatever was known: the same sidecar beside each copy.
    for path in originals:
        sidecars = [p.with_name(f"{p.name}.xmp") for p in tmp_path.rglob(f"{path.stem}*.jpg")]
        assert len({sidecar.read_bytes() for sidecar in sidecars}) == 1
        assert len(sidecars) == 5


def test_every_photo_is_counted_in_one_place(shelf: Path) -> None:
    """Failures were missing from the sum of a first run, and "known already" in the next."""

    def counts() -> tuple[int, ...]:
        summary = tag(shelf)
        parts = (summary.looked_at, summary.copies, summary.unchanged, summary.unread)
        assert sum(parts) == summary.photos
        return parts

    (shelf / "broken.jpg").write_bytes(b"no picture")
    (shelf / "copy.jpg").write_bytes((shelf / "000.jpg").read_bytes())
    assert counts() == (5, 1, 0, 1)
    (shelf / "late.jpg").write_bytes((shelf / "000.jpg").read_bytes())
    fill(shelf, 1, start=9)
    assert counts() == (1, 0, 7, 1)


def test_other_photos_of_the_same_size_are_looked_at() -> None:
    tasks = [(Task("", name), 10) for name in ("one", "copy", "other", "third")]
    pending = Pending(tasks)
    assert next(pending).path == "one"
    assert next(pending, None) is None
    pending.done(Seen("one", sha256="1", look="seen"))
    handed = list(pending)
    assert [task.path for task in handed] == ["copy", "other", "third"]
    assert {task.known for task in handed} == {("1",)}


def test_a_copy_of_what_cannot_be_read_is_tried_itself() -> None:
    pending = Pending([(Task("", name), 10) for name in ("one", "copy")])
    next(pending)
    assert next(pending, None) is None
    pending.done(Seen("one", code=13, error="damaged"))
    assert (next(pending).path, next(pending, None)) == ("copy", None)


def test_only_new_and_changed_photos_are_looked_at(shelf: Path) -> None:
    tag(shelf)
    fill(shelf, 1, start=9)
    (shelf / "001.jpg").write_bytes(encoded(different(77), "JPEG"))
    (shelf / "000.jpg").rename(shelf / "moved.jpg")
    (shelf / "mine" / "003.jpg").touch()
    summary = tag(shelf)
    assert summary.looked_at == 2
    assert summary.told.dated == 3
    # 001.jpg was dated anew, with the same tags.
    assert sorted(summary.written) == ["009.jpg.xmp", "moved.jpg.xmp"]


def test_several_processes_say_the_same_as_one(shelf: Path, tmp_path: Path) -> None:
    tag(shelf)
    alone = {name: data for name, (data, _) in state(shelf).items()}
    undo_archive(shelf, Silent())
    summary = tag(shelf, jobs=2)
    assert summary.looked_at == 5
    assert {name: data for name, (data, _) in state(shelf).items()} == alone


@pytest.mark.slow
def test_a_photo_that_kills_its_worker_fails_alone(shelf: Path) -> None:
    (shelf / "deadly.jpg").write_bytes(encoded(different(50), "JPEG"))
    watcher = Silent()
    summary = tag(shelf, load_eye=deadly_eye, watcher=watcher, jobs=2)
    assert (summary.looked_at, summary.failed) == (5, 1)
    assert watcher.failures == ["deadly.jpg: the worker died while it looked at this photo, twice"]
    assert not (shelf / "deadly.jpg.xmp").exists()


def test_a_dry_run_writes_nothing_and_says_what(shelf: Path) -> None:
    before = state(shelf)
    summary = tag(shelf, dry=True)
    assert state(shelf) == before
    assert not (shelf / ".telltale").exists()
    assert sorted(summary.written) == sorted(f"{name}.xmp" for name in before)
    tag(shelf)
    assert tag(shelf, dry=True).written == []


def test_walking(tmp_path: Path) -> None:
    fill(tmp_path / "b", 1)
    fill(tmp_path / ".hidden", 1)
    fill(tmp_path, 1)
    (tmp_path / "b" / "loop").symlink_to(tmp_path)
    (tmp_path / "b" / "itself").symlink_to(tmp_path / "b" / "itself")
    (tmp_path / "gone.jpg").symlink_to(tmp_path / "nothing")
    (tmp_path / "c.JPG.XMP").touch()
    (tmp_path / "notes.txt").touch()
    # What `date --overlay` draws, and a photo whose own name is like it.
    for name in ("000.telltale.jpg", "000.telltale-2.jpg", "b/my.telltale.photo.jpg"):
        (tmp_path / name).write_bytes((tmp_path / "000.jpg").read_bytes())
    os.mkfifo(tmp_path / "pipe.jpg")
    tree = walk(str(tmp_path))
    assert list(tree.photos) == ["000.jpg", "b/000.jpg", "b/my.telltale.photo.jpg"]
    assert tree.sidecars == {"c.JPG.XMP"}


def test_a_photo_replaced_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (path,) = fill(tmp_path, 1)
    genuine = Path.read_bytes
    news = [encoded(different(n), "JPEG") for n in (60, 61, 62, 63)]

    def replaced(self: Path) -> bytes:
        data = genuine(self)
        if news and self == path:
            fresh = tmp_path / "fresh"
            fresh.write_bytes(news.pop())
            fresh.replace(path)
        return data

    monkeypatch.setattr(Path, "read_bytes", replaced)
    restless = look_at(Task(str(tmp_path), "000.jpg"), fake_eye)
    assert restless.code == PhotoUnreadable.exit_code
    assert "changed each time" in restless.error
    del news[1:]
    settled = look_at(Task(str(tmp_path), "000.jpg"), fake_eye)
    assert settled.error == ""
    assert settled.sha256 == hashlib.sha256(genuine(path)).hexdigest()
    assert settled.stamp is not None
    assert settled.stamp.inode == path.stat().st_ino


def test_the_command_from_outside(shelf: Path) -> None:
    (shelf / "broken.jpg").write_bytes(b"no picture")
    (shelf / "empty.jpg").touch()
    process = command("tag", shelf, "--jobs", "1")
    out, err = process.communicate(timeout=60)
    assert process.returncode == 9
    counts = "5 looked at, 0 copies of these, 0 known already, 2 not read"
    assert f"\n{shelf}: 7 photos ({counts}), 4 engines" in out.decode()
    assert "2 failures" in out.decode()
    lines = err.decode().splitlines()
    assert [line.split(":")[1].strip() for line in lines] == ["broken.jpg", "empty.jpg"]
    log = (shelf / ".telltale" / "failures.log").read_text("utf-8").splitlines()
    assert [line.partition(" ")[2] for line in log] == [line[10:] for line in lines]
