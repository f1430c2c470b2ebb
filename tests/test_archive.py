"""Tagging a folder of photos: what is done, what is not done twice, what is left alone."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image, ImageEnhance

from answers import FakeEye
from archives import GUIDE, Silent, different, fill, state, tag
from eyes import LOOKS, PAUSE, command, deadly_eye, fake_eye, newer_eye
from shapes import encoded
from vision.archive import By, Index, undo_archive
from vision.archive.engines import answers
from vision.archive.groups import COPY_BITS, copies_among, group, read_group_file
from vision.archive.pending import Pending
from vision.archive.reading import look_at
from vision.archive.values import Seen, Task
from vision.archive.walk import walk
from vision.guide import load_guide
from vision.photo import open_photo
from vision.pipeline import LoadTold, date_item
from vision.pipeline.kept import date_looks
from vision.pipeline.look import look_from_text, look_to_text
from vision.records import ArchiveError, PhotoUnreadable
from vision.report import answer_json

DEMO = Path(__file__).parent.parent / "demo_images"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Three photos by themselves, two of one engine in a folder."""
    root = tmp_path / "shelf"
    fill(root, 3)
    fill(root / "mine", 2, start=3)
    return root


def rows(root: Path) -> dict[str, dict[str, object]]:
    index = Index(root / ".telltale" / "index.sqlite")
    try:
        return {row.name: row.answer for row in index.engines()}
    finally:
        index.close()


def test_each_photo_gets_a_sidecar_and_no_photo_is_touched(shelf: Path) -> None:
    before = state(shelf)
    summary = tag(shelf)
    after = state(shelf)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {f"{name}.xmp" for name in before}
    assert (summary.photos, summary.looked_at, summary.engines) == (5, 5, 4)
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
    assert (summary.looked_at, summary.unchanged, summary.dated) == (0, 5, 0)
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
    assert "15 photos (3 looked at, 12 known already)" in out.decode()
    # Whatever was looked at and whatever was known: the same sidecar beside each copy.
    for path in originals:
        sidecars = [p.with_name(f"{p.name}.xmp") for p in tmp_path.rglob(f"{path.stem}*.jpg")]
        assert len({sidecar.read_bytes() for sidecar in sidecars}) == 1
        assert len(sidecars) == 5


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
    assert summary.dated == 3
    # 001.jpg was dated anew, with the same tags.
    assert sorted(summary.written) == ["009.jpg.xmp", "moved.jpg.xmp"]


def test_a_guide_with_the_lever_at_the_same_place_dates_again_and_looks_at_nothing(
    shelf: Path,
) -> None:
    tag(shelf)
    brindle = replace(load_guide("brindle"), lever_at=GUIDE.lever_at)
    other = tag(shelf, guide=brindle)
    assert (other.looked_at, other.dated, len(other.written)) == (0, 4, 5)
    renumbered = tag(shelf, guide=replace(brindle, sha256="0" * 64))
    assert (renumbered.looked_at, renumbered.dated) == (0, 4)


@pytest.mark.parametrize("lever_at", [0.6, None])
def test_a_guide_with_the_lever_elsewhere_looks_again_and_back_it_is_remembered(
    shelf: Path, lever_at: float | None
) -> None:
    tag(shelf)
    brindle = replace(load_guide("brindle"), lever_at=lever_at)
    other = tag(shelf, guide=brindle)
    assert (other.looked_at, other.dated, len(other.written)) == (5, 4, 5)
    assert tag(shelf, guide=brindle).looked_at == 0
    back = tag(shelf)
    assert (back.looked_at, back.dated, len(back.written)) == (0, 4, 5)


def test_the_answers_kept_are_given_after_another_guides_run_too(shelf: Path) -> None:
    """What was looked at for one guide is not dated from what was looked at for another."""
    tag(shelf)
    tag(shelf, guide=load_guide("brindle"))
    tag(shelf)
    index = Index(shelf / ".telltale" / "index.sqlite")
    try:
        kept = list(index.engines())
        assert [row for row, _ in answers(index, GUIDE, kept)] == kept
        assert len(kept) == 4
    finally:
        index.close()


def test_a_new_model_looks_again(shelf: Path) -> None:
    tag(shelf)
    summary = tag(shelf, load_eye=newer_eye)
    assert (summary.looked_at, summary.dated) == (5, 4)
    assert tag(shelf, load_eye=newer_eye).looked_at == 0


def test_a_kept_answer_is_that_of_the_photos_themselves(shelf: Path) -> None:
    tag(shelf)
    photos = [open_photo(shelf / "mine" / name) for name in ("003.jpg", "004.jpg")]
    expected = answer_json(date_item(photos, GUIDE, FakeEye()))
    found = rows(shelf)["mine"]
    for photo, path in zip(expected["photos"], ("mine/003.jpg", "mine/004.jpg"), strict=True):
        photo["path"] = path
    assert found == json.loads(json.dumps(expected))


@pytest.mark.parametrize("names", [("wayfarer_w1", "wayfarer_w2"), ("wayfarer_w4", "brindle_m1")])
def test_looks_of_the_shipped_eye_date_as_the_photos_do(names: tuple[str, str]) -> None:
    from vision.cli import load_shipped_eye

    paths = [f"{name}.jpg" for name in names]
    load_eye = LoadTold(load_shipped_eye, GUIDE.lever_at)
    seen = [look_at(Task(str(DEMO), path), load_eye) for path in paths]
    looks = [look_from_text(one.look) for one in seen]
    assert [look_to_text(look) for look in looks] == [one.look for one in seen]
    eye = load_shipped_eye()
    direct = date_item([open_photo(DEMO / path) for path in paths], GUIDE, eye)
    kept = date_looks(paths, looks, GUIDE, eye.version)
    assert kept.cues == direct.cues
    assert kept.estimate == direct.estimate
    assert kept.versions == direct.versions


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


def test_undo_takes_back_exactly_what_was_written(shelf: Path) -> None:
    theirs = shelf / "001.xmp"
    theirs.write_bytes(
        b'<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        b'<rdf:Description rdf:about="" xmlns:d="http://example.org/d/" d:e="5" /></rdf:RDF>'
    )
    os.utime(theirs, ns=(10**18, 10**18))
    before = state(shelf)
    tag(shelf)
    assert theirs.read_bytes() != before["001.xmp"][0]
    assert not (shelf / "001.jpg.xmp").exists()
    tag(shelf, guide=load_guide("brindle"))
    undone = undo_archive(shelf, Silent())
    assert state(shelf) == before
    assert not (shelf / ".telltale").exists()
    assert (len(undone.removed), undone.restored, undone.cleaned) == (4, ["001.xmp"], [])


def test_undo_leaves_what_another_command_keeps_in_the_same_folder(shelf: Path) -> None:
    """Listings judged in the folder of an archive lost their records and fetched photos."""
    tag(shelf)
    kept = shelf / ".telltale" / "listings.sqlite"
    kept.write_bytes(b"records")
    undo_archive(shelf, Silent())
    assert [path.name for path in kept.parent.iterdir()] == [kept.name]


def test_undo_works_without_an_index_and_keeps_later_additions(shelf: Path) -> None:
    import shutil

    before = state(shelf)
    tag(shelf)
    shutil.rmtree(shelf / ".telltale")
    changed = shelf / "000.jpg.xmp"
    changed.write_bytes(
        changed.read_bytes().replace(
            b"<rdf:li>telltale</rdf:li>", b"<rdf:li>telltale</rdf:li><rdf:li>loft</rdf:li>", 1
        )
    )
    undone = undo_archive(shelf, Silent())
    assert undone.cleaned == ["000.jpg.xmp"]
    assert b"loft" in changed.read_bytes()
    assert b"telltale" not in changed.read_bytes()
    changed.unlink()
    assert state(shelf) == before


def test_a_sidecar_that_another_program_changed_is_merged_again(shelf: Path) -> None:
    tag(shelf)
    path = shelf / "000.jpg.xmp"
    path.write_bytes(path.read_bytes().replace(b"telltale/variation", b"mine/variation", 1))
    summary = tag(shelf)
    assert summary.written == ["000.jpg.xmp"]
    assert b"mine/variation" in path.read_bytes()
    assert b"<rdf:li>telltale/variation" in path.read_bytes()
    path.unlink()
    assert tag(shelf).written == ["000.jpg.xmp"]


def test_a_sidecar_that_is_no_xmp_is_left_as_it_is(shelf: Path) -> None:
    (shelf / "000.xmp").write_bytes(b"not mine to mend")
    watcher = Silent()
    summary = tag(shelf, watcher=watcher)
    assert (shelf / "000.xmp").read_bytes() == b"not mine to mend"
    assert watcher.failures[0].startswith("000.xmp: not XMP")
    assert set(summary.codes) == {52}
    assert len(summary.written) == 4


def test_photos_of_one_engine_by_a_group_file(shelf: Path) -> None:
    (shelf / "engines.csv").write_text('photo,engine\n00[01].jpg,"No. 5, blue"\n', "utf-8")
    summary = tag(shelf)
    assert summary.engines == 3
    assert [photo["path"] for photo in rows(shelf)["No. 5, blue"]["photos"]] == [
        "000.jpg",
        "001.jpg",
    ]
    assert tag(shelf, by=By.PHOTO).engines == 4


@pytest.mark.parametrize("text", ["a,b\n1,2\n", "photo,engine\nx.jpg,\n"])
def test_a_group_file_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "engines.csv").write_text(text, "utf-8")
    with pytest.raises(ArchiveError, match=r"engines\.csv:[12]: "):
        read_group_file(tmp_path / "engines.csv")


def test_grouping() -> None:
    alike = {"a.jpg": 0, "b.jpg": 3, "c.jpg": 2**63 - 1, "f/d.jpg": 0, "f/e.jpg": 2**60}
    assert group(alike, (), By.FOLDER) == {
        "a.jpg": ("a.jpg", "b.jpg"),
        "c.jpg": ("c.jpg",),
        "f": ("f/d.jpg", "f/e.jpg"),
    }
    # One bit lies between the first photo and the last: copies.
    assert group(alike, (), By.PHOTO)["a.jpg"] == ("a.jpg", "b.jpg", "f/d.jpg", "f/e.jpg")
    assert group(alike, (("*", "all"),), By.PHOTO) == {"all": tuple(sorted(alike))}


def test_copies_of_one_picture_are_found_and_other_pictures_are_not() -> None:
    """Both sides of COPY_BITS, measured on the demo photos."""
    import imagehash

    def bits(image: Image.Image) -> int:
        return int(str(imagehash.phash(image)), 16)

    originals = {path.stem: Image.open(path).convert("RGB") for path in sorted(DEMO.glob("*.jpg"))}
    assert len(originals) >= 14
    plain = {name: bits(image) for name, image in originals.items()}
    assert len(list(copies_among(plain))) == len(plain)
    copies = 0
    for name, image in originals.items():
        small = image.resize((image.width // 3, image.height // 3))
        bright = ImageEnhance.Brightness(image).enhance(1.25)
        for spoilt in (small, bright):
            copies += (bits(spoilt) ^ plain[name]).bit_count() <= COPY_BITS
    assert copies >= 0.9 * 2 * len(originals)


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


def test_a_merge_is_not_a_write(shelf: Path) -> None:
    """A sidecar touched by others with our very bytes in it is left as it is."""
    tag(shelf)
    path = shelf / "002.jpg.xmp"
    path.touch()
    before = state(shelf)
    assert tag(shelf).written == []
    assert state(shelf) == before


def test_the_command_from_outside(shelf: Path) -> None:
    (shelf / "broken.jpg").write_bytes(b"no picture")
    (shelf / "empty.jpg").touch()
    process = command("tag", shelf, "--jobs", "1")
    out, err = process.communicate(timeout=60)
    assert process.returncode == 9
    assert out.decode().startswith(f"{shelf}: 7 photos (5 looked at")
    assert "2 failures" in out.decode()
    lines = err.decode().splitlines()
    assert [line.split(":")[1].strip() for line in lines] == ["broken.jpg", "empty.jpg"]
    log = (shelf / ".telltale" / "failures.log").read_text("utf-8").splitlines()
    assert [line.partition(" ")[2] for line in log] == [line[10:] for line in lines]
