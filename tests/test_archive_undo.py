"""Sidecars taken back, and those that other programs write in: what is left alone."""

from __future__ import annotations

import os
from pathlib import Path

from archives import Silent, state, tag
from vision.archive import undo_archive
from vision.guide import load_guide


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


def test_a_merge_is_not_a_write(shelf: Path) -> None:
    """A sidecar touched by others with our very bytes in it is left as it is."""
    tag(shelf)
    path = shelf / "002.jpg.xmp"
    path.touch()
    before = state(shelf)
    assert tag(shelf).written == []
    assert state(shelf) == before
