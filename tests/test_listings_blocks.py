"""Saved pages with several blocks of JSON-LD, of which one cannot be read."""

from __future__ import annotations

import json

from vision.listings.schema_org import page_listings
from vision.listings.values import BadRow, Listing


def block(text: str) -> str:
    return f'<script type="application/ld+json">{text}</script>'


def test_a_block_that_cannot_be_read_takes_no_other_away() -> None:
    engines = [block(json.dumps({"@type": "Product", "name": name})) for name in ("A", "B")]
    page = f"<html>{engines[0]}{block(chr(123) + 'broken')}{engines[1]}</html>"
    found = list(page_listings(page.encode(), "p.html"))
    assert [item.title for item in found if isinstance(item, Listing)] == ["A", "B"]
    (bad,) = (item for item in found if isinstance(item, BadRow))
    assert bad.reason.startswith("JSON-LD that cannot be read")
