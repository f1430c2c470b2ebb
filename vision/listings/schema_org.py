"""schema.org Product and Offer, as JSON-LD or microdata, to listings."""

from __future__ import annotations

import html
import json
import re
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cache, partial
from types import ModuleType
from typing import Any

from lxml.etree import LxmlError

from vision.listings.money import read_price
from vision.listings.values import BadRow, Listing

Node = Mapping[str, Any]

# Nesting beyond this is no description of an engine. Chosen.
DEEPEST = 30
_UNREADABLE = (LxmlError, ValueError, TypeError, LookupError, RecursionError)
IDS = ("sku", "productID", "identifier", "mpn", "@id", "url")


def json_lines(text: str, name: str) -> Iterator[Listing | BadRow]:
    """Listings of JSON Lines: one schema.org Product or Offer a line."""
    for number, line in enumerate(text.split("\n"), 1):
        if line.strip():
            yield from json_listings(line, f"{name}:{number}")


def json_listings(text: str, source: str) -> Iterator[Listing | BadRow]:
    """Listings of one JSON text."""
    try:
        value = json.loads(text)
    except (ValueError, RecursionError) as error:
        yield BadRow(source, f"not JSON ({error})"[:200])
        return
    found: list[Listing | BadRow] = list(_listings(value, source))
    yield from _numbered(found, source) or [BadRow(source, "no schema.org Product or Offer")]


def page_listings(data: bytes, name: str) -> Iterator[Listing | BadRow]:
    """Listings of a saved web page that carries schema.org JSON-LD or microdata.

    Where a page tells of one product in both ways, the JSON-LD counts. What it tells twice in
    one way is one product only if it is alike in everything: two of one title may be two.
    """
    text = _extruct().decode(data)
    if not text.strip():
        yield BadRow(name, "an empty page")
        return
    told: dict[str, list[Listing]] = {"JSON-LD": [], "microdata": []}
    bad: list[Listing | BadRow] = []
    for how, read in (("JSON-LD", _extruct().json_ld), ("microdata", _extruct().microdata)):
        listings: list[Listing] = []
        for nodes in read(text):
            if isinstance(nodes, Exception):
                bad.append(BadRow(name, f"{how} that cannot be read ({nodes})"[:200]))
            else:
                listings += _listings(nodes, name)
        told[how] = list(dict.fromkeys(listings))
    found = [*told["JSON-LD"], *_besides(told["JSON-LD"], told["microdata"]), *bad]
    yield from _numbered(found, name) or [
        BadRow(name, "no schema.org Product or Offer on this page")
    ]


def _besides(first: Sequence[Listing], second: Sequence[Listing]) -> list[Listing]:
    """What the second way tells of that the first does not: another id, or another title.

    The two ways may name one product by different ids, a sku here and an address there, so
    each product of the first also takes one of the second away that has its title.
    """
    shared = {item.id for item in first if item.id != item.source} & {item.id for item in second}
    titles = Counter(item.title.casefold() for item in first if item.id not in shared)
    left = []
    for item in second:
        title = item.title.casefold()
        if item.id in shared:
            continue
        if titles[title] > 0:
            titles[title] -= 1
        else:
            left.append(item)
    return left


class _Extruct:
    """The library, imported without what its own dependencies warn of."""

    def __init__(self) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import extruct.jsonld
            import extruct.utils
            import extruct.w3cmicrodata
            import w3lib.encoding
        self._library: ModuleType = extruct
        self._encoding = w3lib.encoding

    def decode(self, data: bytes) -> str:
        return str(self._encoding.html_to_unicode(None, data)[1])

    def json_ld(self, text: str) -> Iterator[Any]:
        """What each block holds, or why it cannot be read: none takes another away."""
        extractor = self._library.jsonld.JsonLdExtractor()
        scripts = _read_or_error(partial(self._scripts, text))
        if isinstance(scripts, Exception):
            yield scripts
            return
        for script in scripts:
            yield _read_or_error(partial(extractor.extract_items, script))

    def _scripts(self, text: str) -> list[Any]:
        page = self._library.utils.parse_html(text, encoding="UTF-8")
        return list(page.xpath('//script[@type="application/ld+json"]'))

    def microdata(self, text: str) -> Iterator[Any]:
        """What the page holds, or why it cannot be read."""
        extractor = self._library.w3cmicrodata.MicrodataExtractor(nested=True)
        yield _read_or_error(partial(extractor.extract, text))


def _read_or_error(read: Callable[[], Iterable[Any]]) -> list[Any] | Exception:
    try:
        return list(read())
    except _UNREADABLE as error:
        return error


@cache
def _extruct() -> _Extruct:
    return _Extruct()


def _numbered(found: list[Listing | BadRow], name: str) -> list[Listing | BadRow]:
    """Give each listing of a page with several its own source."""
    if len(found) < 2:
        return found
    numbered: list[Listing | BadRow] = []
    for number, item in enumerate(found, 1):
        source = f"{name}#{number}"
        if isinstance(item, BadRow):
            numbered.append(BadRow(source, item.reason))
        else:
            own = source if item.id == item.source else item.id
            numbered.append(replace(item, id=own, source=source))
    return numbered


def _listings(value: Any, source: str) -> Iterator[Listing]:
    for node in _wanted(value, 0):
        listing = _listing(node, source)
        if listing is not None:
            yield listing


def _wanted(value: Any, depth: int) -> Iterator[Node]:
    """Products, and offers that stand by themselves, wherever they are nested."""
    if depth > DEEPEST:
        return
    if isinstance(value, list):
        for item in value:
            yield from _wanted(item, depth + 1)
    elif isinstance(value, Mapping):
        node = _flat(value)
        if _is_a(node, "Product", "ProductModel", "IndividualProduct", "Vehicle") or (
            _is_a(node, "Offer") and not _is_a(_first(node.get("itemOffered")), "Service")
        ):
            yield node
        else:
            for item in node.values():
                if isinstance(item, (list, Mapping)):
                    yield from _wanted(item, depth + 1)


def _flat(node: Node) -> Node:
    """A microdata item in the shape of JSON-LD."""
    if isinstance(node.get("properties"), Mapping):
        return {"@type": node.get("type", ""), "@id": node.get("id", ""), **node["properties"]}
    return node


def _is_a(node: Any, *types: str) -> bool:
    if not isinstance(node, Mapping):
        return False
    node = _flat(node)
    named = node.get("@type", "")
    named = named if isinstance(named, list) else [named]
    return any(isinstance(t, str) and re.split(r"[/:#]", t)[-1] in types for t in named)


def _first(value: Any) -> Any:
    if isinstance(value, list):
        return value[0] if value else None
    return _flat(value) if isinstance(value, Mapping) else value


def _text(value: Any) -> str:
    value = _first(value)
    if isinstance(value, Mapping):
        value = value.get("@value", value.get("value", value.get("name", "")))
    if value is None or isinstance(value, (Mapping, list, bool)):
        return ""
    return str(value).strip()


def _listing(node: Node, source: str) -> Listing | None:
    if _is_a(node, "Offer"):
        offer: Node = node
        product = _first(node.get("itemOffered"))
        product = {**product, **_without(node)} if isinstance(product, Mapping) else node
    else:
        product = node
        offered = _first(node.get("offers"))
        offer = offered if isinstance(offered, Mapping) else {}
    title, description = (
        _plain(_text(product.get("name"))),
        _plain(_text(product.get("description"))),
    )
    photos = tuple(dict.fromkeys(_images(product.get("image", node.get("image")))))
    if not (title or description or photos):
        return None
    price, currency, notes = _price(offer)
    link = _text(product.get("url")) or _text(offer.get("url"))
    own = next((text for key in IDS if (text := _text(product.get(key)))), "")
    return Listing(own or source, title, description, price, currency, link, photos, source, notes)


def _without(offer: Node) -> Node:
    """What an offer says of the product itself: its name and picture, if it has any."""
    return {key: offer[key] for key in ("image", "url", "sku") if key in offer}


def _price(offer: Node) -> tuple[Decimal | None, str, tuple[str, ...]]:
    offer = _flat(offer)
    inner = _first(offer.get("offers"))
    asked = _first(offer.get("priceSpecification"))
    for place in (offer, asked, inner):
        if not isinstance(place, Mapping):
            continue
        for key in ("price", "lowPrice", "minPrice"):
            if _text(place.get(key)):
                code = _text(place.get("priceCurrency")) or _text(offer.get("priceCurrency"))
                return read_price(_text(place.get(key)), code)
    return read_price("", _text(offer.get("priceCurrency")))


def _images(value: Any) -> Iterator[str]:
    for item in value if isinstance(value, list) else [value]:
        if isinstance(item, Mapping):
            node = _flat(item)
            item = _text(node.get("contentUrl")) or _text(node.get("url")) or _text(node.get("@id"))
        if isinstance(item, str) and item.strip():
            yield item.strip()


def _plain(text: str) -> str:
    """Text without the mark-up that some sellers leave in descriptions."""
    return html.unescape(re.sub(r"<[^<>]{1,200}>", " ", text)).strip() if "<" in text else text
