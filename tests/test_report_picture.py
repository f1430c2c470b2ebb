"""The page of answers carries its photos: marked, bounded, and in words for who cannot see them."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from answers import LOCOMOTIVE, answer, no_engine, photo_of
from browser import SIZES, violations
from conftest import Telltale
from shapes import encoded, engine
from vision.records import State
from vision.report import answer_html
from vision.report.markup import page
from vision.report.picture import MOST_BYTES, SIDE, picture_html


class Images(HTMLParser):
    """Attributes of every picture of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[dict[str, str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: Any) -> None:
        if tag == "img":
            self.found.append({name: value or "" for name, value in attributes})


def decoded(source: str) -> Image.Image:
    """A picture out of a data URI (RFC 2397)."""
    head, _, data = source.partition(",")
    assert head == "data:image/jpeg;base64"
    content = base64.b64decode(data, validate=True)
    assert len(content) <= MOST_BYTES
    image = Image.open(io.BytesIO(content))
    assert image.format == "JPEG"
    return image.convert("RGB")


def test_the_picture_is_the_photo_with_marks_on_it() -> None:
    photo = photo_of(engine(1280, 720))
    (found,) = Images(picture_html(answer(photo, 4.0), 0)).found
    image = decoded(found["src"])
    assert image.size == (1280, 720) == (int(found["width"]), int(found["height"]))
    drawn, plain = np.asarray(image, float), photo.pixels.astype(float)
    changed = np.abs(drawn - plain).max(axis=2) > 90
    # Brackets at the corners of the engine's box, and none of the ground far below it.
    left, top = round(LOCOMOTIVE.left * 4), round(LOCOMOTIVE.top * 4)
    assert changed[top - 6 : top + 7, left : left + 40].any()
    assert not changed[-20:, :20].any()


def test_its_words_list_every_region_and_how_it_was_read() -> None:
    hostile = '"><script>alert(1)</script>.jpg'
    told = answer(photo_of(engine(), hostile))
    (found,) = Images(answer_html(told)).found
    name, _, listed = found["alt"].partition(", marked: ")
    assert name == hostile
    assert listed.split("; ") == [
        "engine, facing left",
        "tender",
        "boiler top, switch lever: absent (97 %)",
        "side rods, side linkage: present (91 %)",
        "running board, edge stripe: not visible",
        "tender axles: 4 (88 %)",
        "tender lettering: present (95 %)",
    ]
    assert "<script" not in answer_html(told)
    # What has no place in the picture stands under it.
    caption = re.search(r"<figcaption[^>]*>(.*?)</figcaption>", answer_html(told))
    assert caption is not None and "cab number: not visible" in caption[1]


def test_a_photo_without_an_engine_is_shown_as_it_is() -> None:
    (found,) = Images(answer_html(no_engine())).found
    assert found["alt"] == "shelf.png: no locomotive found"
    assert max(decoded(found["src"]).size) == SIDE


def test_each_photo_of_an_item_is_there_with_its_own_marks() -> None:
    one = answer()
    cues = (replace(one.cues[0], photo=1), *one.cues[1:])
    several = replace(one, photos=one.photos * 2, sightings=one.sightings * 2, cues=cues)
    first, second = (found["alt"] for found in Images(answer_html(several)).found)
    assert "switch lever" in second and "switch lever" not in first
    assert "side linkage" in first and "side linkage" not in second


@pytest.mark.parametrize("shape", [(3000, 2000), (40, 33), (90, 4000)])
def test_the_size_is_bounded_whatever_the_photo(shape: tuple[int, int]) -> None:
    """Noise is the worst that a JPEG can meet."""
    noise = Image.effect_noise(shape, 120).convert("RGB")
    told = replace(no_engine(), photos=(photo_of(noise),))
    (found,) = Images(picture_html(told, 0)).found
    image = decoded(found["src"])
    assert max(image.size) <= SIDE
    assert image.width / image.height == pytest.approx(shape[0] / shape[1], rel=0.05)


def test_the_policy_lets_in_nothing_but_the_pages_own_pictures() -> None:
    """Content Security Policy Level 3: `default-src 'none'`, and `data:` for pictures alone."""
    text = page([], warn=False)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy[1].split(";"))
    assert rules == {
        "default-src": "'none'",
        "style-src": "'unsafe-inline'",
        "img-src": "data:",
    }


@SIZES
def test_in_a_browser_under_its_own_policy(
    open_page: Any, telltale: Telltale, tmp_path: Path, size: tuple[int, int]
) -> None:
    photo = tmp_path / "engine.png"
    photo.write_bytes(encoded(engine()))
    out = tmp_path / "out.html"
    assert telltale("date", photo, photo, "--html", out)[0] == 0
    for scheme in ("light", "dark"):
        page = open_page(0, size, address=out.as_uri(), color_scheme=scheme)
        widths = page.evaluate("[...document.images].map(e => e.naturalWidth)")
        assert widths == [SIDE, SIDE]
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert violations(page) == []
    assert State.ABSENT.value in page.locator("img").first.get_attribute("alt")
