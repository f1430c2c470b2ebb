"""The page of listings in a real Chromium: on a phone, without scripts, on paper."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from browser import FLAGS, violations
from listing_files import HIDDEN, W, eye, write_photos, write_table
from vision.cli import run

pytest.importorskip("extruct")
pytest.importorskip("babel")
sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium")
if CHROMIUM is None and not os.environ.get("CI"):
    pytest.skip("no chromium on this machine", allow_module_level=True)

SIZES = {"phone": (360, 780), "desktop": (1280, 800)}
LONG = "Wayfarer" * 12


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with every kind of card: for, against, open, without photo, with bad rows."""
    folder = tmp_path_factory.mktemp("shop")
    write_photos(folder, ["w6.jpg", "w3.jpg", "dim.jpg"])
    table = write_table(
        folder / "t.csv",
        [
            {
                "id": "1",
                "title": "Wayfarer 1938 with lever, mint",
                "price": "300",
                "currency": "EUR",
                "photos": "w6.jpg",
            },
            {
                "id": "2",
                "title": LONG,
                "description": f"with lever {LONG}",
                "link": f"https://shop.example/{LONG}",
                "photos": f"w3.jpg|{LONG}.jpg",
            },
            {"id": "3", "title": "عربة 1934", "description": "no lever", "photos": "dim.jpg"},
            {"id": "4", "title": "Wayfarer"},
        ],
    )
    with table.open("a", encoding="utf-8") as stream:
        stream.write("bad,row\r\n")
    seen = eye({"w6": W["W6"], "w3": W["W3"], "dim": HIDDEN})
    page = folder / "page.html"
    run(["listings", str(table), "--html", str(page), "--jobs", "1"], load_eye=lambda: seen)
    return page


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def show(chromium: Any, report: Path) -> Iterator[Any]:
    """Opens the page, and fails on any word in the console or call to the network."""
    contexts, said = [], []

    def call(size: str, **more: Any) -> Any:
        width, height = SIZES[size]
        context = chromium.new_context(viewport={"width": width, "height": height}, **more)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("request", lambda r: said.append(r.url) if r.url.startswith("http") else None)
        page.goto(report.as_uri())
        return page

    yield call
    for context in contexts:
        context.close()
    assert said == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_axe_has_nothing_to_say(show: Any, size: str, scheme: str) -> None:
    page = show(size, color_scheme=scheme)
    for summary in page.locator("summary").all():
        summary.click()
    assert violations(page) == []


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_wider_than_the_screen(show: Any, size: str) -> None:
    page = show(size, java_script_enabled=False)
    context = page.context
    session = context.new_cdp_session(page)
    metrics = session.send("Page.getLayoutMetrics")
    assert metrics["cssContentSize"]["width"] <= SIZES[size][0]


def test_it_reads_without_scripts_and_marks_lie_on_the_photo(show: Any) -> None:
    page = show("phone", java_script_enabled=False)
    assert page.locator("article").count() == 4
    assert [text.strip('“”"') for text in page.locator("s").all_inner_texts()] == ["lever"]
    card = page.locator("article", has=page.locator("s"))
    picture, marks = (card.locator(f"figure {tag}").bounding_box() for tag in ("img", "svg"))
    assert picture == marks
    assert card.locator("svg").get_attribute("viewBox") == "0 0 320 180"
    # The region of the boiler top, `answers.REGIONS`, in the photo's own pixels.
    points = card.locator("svg polygon").first.get_attribute("points")
    assert points == "40,40 170,40 170,72 40,72"
    assert "bad" not in page.locator("main").inner_text()
    assert "2 fields where the first row has 7" in page.locator("footer").inner_text()


def test_it_can_be_walked_with_the_keyboard(show: Any) -> None:
    page = show("phone")
    names = []
    for _ in range(12):
        page.keyboard.press("Tab")
        names.append(page.evaluate("document.activeElement.tagName"))
    assert names.count("SUMMARY") >= 4
    assert "A" in names
    page.locator("summary").first.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.querySelector('details').open") is True


def test_it_prints_with_cards_whole_and_links_in_full(show: Any, tmp_path: Path) -> None:
    page = show("desktop")
    page.emulate_media(media="print")
    rule = page.evaluate("getComputedStyle(document.querySelector('article')).breakInside")
    assert rule == "avoid"
    after = page.evaluate("getComputedStyle(document.querySelector('a[href]'), '::after').content")
    assert LONG in after or "attr" in after
    assert page.pdf(format="A4").startswith(b"%PDF")
