"""What stands under the years, on every surface: a strange tender, and whose guide it was."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from answers import answer, no_engine, photo_of
from conftest import Telltale
from guides import cue, value
from shapes import engine
from vision.estimate import estimate
from vision.guide import builtin_names, load_guide
from vision.page.shown import shown
from vision.records import SEVERAL_ENGINES, Answer, Conflict
from vision.report import answer_html, terminal_text
from vision.report.strip import strip_lines
from vision.report.under import BY_ENGINE, EXAMPLE, STRANGE_TENDER, guide_words, under_years

GUIDE = load_guide()
# A W4 by number, stripe and linkage, before a tender of four axles, which came with W1 to W3.
MARRIAGE = (
    cue("side_linkage", 0.01),
    cue("edge_stripe", 0.99),
    value("tender_axles", "4", 0.99),
    value("cab_number", "316", 0.95),
)
LINE = f"{STRANGE_TENDER}; {BY_ENGINE}"


def married() -> Answer:
    one = answer(photo_of(engine()))
    return replace(one, cues=MARRIAGE, estimate=estimate(GUIDE, MARRIAGE))


def with_conflict(told: Answer, *conflicts: Conflict, **more: object) -> Answer:
    assert told.estimate is not None
    changed = replace(told.estimate, conflicts=(*told.estimate.conflicts, *conflicts), **more)  # type: ignore[arg-type]
    return replace(told, estimate=changed)


def test_a_marriage_is_told_right_under_the_years_on_every_surface() -> None:
    told = married()
    text = terminal_text(told)
    # Before the variations, and far before what does not fit together.
    assert text.index("╝") < text.index(LINE) < text.index("W4 (") < text.index("Why")
    html = answer_html(told)
    assert html.index('class="sure"') < html.index(LINE) < html.index("<h2>")
    assert [line for line, _, _ in strip_lines(told, ())][-3] == LINE
    assert shown(told, GUIDE)["under"] == LINE


def test_nothing_is_said_of_a_tender_that_may_belong() -> None:
    plain = answer(photo_of(engine()))
    assert under_years(plain) == ""
    assert shown(plain, GUIDE)["under"] == ""
    for text in (terminal_text(plain), answer_html(plain)):
        assert STRANGE_TENDER not in text


def test_of_several_engines_no_tender_is_said_to_be_strange() -> None:
    several = with_conflict(married(), Conflict(SEVERAL_ENGINES, (), "more than one"))
    assert under_years(several) == ""


def test_where_no_year_is_named_none_is_said_to_be_the_engines() -> None:
    assert under_years(with_conflict(married(), years="XXXX")) == STRANGE_TENDER


# --- by which guide ----------------------------------------------------------------


def test_the_guide_stands_beside_the_years_on_every_surface() -> None:
    told = married()
    words = "by the guide test 1"
    text = terminal_text(told)
    # On the line of the box's lower edge.
    assert f"╝   {words}" in text
    html = answer_html(told)
    assert html.index('class="sure"') < html.index(words) < html.index(LINE)
    assert [line for line, _, _ in strip_lines(told, ())][2] == words
    assert shown(told, GUIDE)["guide"] == words
    for surface in (text, html):
        assert EXAMPLE not in surface


def test_a_narrow_terminal_has_the_guide_below_how_sure() -> None:
    lines = terminal_text(replace(married(), by_default=True), width=40).splitlines()
    assert max(map(len, lines[1:4])) <= 40
    flat = " ".join(" ".join(lines[1:7]).translate({ord(c): " " for c in "╔╗╚╝║═"}).split())
    assert f"by the guide test 1, {EXAMPLE}" in flat


def test_the_guide_that_nobody_named_is_told_to_be_an_example() -> None:
    told = replace(married(), by_default=True)
    words = f"by the guide test 1, {EXAMPLE}"
    for surface in (terminal_text(told), answer_html(told)):
        assert words in surface
    assert words in [line for line, _, _ in strip_lines(told, ())]
    assert shown(told, GUIDE)["guide"] == words


def test_where_nothing_was_dated_no_guide_is_named() -> None:
    assert guide_words(replace(no_engine(), by_default=True)) == ""


def test_a_guides_name_is_one_line() -> None:
    versions = {"telltale": "0", "guide": "two\nlines\x1b[31m 1", "model": "none"}
    assert guide_words(replace(married(), versions=versions)) == (
        r"by the guide two\nlines\x1b[31m 1"
    )


@pytest.mark.parametrize("name", [None, *builtin_names()])
def test_only_a_guide_that_was_not_named_is_called_an_example(
    telltale: Telltale, photo: Path, name: str | None
) -> None:
    named = () if name is None else ("--guide", name)
    code, out, err = telltale("date", photo, *named)
    assert (code, err) == (0, "")
    assert f"by the guide {name or builtin_names()[0]} 1" in out
    assert (EXAMPLE in out) is (name is None)
