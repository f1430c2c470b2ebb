"""What `telltale tag` says of an archive in the end."""

from __future__ import annotations

from pathlib import Path

import pytest

from answers import FakeEye
from archives import fill
from conftest import Telltale
from listing_files import W
from vision.locate.turned import TURNED
from vision.records import Cue, NotFound, Photo, Sighting

# Of two engines, of none, and of one that nothing tells from others.
SEEN = FakeEye({"000": W["W3"], "001": W["W6"], "002": None, "003": None, "004": ()})


def _closing_line(out: str) -> str:
    return out.splitlines()[-1].partition("not read), ")[2]


def test_what_is_not_dated_is_not_counted_as_dated(telltale: Telltale, tmp_path: Path) -> None:
    """A folder of two engines, a coach and what tells nothing were "8 engines (8 dated anew)"."""
    fill(tmp_path / "fair", 2)
    fill(tmp_path, 5, 2)
    for dry in (["--dry-run"], []):
        _, out, err = telltale("tag", tmp_path, "--jobs", 1, *dry, eye=SEEN)
        assert _closing_line(out).startswith(
            "3 engines (2 dated anew, 1 not narrowed down), 1 set of photos with more than one "
            "engine (not dated), 2 photos or sets of photos without an engine, 7 sidecars "
        )
        assert "fair: these photos seem to show more than one engine" in err
    _, out, _ = telltale("tag", tmp_path, "--jobs", 1, eye=SEEN)
    assert _closing_line(out).startswith(
        "3 engines (0 dated anew), 1 set of photos with more than one engine (not dated), "
        "2 photos or sets of photos without an engine, 0 sidecars "
    )


def test_where_every_photo_shows_an_engine_nothing_is_counted_apart(
    telltale: Telltale, tmp_path: Path
) -> None:
    fill(tmp_path, 1)
    _, out, _ = telltale("tag", tmp_path, "--jobs", 1)
    assert _closing_line(out) == (
        "1 engine (1 dated anew), 1 sidecar written, 0 as they should be, 0 failures"
    )


class Toppled(FakeEye):
    """An eye to which some photos lie on their side."""

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        name = Path(photo.name).name
        if name in ("001.jpg", "003.jpg"):
            return NotFound(TURNED, 0.3), ()
        return super().look(photo)


@pytest.fixture
def toppled(tmp_path: Path) -> Path:
    """An engine with a photo on its side, one of whose only photo does so, and a coach."""
    root = tmp_path / "photos"
    fill(root / "green", 2)
    fill(root, 2, 2)
    return root


def test_photos_on_their_side_are_told_of_by_tag(telltale: Telltale, toppled: Path) -> None:
    """They were filed as showing no engine, and nobody was told to turn them."""
    eye = Toppled({"002": None})
    for dry in (["--dry-run"], [], []):
        _, _, err = telltale("tag", toppled, "--jobs", 1, *dry, eye=eye)
        told = [line for line in err.splitlines() if "turn" in line]
        assert told == [
            "telltale: 003.jpg, green/001.jpg: these photos may lie on their side or be upside "
            "down, since turned they show an engine more clearly; turn them upright"
        ]
    (toppled / "green" / "001.jpg").unlink()
    _, _, err = telltale("tag", toppled, "--jobs", 1, eye=eye)
    assert f"telltale: 003.jpg: {TURNED}\n" in err
    (toppled / "003.jpg").unlink()
    _, _, err = telltale("tag", toppled, "--jobs", 1, eye=eye)
    assert "turn" not in err


def test_the_shelf_says_why_no_engine_was_found(telltale: Telltale, toppled: Path) -> None:
    eye, page = Toppled({"002": None}), toppled.parent / "page.html"
    telltale("tag", toppled, "--jobs", 1, eye=eye)
    _, out, _ = telltale("shelf", toppled, "--html", page)
    lines = " ".join(out.partition("No engine found\n")[2].split())
    assert lines.startswith(f"* 002.jpg: nothing like a locomotive * 003.jpg: {TURNED}")
    wall = page.read_text("utf-8")
    assert f"<figcaption>003.jpg<br>{TURNED}</figcaption>" in wall
    # Of an engine that another photo shows, the shelf says what it is.
    assert out.count("upright") == wall.count("upright") == 1
