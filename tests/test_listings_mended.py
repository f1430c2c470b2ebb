"""Faults that were found in the listings, each held down by a test of its own."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")
pytest.importorskip("urllib3")

from answers import FakeEye, photo_of
from eyes import TESTS, command
from listing_files import (
    EYE,
    W,
    by_id,
    engine_cues,
    eye,
    judged,
    unwrapped,
    write_photos,
    write_table,
)
from shapes import engine
from vision.guide import load_guide
from vision.listings.claims import find_claims
from vision.listings.fetch import refused_address
from vision.listings.parts import lexicon_of
from vision.listings.pictures import listed_path
from vision.listings.read import Source, read_listings
from vision.listings.schema_org import json_listings, page_listings
from vision.listings.values import BadRow, Listing, Verdict
from vision.listings.verdicts import judge
from vision.pipeline import date_item
from vision.records import Cue, OutputError, PhotoUnreadable, State

# --- texts that no file can hold ----------------------------------------------------


def test_half_a_surrogate_pair_stops_neither_the_run_nor_its_reports(
    telltale: Any, tmp_path: Path
) -> None:
    """RFC 8259, section 8.2, lets JSON carry them; RFC 3629, section 3, lets no UTF-8."""
    write_photos(tmp_path, ["w6.jpg"])
    lines = [
        '{"@type": "Product", "sku": "1", "name": "with lever", "image": "\\ud800.jpg"}',
        '{"@type": "Product", "sku": "2\\udfff", "name": "x \\ud83d", "image": "w6.jpg"}',
        '{"@type": "Product", "sku": "3", "name": "whole \\ud83d\\ude82", "image": "w6.jpg"}',
    ]
    shop, page, table = (tmp_path / n for n in ("a.jsonl", "page.html", "out.csv"))
    shop.write_text("\n".join(lines), encoding="utf-8")
    code, out, err = telltale(
        "listings", shop, "--jobs", 1, "--html", page, "--csv", table, eye=EYE
    )
    assert (code, err) == (0, "")
    for text in (out, page.read_text("utf-8"), table.read_text("utf-8")):
        assert "x \ufffd" in text
        assert "whole \U0001f682" in text
    records = by_id(judged(telltale, shop))
    assert set(records) == {"1", "2\ufffd", "3"}
    assert records["1"]["photos"][0]["path"] == "\ufffd.jpg"
    assert "error" in records["1"]["photos"][0]


def test_a_file_whose_name_is_not_utf_8_is_named_in_the_reports(
    telltale: Any, tmp_path: Path
) -> None:
    shop = tmp_path / os.fsdecode(b"caf\xe9.csv")
    try:
        shop.write_text("title\nWayfarer\na,b\n", encoding="utf-8")
    except OSError:
        pytest.skip("this file system has no such names")
    page = tmp_path / "page.html"
    telltale("listings", tmp_path, "--jobs", 1, "--html", page, "--json", eye=EYE)
    assert "caf\ufffd.csv:3" in page.read_text("utf-8")


def test_a_path_that_cannot_be_encoded_is_unreadable(tmp_path: Path) -> None:
    with pytest.raises(PhotoUnreadable):
        listed_path(tmp_path, "\ud800.jpg")


# --- listings that were dropped -----------------------------------------------------


def test_an_array_of_products_without_ids_gives_them_all(tmp_path: Path) -> None:
    products = [{"@type": "Product", "name": f"Wayfarer {n}"} for n in range(3)]
    (tmp_path / "a.json").write_text(json.dumps(products), encoding="utf-8")
    (tmp_path / "b.jsonl").write_text(json.dumps(products[:2]) + "\n", encoding="utf-8")
    items = list(read_listings(tmp_path))
    assert not [i for i in items if isinstance(i, BadRow)]
    ids = [i.listing.id for i in items if isinstance(i, Source)]
    assert ids == ["a.json#1", "a.json#2", "a.json#3", "b.jsonl:1#1", "b.jsonl:1#2"]
    (one,) = json_listings(json.dumps(products[:1]), "c.json")
    assert isinstance(one, Listing)
    assert one.id == one.source == "c.json"


def json_ld(*products: dict[str, str]) -> str:
    nodes = [{"@type": "Product", **p} for p in products]
    return f'<script type="application/ld+json">{json.dumps(nodes)}</script>'


def microdata(*products: dict[str, str]) -> str:
    def item(product: dict[str, str]) -> str:
        cells = "".join(f'<i itemprop="{k}">{v}</i>' for k, v in product.items())
        return f'<div itemscope itemtype="https://schema.org/Product">{cells}</div>'

    return "".join(map(item, products))


ONE = {"name": "Wayfarer", "sku": "1"}
TWO = {"name": "Wayfarer", "sku": "2"}
BARE = {"name": "Wayfarer"}
OTHER = {"name": "Brindle", "sku": "3"}


@pytest.mark.parametrize(
    ("page", "ids"),
    [
        # Two of one title are two, whichever way tells of them.
        (json_ld(ONE, TWO), ["1", "2"]),
        (microdata(ONE, TWO), ["1", "2"]),
        (json_ld(ONE, TWO) + microdata(ONE, TWO), ["1", "2"]),
        (json_ld(ONE) + microdata(ONE, TWO), ["1", "2"]),
        (json_ld(TWO) + microdata(ONE, TWO), ["2", "1"]),
        # Told in both ways, also where only one of them gives an id.
        (json_ld(ONE) + microdata(BARE), ["1"]),
        (json_ld(BARE) + microdata(ONE), ["p.html"]),
        (json_ld(BARE) + microdata({**BARE, "name": "WAYFARER"}), ["p.html"]),
        (json_ld(ONE, TWO) + microdata(BARE, BARE), ["1", "2"]),
        (json_ld(ONE) + microdata({**ONE, "name": "Wayfarer, tender engine"}, OTHER), ["1", "3"]),
        # The very same again is no second product.
        (json_ld(ONE, ONE), ["1"]),
    ],
)
def test_a_page_is_told_twice_only_in_two_ways(page: str, ids: list[str]) -> None:
    found = list(page_listings(f"<html><body>{page}</body></html>".encode(), "p.html"))
    assert [i.id for i in found if isinstance(i, Listing)] == ids
    assert len(found) == len(ids)


# --- tenders ------------------------------------------------------------------------


def counted(axles: str, sure: float) -> tuple[Cue, ...]:
    other = {"4": "6", "6": "4"}[axles]
    values = MappingProxyType({axles: sure, other: 1 - sure})
    cue = Cue("tender_axles", State.PRESENT, value=axles, confidence=sure, values=values)
    return (*W["W6"][:3], cue)


@pytest.mark.parametrize("text", ["no tender", "type K tender"])
@pytest.mark.parametrize("views", [("6",), ("6", "4")])
def test_photos_that_disagree_on_the_tender_contradict_no_claim_of_it(
    text: str, views: tuple[str, ...]
) -> None:
    """The dispute names the cue "tender_axles", the claim is about "tender"."""
    guide = load_guide("wayfarer")
    seen = {f"p{a}": counted(a, 0.99 if a == "6" else 0.6) for a in views}
    photos = [photo_of(engine(), f"p{a}.png") for a in views]
    claims = find_claims(Listing("1", text), lexicon_of(guide))
    (item,) = judge(claims, date_item(photos, guide, FakeEye(seen)), guide)
    assert item.ratio is not None
    assert 1 / 100 < item.ratio < 1 / 10
    alone = len(views) == 1
    assert item.verdict is (Verdict.CONTRADICTED if alone else Verdict.CANNOT_TELL)
    assert alone or item.text == "the photos disagree with each other"


def test_a_tender_that_does_not_belong_is_said_everywhere(telltale: Any, tmp_path: Path) -> None:
    """The ranking put such an engine lower, and no report said why."""
    write_photos(tmp_path, ["own.jpg", "strange.jpg"])
    names = ("own", "strange")
    rows = [{"id": n, "title": f"Wayfarer {n}", "photos": f"{n}.jpg"} for n in names]
    shop = write_table(tmp_path / "t.csv", rows)
    pair = eye({"own": W["W6"], "strange": engine_cues(True, True, "red", "4")})
    page, table = tmp_path / "page.html", tmp_path / "out.csv"
    _, out, _ = telltale("listings", shop, "--jobs", 1, "--html", page, "--csv", table, eye=pair)
    records = by_id(judged(telltale, shop, eye=pair))
    (conflict,) = records["strange"]["answer"]["estimate"]["conflicts"]
    assert conflict["kind"] == "engine_tender"
    assert records["own"]["answer"]["estimate"]["conflicts"] == []

    paragraphs = unwrapped(out).split("\n\n")
    told = {p.splitlines()[0].split()[2]: p for p in paragraphs if "Wayfarer" in p}
    assert f"   does not fit together: {conflict['text']}" in told["strange"].splitlines()
    assert "does not fit together" not in told["own"]

    import lxml.html

    tree = lxml.html.fromstring(page.read_text("utf-8"))
    cards = {a.xpath("string(h2)").split()[-1]: a for a in tree.xpath("//article")}
    lists = "h3[.='What does not fit together']/following-sibling::ul[1]/li"
    assert [e.text_content() for e in cards["strange"].xpath(lists)] == [conflict["text"]]
    assert cards["own"].xpath(lists) == []

    cells = csv.DictReader(io.StringIO(table.read_text("utf-8"), newline=""))
    assert {c["id"]: c["does_not_fit_together"] for c in cells} == {
        "own": "",
        "strange": conflict["text"],
    }


# --- fetching -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "number",
    [
        *("fec0::1", "feff::1"),  # site-local, RFC 3879
        *("64:ff9b:1::7f00:1", "64:ff9b:1:ffff::1"),  # NAT64 for local use, RFC 8215
        *("::127.0.0.1", "::93.184.216.34"),  # IPv4-compatible, RFC 4291, section 2.5.5.1
        "::ffff:0:7f00:1",  # IPv4-translated, RFC 2765, section 2.1
        *("4000::1", "5f00::1"),  # given out to nobody as unicast, RFC 4291, section 2.4
    ],
)
def test_addresses_outside_the_public_internet_are_refused(number: str) -> None:
    assert refused_address(number)


@pytest.mark.parametrize(
    "number",
    ["2606:2800:220:1::1", "64:ff9b::5db8:d822", "::ffff:93.184.216.34", "2002:5db8:d822::1"],
)
def test_public_addresses_are_asked_also_through_ipv6(number: str) -> None:
    """RFC 6052, section 2.1 (NAT64), RFC 4291, section 2.5.5.2 (mapped), RFC 3056 (6to4)."""
    assert not refused_address(number)


@pytest.mark.parametrize("damage", ["no database", "page"])
def test_a_damaged_list_of_addresses_is_made_anew(
    telltale: Any, tmp_path: Path, damage: str
) -> None:
    address = "http://127.0.0.1:1/a.jpg"
    shop = write_table(tmp_path / "t.csv", [{"id": "1", "title": "x", "photos": address}])
    first = judged(telltale, shop, "--fetch")
    assert "private or local" in first[0]["photos"][0]["error"]
    base = tmp_path / ".telltale" / "fetched" / "addresses.sqlite"
    whole = base.read_bytes()
    # SQLite file format, section 1.6: a table begins on its own page, here the second.
    base.write_bytes(
        b"no database" * 100 if damage == "no database" else whole[:4096] + b"\xff" * 8192
    )
    code, out, err = telltale("listings", shop, "--fetch", "--json", "--jobs", 1)
    assert (code, err) == (0, "")
    assert [json.loads(line) for line in out.splitlines()] == first
    assert base.read_bytes() == whole


@pytest.mark.parametrize("way", ["fetched", "fetched/addresses.sqlite"])
def test_a_list_of_addresses_that_cannot_be_kept_is_one_line(
    telltale: Any, shop: Path, way: str
) -> None:
    state = shop.parent / "kept"
    in_the_way = state / way
    in_the_way.parent.mkdir(parents=True)
    if way == "fetched":
        in_the_way.write_text("a file where a folder is wanted", encoding="utf-8")
    else:
        in_the_way.mkdir()
    code, _, err = telltale("listings", shop, "--fetch", "--jobs", 1, "--state", state, eye=EYE)
    assert code == OutputError.exit_code
    assert len(err.splitlines()) == 1
    assert str(in_the_way) in err


# --- kept records -------------------------------------------------------------------


def test_installing_the_extra_for_heif_makes_it_look_again(tmp_path: Path) -> None:
    """It said to install the extra for ever, installed or not."""
    pytest.importorskip("pi_heif", reason='needs the extra "heic"')
    shutil.copy(TESTS / "cases" / "corners.heic", tmp_path / "phone.heic")
    shop = write_table(tmp_path / "t.csv", [{"id": "1", "title": "x", "photos": "phone.heic"}])
    hidden = tmp_path / "hidden"
    hidden.mkdir()
    (hidden / "pi_heif.py").write_text("raise ImportError\n", encoding="utf-8")
    without = os.pathsep.join([str(hidden), str(TESTS), str(TESTS.parent)])

    def photo(**environment: str) -> dict[str, Any]:
        run = command("listings", shop, "--json", "--jobs", 1, **environment)
        out, err = run.communicate(timeout=60)
        assert run.returncode == 0, err.decode()
        return dict(json.loads(out)["photos"][0])

    assert "the extra 'heic'" in photo(PYTHONPATH=without)["error"]
    assert "error" not in photo()
    assert "the extra 'heic'" in photo(PYTHONPATH=without)["error"]
