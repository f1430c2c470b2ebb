"""What `telltale tag` says of an archive in the end."""

from __future__ import annotations

from pathlib import Path

from answers import FakeEye
from archives import fill
from conftest import Telltale
from listing_files import W

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
