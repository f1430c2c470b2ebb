"""What the page says right under the years, in a real Chromium."""

from __future__ import annotations

from answers import FakeEye
from browser import SIZES, Open, answered, photo, snap, violations
from page_server import running
from test_under_years import LINE, MARRIAGE
from vision.report.under import EXAMPLE


@SIZES
def test_a_marriage_stands_under_the_years_without_scrolling(
    open_page: Open, size: tuple[int, int]
) -> None:
    with running(FakeEye({"engine": MARRIAGE})) as port:
        page = open_page(port, size)
        snap(page, photo())
        answered(page)
        line = page.locator(".plate .under")
        assert line.inner_text() == LINE
        box = line.bounding_box()
        assert box["y"] + box["height"] < size[1] / 2
        # Who hears the page is told it with the years.
        assert LINE in page.locator("#heard").inner_text()
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert violations(page) == []


@SIZES
def test_the_guide_stands_on_the_plate(open_page: Open, size: tuple[int, int]) -> None:
    for by_default in (False, True):
        with running(FakeEye({"engine": MARRIAGE}), by_default=by_default) as port:
            page = open_page(port, size)
            snap(page, photo())
            answered(page)
            words = page.inner_text(".plate .by")
            assert words.startswith("by the guide wayfarer 1")
            assert (EXAMPLE in words) is by_default
            assert violations(page) == []
