"""Mended: what a report of listings left out, or said twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from listing_files import HIDDEN, eye, write_photos, write_table


def test_photos_without_an_engine_are_told_of(telltale: Any, tmp_path: Path) -> None:
    """A listing whose photo shows a wagon looked like one whose photo tells nothing yet."""
    write_photos(tmp_path, ["wagon.jpg"])
    rows = [
        {"id": "wagon", "title": "An engine", "photos": "wagon.jpg"},
        {"id": "bare", "title": "An engine without a photo"},
    ]
    shop, page = write_table(tmp_path / "shop.csv", rows), tmp_path / "page.html"
    seen = eye({"wagon": None})
    code, out, _ = telltale("listings", shop, "--html", page, "--jobs", 1, eye=seen)
    assert code == 0
    (wagon,) = (p for p in out.split("\n\n") if "(wagon)" in p)
    (bare,) = (p for p in out.split("\n\n") if "(bare)" in p)
    assert "; by its photos no engine found (" in wagon
    assert "by its photos" not in bare
    text = page.read_text(encoding="utf-8")
    assert text.count("By its photos: <strong>no engine found</strong>") == 1


def test_a_colour_and_its_stripe_are_told_apart_where_neither_is_seen(
    telltale: Any, tmp_path: Path
) -> None:
    """Two claims of the words "blue stripe" were answered by one line, twice."""
    write_photos(tmp_path, ["dim.jpg"])
    rows = [{"id": "1", "title": "Blue stripe", "photos": "dim.jpg"}]
    shop = write_table(tmp_path / "shop.csv", rows)
    _, out, _ = telltale("listings", shop, "--jobs", 1, eye=eye({"dim": HIDDEN}))
    told = [line.strip() for line in out.splitlines() if 'Blue stripe"' in line]
    assert told == [
        f'? "Blue stripe": edge stripe {what}: no photo shows it well enough (glare)'
        for what in ("blue", "present")
    ]
