"""Mended: what a report of listings left out, or said twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from listing_files import (
    EYE,
    HIDDEN,
    W,
    engine_cues,
    eye,
    judged,
    write_photos,
    write_table,
)
from vision.records import ListingsError


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


def test_a_colour_and_its_stripe_are_told_once_where_neither_is_seen(
    telltale: Any, tmp_path: Path
) -> None:
    """Two claims of the words "blue stripe" were answered by two lines that say the same."""
    write_photos(tmp_path, ["dim.jpg"])
    rows = [{"id": "1", "title": "Blue stripe", "photos": "dim.jpg"}]
    shop = write_table(tmp_path / "shop.csv", rows)
    _, out, _ = telltale("listings", shop, "--jobs", 1, eye=eye({"dim": HIDDEN}))
    told = [line.strip() for line in out.splitlines() if 'Blue stripe"' in line]
    assert told == ['? "Blue stripe": edge stripe blue: no photo shows it well enough (glare)']


def test_a_colour_and_its_stripe_are_told_apart_where_they_fare_otherwise(
    telltale: Any, tmp_path: Path
) -> None:
    write_photos(tmp_path, ["w6.jpg", "w1.jpg"])
    rows = [
        {"id": "cream", "title": "Cream stripe", "photos": "w6.jpg"},
        {"id": "none", "title": "Cream stripe", "photos": "w1.jpg"},
        {"id": "bare", "title": "Cream stripe"},
    ]
    shop, page = write_table(tmp_path / "shop.csv", rows), tmp_path / "page.html"
    seen = eye({"w6": W["W6"], "w1": W["W1"]})
    _, out, _ = telltale("listings", shop, "--jobs", 1, "--html", page, eye=seen)
    for id, lines in (("cream", 2), ("none", 1), ("bare", 1)):
        (paragraph,) = (p for p in out.split("\n\n") if f"({id})" in p)
        assert paragraph.count('"Cream stripe":') == lines
    assert page.read_text(encoding="utf-8").count("<bdi>Cream stripe</bdi></q>") == 4


@pytest.mark.parametrize("name", ["e.csv", "e.jsonl"])
def test_a_file_without_a_listing_is_told_of(telltale: Any, tmp_path: Path, name: str) -> None:
    """It gave the weights, and nothing else, as if all were well."""
    (tmp_path / name).write_bytes(b"")
    code, out, err = telltale("listings", tmp_path / name, "--jobs", 1, eye=EYE)
    assert (code, out) == (ListingsError.exit_code, "")
    assert err == f"telltale: {name}: no listing in it\n"


def test_a_head_alone_is_no_listing_and_another_file_is_read(telltale: Any, shop: Path) -> None:
    write_table(shop.parent / "a.csv", [])
    code, out, err = telltale("listings", shop.parent, "--jobs", 1, eye=EYE)
    assert code == ListingsError.exit_code
    assert err == "telltale: a.csv: no listing in it\n"
    assert out.startswith("1. ")


@pytest.mark.parametrize("columns", [60, 80])
def test_the_text_is_as_wide_as_the_terminal(
    telltale: Any, shop: Path, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    vague = eye({"w6": engine_cues(None, None, "cream")})
    whole = set()
    for width in (columns, 100):
        monkeypatch.setenv("COLUMNS", str(width))
        _, out, _ = telltale("listings", shop, "--jobs", 1, eye=vague)
        assert max(map(len, out.splitlines())) <= width
        whole.add(tuple(out.split()))
    assert len(whole) == 1


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


def test_one_listing_is_no_listings_and_several_are_no_listing(
    telltale: Any, tmp_path: Path
) -> None:
    """ "1 listings by the guide", and a picture that was "also in listing 1, 7, 4"."""
    write_photos(tmp_path, ["w6.jpg"])
    row = {"title": "An engine", "photos": "w6.jpg"}
    page = tmp_path / "page.html"
    for count, head, note in (
        (1, "1 listing by the guide", None),
        (2, "2 listings by the guide", "also in listing 0"),
        (3, "3 listings by the guide", "also in listings 0, 1"),
        (5, "5 listings by the guide", "also in listings 0, 1, 2 and 1 more"),
    ):
        rows = [{"id": str(number), **row} for number in range(count)]
        shop = write_table(tmp_path / f"{count}.csv", rows)
        telltale("listings", shop, "--html", page, "--jobs", 1, eye=EYE)
        assert page.read_text(encoding="utf-8").count(f">{head} ") == 2
        notes = {r["id"]: r["notes"] for r in judged(telltale, shop)}[str(count - 1)]
        assert notes[:1] == ([] if note is None else [f"a picture is {note}"])
