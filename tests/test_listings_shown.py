"""Judged listings as a table and as a page, without life of their own."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from listing_files import EYE, judged, write_photos, write_table
from vision.listings.sheet import COLUMNS, neutral

HOSTILE = '"><img src=x onerror=alert(1)><script>alert(2)</script>'


# OWASP, "CSV Injection": the beginnings that make a cell a formula; from memory.
@pytest.mark.parametrize(
    "cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "＝1", "＠x"]
)
def test_no_cell_is_a_formula(cell: str) -> None:
    assert neutral(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["310", "a=b", "", "0.5", "Wayfarer - 1934"])
def test_other_cells_stay(cell: str) -> None:
    assert neutral(cell) == cell


def test_the_table_is_rfc_4180_and_without_life(telltale: Any, shop: Path) -> None:
    rows = [
        {
            "id": "=cmd|'/c calc'!A1",
            "title": '=HYPERLINK("x")',
            "description": '@x "quoted", with lever',
            "photos": "+x.jpg",
            "link": "-1",
        }
    ]
    write_table(shop, rows)
    out = shop.parent / "out" / "ranked.csv"
    out.parent.mkdir()
    telltale("listings", shop, "--csv", out, "--jobs", 1, eye=EYE)
    data = out.read_bytes()
    assert data.count(b"\r\n") == 2
    assert b"\n" not in data.replace(b"\r\n", b"")
    head, row = csv.reader(io.StringIO(data.decode(), newline=""))
    assert tuple(head) == COLUMNS
    assert not [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t"))]
    assert row[COLUMNS.index("id")] == "'=cmd|'/c calc'!A1"


# --- the page -------------------------------------------------------------------------


def test_the_page_escapes_everything_and_needs_nothing(telltale: Any, shop: Path) -> None:
    write_photos(shop.parent, ["w6.jpg"])
    rows = [
        {
            "id": HOSTILE,
            "title": HOSTILE,
            "description": f"{HOSTILE} with lever {HOSTILE}",
            "link": "javascript:alert(3)",
            "photos": f"w6.jpg|{HOSTILE}.jpg",
            "currency": HOSTILE,
        },
        {
            "id": "2",
            "title": "x",
            "link": 'https://shop.example/" onmouseover="alert(4)',
            "photos": "w6.jpg",
        },
    ]
    write_table(shop, rows)
    page = shop.parent / "page.html"
    telltale("listings", shop, "--html", page, "--jobs", 1, eye=EYE)
    text = page.read_text(encoding="utf-8")
    import lxml.html

    tree = lxml.html.fromstring(text)
    assert not tree.xpath("//script")
    assert not [a for e in tree.iter() for a in e.attrib if a.startswith("on")]
    assert all(s.startswith("data:image/webp;base64,") for s in tree.xpath("//img/@src"))
    assert len(tree.xpath("//img")) == 2
    links = tree.xpath("//a/@href")
    assert links == ['https://shop.example/" onmouseover="alert(4)']
    assert HOSTILE in tree.xpath("string(//article[1])") + tree.xpath("string(//article[2])")
    assert "default-src 'none'" in tree.xpath("//meta[@http-equiv]/@content")[0]


def test_the_page_strikes_what_is_contradicted(telltale: Any, shop: Path) -> None:
    page = shop.parent / "page.html"
    telltale("listings", shop, "--html", page, "--jobs", 1, eye=EYE)
    import lxml.html

    tree = lxml.html.fromstring(page.read_text(encoding="utf-8"))
    assert [e.text_content() for e in tree.xpath("//s")] == ["lever"]
    assert tree.xpath("//mark/text()") == ["lever"]
    order = [r["title"] for r in judged(telltale, shop)]
    assert [h.text_content() for h in tree.xpath("//h2")][:4] == [
        f"{n}. {t}" for n, t in enumerate(order, 1)
    ]
