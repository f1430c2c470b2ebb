"""Files of listings: tables, JSON Lines, saved pages; what is wrong with a row stays there."""

from __future__ import annotations

import json
import tempfile
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from vision.listings.money import currency_of, precision, read_price, write_price
from vision.listings.read import MOST_BYTES, Source, read_listings
from vision.listings.schema_org import json_listings, page_listings
from vision.listings.table import MOST_LINES_A_ROW, csv_rows, table_listings
from vision.listings.values import BadRow, Listing
from vision.records import ListingsError


def fields(text: str) -> list[list[str]]:
    return [row[1] for row in csv_rows(text) if not isinstance(row, BadRow)]


# RFC 4180, section 2, the examples of rules 1 to 7 in their order. The rules are quoted
# from memory; "CRLF" there stands for the line break.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        (
            "field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
            [["field_name"] * 3, ["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
        ),
        ("aaa,bbb,ccc", [["aaa", "bbb", "ccc"]]),
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        (
            '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx',
            [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]],
        ),
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_the_examples_of_rfc_4180(text: str, expected: list[list[str]]) -> None:
    assert fields(text) == expected


@settings(deadline=None)
@given(st.lists(st.lists(st.text(alphabet=st.characters(exclude_categories=("Cs",))), min_size=2)))
def test_what_is_written_by_the_rules_is_read_back(rows: list[list[str]]) -> None:
    quoted = [['"' + cell.replace('"', '""') + '"' for cell in row] for row in rows]
    text = "".join(",".join(row) + "\r\n" for row in quoted)
    if "\0" not in text:
        assert fields(text) == rows


def test_a_quote_left_open_costs_one_row() -> None:
    text = 'title,id\r\nfirst,1\r\n"second,2\r\nthird,3\r\n'
    items = list(table_listings(text, "a.csv"))
    assert [i.title for i in items if isinstance(i, Listing)] == ["first", "third"]
    assert [i.source for i in items if isinstance(i, BadRow)] == ["a.csv:3"]


def test_a_quote_left_open_in_a_long_file_costs_one_row() -> None:
    rows = [f"engine {n},{n}\n" for n in range(3 * MOST_LINES_A_ROW)]
    rows[10] = '"engine 10,10\n'
    items = list(table_listings("title,id\n" + "".join(rows), "a.csv"))
    assert sum(isinstance(i, Listing) for i in items) == len(rows) - 1
    assert [i.source for i in items if isinstance(i, BadRow)] == ["a.csv:12"]


def test_rows_of_another_length_are_told_with_their_line() -> None:
    items = list(table_listings("title,id\na,1\nb\nc,3\n", "a.csv"))
    assert [i.title for i in items if isinstance(i, Listing)] == ["a", "c"]
    assert BadRow("a.csv:3", "1 fields where the first row has 2") in items


def test_without_a_header_the_order_is_the_documented_one() -> None:
    text = "7,Engine,Nice,120.00,EUR,https://shop.example/7,a.jpg|b c.jpg\n"
    (item,) = table_listings(text, "a.csv")
    assert item == Listing(
        "7",
        "Engine",
        "Nice",
        Decimal("120.00"),
        "EUR",
        "https://shop.example/7",
        ("a.jpg", "b c.jpg"),
        "a.csv:1",
    )


def test_a_table_with_semicolons_is_told_what_is_expected() -> None:
    (item,) = table_listings("id;title\n1;Engine\n", "a.csv")
    assert isinstance(item, BadRow)
    assert "commas" in item.reason


# --- schema.org -------------------------------------------------------------------

# The first example of https://schema.org/Product in its two encodings; the maker's name
# and the reviews are left out.
MICRODATA = b"""<div itemscope itemtype="https://schema.org/Product">
  <span itemprop="name">White 17" Microwave</span>
  <img itemprop="image" src="microwave-17in.jpg" alt='17" Microwave' />
  <div itemprop="aggregateRating"
    itemscope itemtype="https://schema.org/AggregateRating">
   Rated <span itemprop="ratingValue">3.5</span>/5
   based on <span itemprop="reviewCount">11</span> customer reviews
  </div>
  <div itemprop="offers" itemscope itemtype="https://schema.org/Offer">
    <!--price is 1000, a number, with locale-specific thousands separator
    and decimal mark, and the $ character is marked up with the
    machine-readable code "USD" -->
    <span itemprop="priceCurrency" content="USD">$</span><span
          itemprop="price" content="1000.00">1,000.00</span>
    <link itemprop="availability" href="https://schema.org/InStock" />In stock
  </div>
  Product description:
  <span itemprop="description">0.7 cubic feet countertop microwave.
  Has six preset cooking categories and convenience features like
  Add-A-Minute and Child Lock.</span>
</div>"""
JSON_LD = """{
  "@context": "https://schema.org",
  "@type": "Product",
  "aggregateRating": {"@type": "AggregateRating", "ratingValue": "3.5", "reviewCount": "11"},
  "description": "0.7 cubic feet countertop microwave. Has six preset cooking categories.",
  "name": "White 17\\" Microwave",
  "image": "microwave-17in.jpg",
  "offers": {
    "@type": "Offer",
    "availability": "https://schema.org/InStock",
    "price": "55.00",
    "priceCurrency": "USD"
  }
}"""


def test_the_microdata_example_of_schema_org() -> None:
    (item,) = page_listings(MICRODATA, "page.html")
    assert isinstance(item, Listing)
    assert item.title == 'White 17" Microwave'
    assert (item.price, item.currency) == (Decimal("1000.00"), "USD")
    assert item.photos == ("microwave-17in.jpg",)
    assert item.description.startswith("0.7 cubic feet countertop microwave.")


@pytest.mark.parametrize("how", ["page", "line"])
def test_the_json_ld_example_of_schema_org(how: str) -> None:
    page = f'<html><script type="application/ld+json">{JSON_LD}</script></html>'
    items = page_listings(page.encode(), "p") if how == "page" else json_listings(JSON_LD, "p")
    (item,) = items
    assert isinstance(item, Listing)
    assert item.title == 'White 17" Microwave'
    assert (item.price, item.currency) == (Decimal("55.00"), "USD")
    assert item.photos == ("microwave-17in.jpg",)


def test_a_page_that_says_it_twice_is_one_listing() -> None:
    page = f'<script type="application/ld+json">{JSON_LD}</script>'.encode() + MICRODATA
    (item,) = page_listings(page, "p")
    assert isinstance(item, Listing)
    assert item.price == Decimal("55.00")


@pytest.mark.parametrize(
    ("node", "price", "photos"),
    [
        # Shapes that schema.org allows: AggregateOffer, priceSpecification, ImageObject,
        # an Offer that holds its item, a list of offers, @graph.
        ({"offers": {"@type": "AggregateOffer", "lowPrice": 10, "priceCurrency": "EUR"}}, 10, ()),
        ({"offers": [{"@type": "Offer", "price": 11, "priceCurrency": "EUR"}]}, 11, ()),
        ({"offers": {"priceSpecification": {"price": "12", "priceCurrency": "EUR"}}}, 12, ()),
        (
            {"image": [{"@type": "ImageObject", "contentUrl": "a.jpg"}, "b.jpg"]},
            None,
            ("a.jpg", "b.jpg"),
        ),
    ],
)
def test_other_shapes_of_a_product(node: dict, price: int | None, photos: tuple) -> None:
    whole = {"@graph": [{"@type": ["Thing", "Product"], "name": "Engine", **node}]}
    (item,) = json_listings(json.dumps(whole), "s")
    assert isinstance(item, Listing)
    assert (item.price, item.photos) == (price, photos)


def test_an_offer_that_holds_its_item() -> None:
    offer = {
        "@type": "Offer",
        "price": 80,
        "priceCurrency": "GBP",
        "url": "https://shop.example/1",
        "itemOffered": {"@type": "Product", "name": "Engine", "image": "a.jpg"},
    }
    (item,) = json_listings(json.dumps(offer), "s")
    assert item == Listing(
        "https://shop.example/1",
        "Engine",
        "",
        Decimal(80),
        "GBP",
        "https://shop.example/1",
        ("a.jpg",),
        "s",
    )


@pytest.mark.parametrize(
    "text",
    ["{", '"x"', "[]", '{"@type": "Person", "name": "x"}', "[" * 100_000, '{"@type": "Product"}'],
)
def test_json_without_a_listing_is_a_bad_row(text: str) -> None:
    (item,) = json_listings(text, "s:1")
    assert isinstance(item, BadRow)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\0\0",
        b"<?",
        b"<!",
        b"<!---->",
        b"<html>",
        b"\xff\xfe\x00",
        b"<script type='application/ld+json'>{</script>",
    ],
)
def test_pages_without_a_listing_are_bad_rows(data: bytes) -> None:
    items = list(page_listings(data, "p.html"))
    assert items
    assert all(isinstance(item, BadRow) for item in items)


@settings(deadline=None)
@given(st.binary(max_size=300), st.sampled_from(["a.csv", "a.jsonl", "a.json", "a.html"]))
def test_any_bytes_give_listings_or_bad_rows(data: bytes, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        for item in read_listings(path):
            assert isinstance(item, (Source, BadRow))


KEYS = ("@type", "@graph", "@id", "name", "description", "image", "url", "offers", "price")
KEYS += ("priceCurrency", "priceSpecification", "itemOffered", "properties", "type", "sku")
leaves = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
leaves |= st.sampled_from(["Product", "Offer", "https://schema.org/Product"])
nodes = st.recursive(
    leaves,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner),
)


@settings(deadline=None)
@given(nodes)
def test_any_json_gives_listings_or_bad_rows(value: object) -> None:
    for text in (json.dumps(value), json.dumps({"@type": "Product", "name": "x", "offers": value})):
        page = f'<script type="application/ld+json">{text}</script>'.encode()
        for items in (json_listings(text, "s"), page_listings(page, "p")):
            for item in items:
                assert isinstance(item, (Listing, BadRow))
                if isinstance(item, Listing):
                    assert all(isinstance(p, str) for p in (item.id, item.title, *item.photos))


# --- files and folders ------------------------------------------------------------


def test_a_folder_is_read_file_by_file_and_nothing_twice(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("id,title\n1,A\n2,B\n", encoding="utf-8")
    (tmp_path / "b.jsonl").write_text(
        '{"@type": "Product", "sku": "2", "name": "again"}\nnot json\n'
        '{"@type": "Product", "sku": "3", "name": "C"}\n',
        encoding="utf-8",
    )
    (tmp_path / "c.html").write_bytes(MICRODATA)
    (tmp_path / "notes.txt").write_text("no listing", encoding="utf-8")
    items = list(read_listings(tmp_path))
    assert [i.listing.title for i in items if isinstance(i, Source)] == [
        "A",
        "B",
        "C",
        'White 17" Microwave',
    ]
    assert [i.source for i in items if isinstance(i, BadRow)] == ["b.jsonl:1", "b.jsonl:2"]


def test_text_that_is_not_utf_8_is_read_and_said(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes("title\nTrès belle, 1934\n".replace(",", "").encode("cp1252"))
    (item,) = read_listings(tmp_path / "a.csv")
    assert isinstance(item, Source)
    assert item.listing.title == "Très belle 1934"
    assert "Windows-1252" in item.listing.notes[0]


def test_an_archive_called_csv_is_one_bad_row(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"PK\x03\x04" + bytes(100))
    (item,) = read_listings(tmp_path / "a.csv")
    assert item == BadRow("a.csv", "not text")


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "a.csv").open("wb") as stream:
        stream.truncate(MOST_BYTES + 1)  # sparse: takes no room
    (item,) = read_listings(tmp_path / "a.csv")
    assert isinstance(item, BadRow)


@pytest.mark.parametrize("name", ["missing.csv", "x.txt", "."])
def test_nothing_to_read_is_an_error(tmp_path: Path, name: str) -> None:
    (tmp_path / "x.txt").write_text("x", encoding="utf-8")
    with pytest.raises(ListingsError):
        list(read_listings(tmp_path / name))


# --- money ------------------------------------------------------------------------


# ISO 4217, list one, from memory: alphabetic code and minor unit.
@pytest.mark.parametrize(
    ("code", "places"),
    [
        ("EUR", 2),
        ("USD", 2),
        ("GBP", 2),
        ("CHF", 2),
        ("JPY", 0),
        ("KRW", 0),
        ("BHD", 3),
        ("SEK", 2),
    ],
)
def test_codes_and_minor_units_of_iso_4217(code: str, places: int) -> None:
    assert currency_of(code) == code
    assert currency_of(code.lower()) == code
    assert precision(code) == places


@pytest.mark.parametrize("text", ["EURO", "ZZZ", "12", "", "$", "E R"])
def test_what_is_no_code_of_iso_4217(text: str) -> None:
    assert currency_of(text) == ""


@pytest.mark.parametrize(
    ("amount", "currency", "value", "code"),
    [
        ("120", "EUR", "120", "EUR"),
        ("1000.00", "USD", "1000.00", "USD"),
        ("1.234,50 €", "", "1234.50", "EUR"),
        ("£1,234.50", "", "1234.50", "GBP"),
        ("$80", "", "80", ""),
        ("0.985", "KWD", "0.985", "KWD"),
        ("1.234", "EUR", "1.234", "EUR"),
        ("", "EUR", None, "EUR"),
        ("-5", "EUR", None, "EUR"),
        ("ask me", "EUR", None, "EUR"),
        ("99999999999999999999", "EUR", None, "EUR"),
    ],
)
def test_prices(amount: str, currency: str, value: str | None, code: str) -> None:
    price, read, notes = read_price(amount, currency)
    assert price == (None if value is None else Decimal(value))
    assert read == code
    assert bool(notes) == (value is None and bool(amount))


def test_a_price_is_written_with_its_currency_own_decimals() -> None:
    assert write_price(Decimal("1234.5"), "EUR") == "1,234.50 EUR"
    assert write_price(Decimal("1234"), "JPY") == "1,234 JPY"
    assert write_price(Decimal("0.985"), "BHD") == "0.985 BHD"
    assert write_price(Decimal("5"), "") == "5.00"
