"""Mended: what a report of listings left out, or said twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from listing_files import EYE, HIDDEN, W, eye, judged, write_photos, write_table


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


def test_what_shows_no_engine_comes_last_under_a_heading(telltale: Any, tmp_path: Path) -> None:
    """A wagon was worth more than any engine that is surely not the wanted one."""
    write_photos(tmp_path, ["wagon.jpg", "w1.jpg", "w6.jpg"])
    rows = [
        {"id": "wagon", "title": "A wagon", "photos": "wagon.jpg"},
        {"id": "bare", "title": "An engine without a photo"},
        {"id": "lost", "title": "An engine whose photo is gone", "photos": "gone.jpg"},
        {"id": "w1", "title": "An engine", "photos": "w1.jpg"},
        {"id": "w6", "title": "An engine", "photos": "w6.jpg"},
    ]
    shop = write_table(tmp_path / "shop.csv", rows)
    page, table = tmp_path / "page.html", tmp_path / "out.csv"
    seen = eye({"wagon": None, "w1": W["W1"], "w6": W["W6"]})
    told = ("listings", shop, "--want", "W6", "--jobs", 1)
    _, out, _ = telltale(*told, "--html", page, "--csv", table, eye=seen)
    heads = [p.split("\n")[0] for p in out.split("\n\n")]
    assert [h.split(".")[0] for h in heads[:6]] == [
        *("1", "2", "No engine seen in a photo"),
        *("3", "4", "5"),
    ]
    records = judged(telltale, *told[1:4], eye=seen)
    assert [r["id"] for r in records][:2] == ["w6", "w1"]
    assert [r["engine_seen"] for r in records] == [True, True, False, False, False]
    unseen = [r["value"] for r in records[2:]]
    assert unseen == sorted(unseen, reverse=True)
    assert records[2]["value"] > records[1]["value"]
    text = page.read_text(encoding="utf-8")
    assert text.count("<h2>No engine seen in a photo</h2>") == 1
    cut = text.index("<h2>No engine seen")
    assert text.index('id="listing-2"') < cut < text.index('id="listing-3"')
    assert table.read_text(encoding="utf-8").count("no engine seen in a photo") == 3


def test_no_heading_where_every_photo_shows_an_engine(telltale: Any, shop: Path) -> None:
    page = shop.parent / "page.html"
    _, out, _ = telltale("listings", shop, "--html", page, "--jobs", 1, eye=EYE)
    assert "No engine seen" not in out + page.read_text(encoding="utf-8")
