"""Archives in which names, writers and runs get into each other's way."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import MappingProxyType

import pytest

from answers import FakeEye, photo_of, sighting
from archives import GUIDE, Silent, different, fill, tag
from guides import value
from shapes import encoded, engine
from vision.archive import undo_archive
from vision.archive.engines import Engines, sidecar_names
from vision.archive.groups import By, group, read_group_file
from vision.archive.sidecar import merge
from vision.archive.tags import tags_of
from vision.archive.walk import SUFFIXES, walk
from vision.cli import run
from vision.features.colour import LINE_PAINTS
from vision.guide import load_guide
from vision.page.keep import SUFFIXES as KEPT_AS
from vision.photo.header import FORMATS, NEEDS_EXTRA
from vision.pipeline import date_item, fuse_views
from vision.pipeline.look import Look
from vision.records import LINE_COLOURS, Cue, SidecarError, State

RATED = b"""<x:xmpmeta xmlns:x='adobe:ns:meta/'>
 <rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>
  <rdf:Description rdf:about='' xmlns:xmp='http://ns.adobe.com/xap/1.0/' xmp:Rating='4'/>
 </rdf:RDF>
</x:xmpmeta>
"""
OLD_TIME = 1_000_000_000


def test_photos_whose_names_differ_in_large_letters_alone_keep_their_own_sidecars() -> None:
    photos = ["a/IMG_1.JPG", "a/IMG_1.jpg", "a/two.jpg"]
    there = {"a/IMG_1.JPG.xmp", "a/IMG_1.jpg.xmp", "a/TWO.JPG.XMP"}
    names = sidecar_names(photos, there)
    assert names == {
        "a/IMG_1.JPG": ("a/IMG_1.JPG.xmp",),
        "a/IMG_1.jpg": ("a/IMG_1.jpg.xmp",),
        "a/two.jpg": ("a/TWO.JPG.XMP",),
    }
    # One that may mean either photo is taken by neither, and none is shared.
    assert sidecar_names(photos[:2], {"a/img_1.jpg.xmp"}) == {
        photo: (f"{photo}.xmp",) for photo in photos[:2]
    }


@pytest.fixture
def rated(tmp_path: Path) -> tuple[Path, Path]:
    """An archive of one photo, beside which another program's sidecar has stood for long."""
    (photo,) = fill(tmp_path, 1)
    sidecar = tmp_path / f"{photo.name}.xmp"
    sidecar.write_bytes(RATED)
    os.utime(sidecar, (OLD_TIME, OLD_TIME))
    return tmp_path, sidecar


def test_what_another_program_writes_meanwhile_is_left(
    rated: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    root, sidecar = rated
    fresh = RATED.replace(b"'4'", b"'5'")
    prepare = Engines.prepare

    def interrupted(self: Engines, *jobs: object, **more: object) -> object:
        prepared = prepare(self, *jobs, **more)  # type: ignore[arg-type]
        sidecar.write_bytes(fresh)
        return prepared

    monkeypatch.setattr(Engines, "prepare", interrupted)
    watcher = Silent()
    summary = tag(root, watcher=watcher)
    assert sidecar.read_bytes() == fresh
    assert (summary.failed, summary.current, len(summary.written)) == (1, 0, 0)
    assert "changed meanwhile" in watcher.failures[0]
    monkeypatch.undo()
    assert len(tag(root).written) == 1
    assert b"telltale" in sidecar.read_bytes()
    undo_archive(root, Silent())
    assert b"Rating='5'" in sidecar.read_bytes().replace(b'"', b"'")


@pytest.mark.parametrize("failing", [False, True])
def test_undo_restores_what_stood_there_after_a_write_that_failed(
    rated: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, failing: bool
) -> None:
    root, sidecar = rated
    tag(root)
    if failing:

        def full(*_: object, **__: object) -> None:
            raise SidecarError("x: cannot be written (no space left)")

        monkeypatch.setattr("vision.archive.engines.write_sidecar", full)
        summary = tag(root, guide=load_guide("brindle"))
        assert (summary.failed, summary.current) == (1, 0)
        monkeypatch.undo()
    tag(root, guide=load_guide("brindle"))
    undone = undo_archive(root, Silent())
    assert undone.restored == [sidecar.name]
    assert sidecar.read_bytes() == RATED
    assert sidecar.stat().st_mtime == OLD_TIME


def test_what_cannot_be_written_is_not_counted_as_standing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(tmp_path, 2)

    def readonly(*_: object, **__: object) -> None:
        raise SidecarError("x: cannot be written (read-only)")

    monkeypatch.setattr("vision.archive.engines.write_sidecar", readonly)
    summary = tag(tmp_path)
    assert (len(summary.written), summary.current, summary.failed) == (0, 0, 2)


def test_a_search_between_two_regrouped_engines_still_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(tmp_path / "x", 2)
    tag(tmp_path)
    (tmp_path / "engines.csv").write_text("photo,engine\nx/001.jpg,a\n")
    prepare, done = Engines.prepare, []

    def killed(self: Engines, *jobs: object, **more: object) -> object:
        if done:
            raise KeyboardInterrupt
        done.append(1)
        return prepare(self, *jobs, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Engines, "prepare", killed)
    with pytest.raises(KeyboardInterrupt):
        tag(tmp_path)
    monkeypatch.undo()
    assert run(["find", "--dir", str(tmp_path)]) == 0
    assert "x/000.jpg" in capsys.readouterr().out


def test_a_name_with_brackets_means_itself_in_a_group_file(tmp_path: Path) -> None:
    file = tmp_path / "engines.csv"
    file.write_text("photo,engine\nshelf [2]/left.jpg,X\nshelf [2]/rear.jpg,X\nb*.jpg,Y\n")
    alike = {"shelf [2]/left.jpg": 1, "shelf [2]/rear.jpg": 2**63, "b1.jpg": 7}
    assert group(alike, read_group_file(file), By.PHOTO) == {
        "X": ("shelf [2]/left.jpg", "shelf [2]/rear.jpg"),
        "Y": ("b1.jpg",),
    }


def test_what_lacked_an_extra_is_looked_at_once_it_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "one.heic").write_bytes(encoded(different(1), "JPEG"))
    header = "vision.photo.header"
    monkeypatch.setattr(f"{header}.formats", lambda: ("PNG",))
    monkeypatch.setattr(f"{header}._what_it_is", lambda _: f"a HEIF picture; {NEEDS_EXTRA}")
    monkeypatch.setattr("vision.archive.run.formats", lambda: FORMATS)
    for _ in range(2):
        summary = tag(tmp_path)
        assert (summary.failed, summary.looked_at) == (1, 0)
    # Read with the extra, once it is there; until then the same bytes are left alone.
    monkeypatch.setattr(f"{header}.formats", lambda: ("JPEG",))
    assert tag(tmp_path).looked_at == 0
    monkeypatch.setattr("vision.archive.run.formats", lambda: (*FORMATS, "HEIF"))
    assert tag(tmp_path).looked_at == 1


@pytest.mark.parametrize("format", FORMATS)
def test_an_archive_knows_every_kind_that_can_be_read_and_that_a_page_keeps(
    tmp_path: Path, format: str
) -> None:
    suffix = KEPT_AS.get(format, format.lower())
    assert f".{suffix}" in SUFFIXES
    (tmp_path / f"one.{suffix}").write_bytes(encoded(different(1), "PNG"))
    assert list(walk(str(tmp_path)).photos) == [f"one.{suffix}"]


def test_guides_and_photos_name_colours_alike() -> None:
    assert tuple(LINE_PAINTS) == LINE_COLOURS


def _number(value: str, **values: float) -> Cue:
    shares = MappingProxyType({name.strip("_"): p for name, p in values.items()})
    return Cue("cab_number", State.PRESENT, value=value, confidence=0.9, values=shares)


def test_a_figure_left_open_disagrees_with_none() -> None:
    alike = [[_number("31?", _316=0.5, _310=0.43)], [_number("31?", _316=0.47, _310=0.43)]]
    _, conflicts = fuse_views(alike, [0, 1], [0, 1])
    assert conflicts == ()
    others = [[_number("31?", _316=0.5, _310=0.43)], [_number("322", _322=0.9)]]
    _, (conflict,) = fuse_views(others, [0, 1], [0, 1])
    assert "reads 31?" in conflict.text and "reads 322" in conflict.text


def test_nothing_is_written_into_the_users_home_but_what_is_asked_for(tmp_path: Path) -> None:
    """A library of ours would keep an id and a list of what it wants to send there."""
    photo = Path(__file__).parent.parent / "demo_images" / "wayfarer_w1.jpg"
    home = tmp_path / "home"
    home.mkdir()
    gone = ("ORT_DISABLE_TELEMETRY", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME")
    kept = {name: value for name, value in os.environ.items() if name not in gone}
    command = [
        sys.executable,
        "-c",
        "from vision.cli import main; main()",
        "date",
        str(photo),
        "--json",
    ]
    subprocess.run(command, env=kept | {"HOME": str(home)}, check=True, capture_output=True)
    assert list(home.rglob("*")) == []


@pytest.mark.parametrize("coding", ["utf-8", "utf-16", "utf-32"])
def test_a_sidecar_saved_again_in_another_coding_is_still_known_as_ours(
    tmp_path: Path, coding: str
) -> None:
    """XMP may be UTF-8, UTF-16 or UTF-32 (ISO 16684-1, 7.3.2)."""
    (photo,) = fill(tmp_path / "again", 1)
    fill(tmp_path / "once", 1)
    tag(tmp_path / "again")
    sidecar = tmp_path / "again" / f"{photo.name}.xmp"

    def save_again() -> None:
        sidecar.write_bytes(sidecar.read_bytes().decode("utf-8").split("?>", 1)[1].encode(coding))

    save_again()
    for root in ("again", "once"):
        tag(tmp_path / root, guide=load_guide("brindle"))
    assert sidecar.read_bytes() == (tmp_path / "once" / sidecar.name).read_bytes()
    save_again()
    assert undo_archive(tmp_path / "again", Silent()).failed == []
    assert not sidecar.exists()


def test_a_sidecar_says_once_that_an_engine_is_not_in_the_guide() -> None:
    """Its description said so of the engine, and again of how sure that is."""
    none = f"not in guide {GUIDE.name}"
    photo = photo_of(engine())
    seen = (value("driving_axles", "2", 0.97), value("cab_number", "999", 0.97))
    told = date_item([photo], GUIDE, FakeEye({"engine": seen}))
    look = Look(photo.sha256, photo.size, 1, None, (), sighting(), told.cues, 0, (0, 0), b"")
    tags = tags_of(told, look, GUIDE)
    assert tags.description.startswith(
        f"driving axles 2, cab number 999, year unknown: unknown engine, {none}: "
    )
    assert tags.description.count(none) == 1
    # Keyword and title are asked for by themselves.
    assert "telltale/not in this guide" in tags.keywords
    assert tags.title == f"unknown engine ({none})"
    # Nowhere is it called what it is not: programs would find it under the guide's engine.
    assert GUIDE.title not in merge(None, tags).decode()
