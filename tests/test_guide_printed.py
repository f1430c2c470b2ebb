"""The page of a guide in a real Chromium, on paper: nothing is cut at its edge."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from browser import chromium
from guides import P, small_guide, variation
from vision.guide import Guide, load_guide
from vision.report import guide_page

__all__ = ["chromium"]
# Pixels of 1/96 inch: A4 (ISO 216: 210 by 297 mm) and US Letter (8.5 by 11 inches) less a
# margin of 1 cm on either side.
PAPERS = {"a4": (718, 1046), "letter": (740, 980)}


def long_guide(years: int) -> Guide:
    rows = [
        variation(f"Variation no. {k} of many", list(range(1900 + k, 1900 + years)), {"c": P})
        for k in range(3)
    ]
    return small_guide(rows, checks=("c",))


@pytest.mark.slow
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("years", [9, 20, 21, 28, 60])
def test_the_year_chart_is_not_cut_on_paper(
    chromium: Any, tmp_path: Path, paper: str, years: int
) -> None:
    """A guide of more than about 20 years lost its last ones at the edge of the page."""
    guide = load_guide() if years == 9 else long_guide(years)
    file = tmp_path / "guide.html"
    file.write_text(guide_page(guide), encoding="utf-8")
    width, height = PAPERS[paper]
    page = chromium.new_page(viewport={"width": width, "height": height})
    try:
        page.emulate_media(media="print")
        page.goto(file.as_uri())
        cells = page.eval_on_selector_all(
            ".chart th[scope=col]",
            "all => all.map(e => [e.textContent.slice(0, 4), e.getBoundingClientRect().right])",
        )
        assert [int(year) for year, _ in cells] == list(range(guide.years[0], guide.years[-1] + 1))
        assert max(right for _, right in cells) <= width
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        # Dropped with other grounds, filled years would be white on white.
        adjusted = page.eval_on_selector(".made", "e => getComputedStyle(e).printColorAdjust")
        assert adjusted == "exact"
    finally:
        page.close()


def test_a_long_chart_is_set_in_even_parts() -> None:
    page = guide_page(long_guide(41))
    spans = ["1900–1913", "1914–1927", "1928–1940"]
    assert [page.count(f'aria-label="{span}"') for span in spans] == [1, 1, 1]
    assert guide_page(load_guide()).count('<table class="chart"') == 1
