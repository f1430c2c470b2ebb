"""A guide as text and as a page: what is on them, and that they fit."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest

from conftest import Telltale
from guides import A, P, load_text, small_guide, variation
from vision.guide import (
    Guide,
    Tender,
    builtin_text,
    confusable,
    load_guide,
    pairs,
    starter_text,
)
from vision.guide.values import DEFAULT_ADDED, DEFAULT_LOST
from vision.records import BINARY_CUES, GuideError, OutputError, State
from vision.report import guide_page, guide_text, hard_pairs
from vision.report.guide_html import STYLE
from vision.report.guide_rows import table
from vision.report.words import years_words


def long_guide() -> Guide:
    """Sixty years, nine checks, and a variation of which nothing is known but years."""
    rows = [
        variation("Early", [1900, 1901], {"switch_lever": P, "c1": P, "c9": A}, numbers=("1",)),
        variation("Late", [1958, 1959], {"switch_lever": A, "c1": A, "c9": A}, tenders=("K",)),
        variation("Some", [1930]),
    ]
    return small_guide(rows, tenders=(Tender("K", 1, 3),), checks=[f"c{i}" for i in range(1, 10)])


# --- what the table says -----------------------------------------------------------


def test_every_cell_is_the_guides_own(guide: Guide) -> None:
    heads, rows = table(guide)
    names = {"lever": "switch_lever", "linkage": "side_linkage", "stripe": "edge_stripe"}
    names |= {check.replace("_", " "): check for check in guide.check_names}
    assert [row[0] for row in rows] == [v.id for v in guide.variations]
    for row, made in zip(rows, guide.variations, strict=True):
        cells = dict(zip(heads, row, strict=True))
        assert cells["years"] == years_words(made.edtf)
        assert cells["number"] == " or ".join(made.numbers)
        for head, name in names.items():
            state = made.expects[name]
            shown = "no" if state is State.ABSENT else "yes"
            colour = made.stripe_colour if head == "stripe" else None
            assert cells[head] == (colour or shown)


def test_what_the_guide_leaves_open_is_not_called_absent() -> None:
    heads, rows = table(long_guide())
    cells = dict(zip(heads, rows[2], strict=True))
    assert {cells[head] for head in heads if head not in ("id", "years")} == {"–"}
    # Of these no variation says anything.
    assert not {"linkage", "stripe", "c2"} & set(heads)


@pytest.mark.parametrize("width", [40, 60, 80])
def test_text_keeps_to_the_width(guide: Guide, width: int) -> None:
    for shown in (guide, long_guide()):
        assert max(map(len, guide_text(shown, width=width).splitlines())) <= width


def test_the_express_fits_eighty_columns_in_one_table() -> None:
    lines = guide_text(load_guide()).splitlines()
    heads = [line for line in lines if line.startswith("id ")]
    assert len(heads) == 1
    words = "id years number lever linkage stripe tender axle_magnets smoke_unit"
    assert heads[0].split() == words.replace("_", " ").split()


@pytest.mark.parametrize("width", [40, 60, 80])
def test_the_chart_marks_the_years_of_each_variation(guide: Guide, width: int) -> None:
    """Counted: filled columns stand under the years in which it was made."""
    for shown in (guide, long_guide()):
        lines = guide_text(shown, width=width).splitlines()
        for made in shown.variations:
            charts = [
                ln for ln in lines if ln.startswith(f"{made.id} ") and ("█" in ln or "·" in ln)
            ]
            marks = "".join(line.split(None, 1)[1] for line in charts)
            cells = marks.split() if " " in marks else list(marks)
            years = range(shown.years[0], shown.years[-1] + 1)
            filled = [y for y, c in zip(years, cells, strict=True) if "█" in c]
            assert filled == list(made.years)


def test_decades_stand_over_their_years() -> None:
    lines = guide_text(long_guide(), width=80).splitlines()
    scale = next(line for line in lines if line.startswith("year"))
    row = next(line for line in lines if line.startswith("Some") and "█" in line)
    assert scale.index("1930") == row.index("█")


@pytest.mark.parametrize("show", [guide_text, lambda guide: Page(guide_page(guide)).text])
def test_the_levers_place_and_the_rates_are_shown(show: Callable[[Guide], str]) -> None:
    """The page alone had the rates, and neither said where the lever stands."""
    data = tomllib.loads(builtin_text("wayfarer"))
    shown = " ".join(show(load_guide()).split())
    assert f"lever_at: {data['lever_at']} of the boiler top" in shown
    rates = data["rates"]
    for name, what in (
        ("other", "in no variation here"),
        ("reproduction", "a reproduction, or put together from several"),
        ("tender_swapped", "with another engine's tender"),
        ("number_changed", "with another number"),
        ("recoloured", "with the stripe in another colour"),
    ):
        assert re.search(rf"{what}:? ?{100 * rates[name]:g} %", shown), name
    for check in data["check"]:
        rates[check["id"]] = {key: check[key] for key in ("lost", "added")}
    for name in (*BINARY_CUES, "tender_lamps", *(check["id"] for check in data["check"])):
        lost, added = (f"{100 * rates[name][key]:g} %" for key in ("lost", "added"))
        words = name.replace("_", " ")
        assert re.search(rf"{words}:? ?{lost} lost, {added} added later", shown), name


@pytest.mark.parametrize("show", [guide_text, guide_page])
def test_usual_rates_are_shown_for_what_a_guide_says_nothing_about(
    show: Callable[[Guide], str],
) -> None:
    shown = " ".join(show(long_guide()).split())
    assert "lever_at: not said" in shown
    # The default shares of vision.guide.values.
    told = f"{100 * DEFAULT_LOST:g} % lost, {100 * DEFAULT_ADDED:g} % added later"
    for name in ("switch lever", "c9", "tender lamps"):
        assert re.search(rf"{name}(: |</td><td>){told}", shown), name
    assert "side linkage" not in shown


def test_rates_are_shown_as_the_guide_states_them() -> None:
    """None was "under 1 %", and 2.5 % was 2 %."""
    text = starter_text()
    assert "other = 0.04" in text
    for stated, shown in (("0", "0 %"), ("0.025", "2.5 %"), ("0.07", "7 %")):
        lines = guide_text(
            load_text(text.replace("other = 0.04", f"other = {stated}"))
        ).splitlines()
        assert f"  in no variation here: {shown}" in lines


# --- pairs -------------------------------------------------------------------------


def test_pairs_name_what_tells_them_apart() -> None:
    by_ids = {(p.first, p.second): p for p in pairs(load_guide())}
    assert len(by_ids) == 15
    assert by_ids["W4", "W5"].in_photos == ("switch_lever",)
    assert by_ids["W4", "W5"].told_apart_by == ("smoke_unit",)
    assert by_ids["W1", "W6"].in_photos == (
        "side_linkage",
        "edge_stripe",
        "cab_number",
        "tender",
    )
    # W3 was sold with either tender, so its tender never settles it against W4.
    assert "tender" not in by_ids["W3", "W4"].in_photos


def test_hard_pairs_in_words() -> None:
    rows = [
        variation("A", [1931], {"switch_lever": P, "gears": P}),
        variation("B", [1932], {"switch_lever": P, "gears": A}),
        variation("C", [1933], {"switch_lever": A, "gears": A}),
        variation("D", [1934], {"switch_lever": A, "gears": A}),
    ]
    guide = small_guide(rows, checks=("gears",))
    assert [(p.first, p.second) for p in confusable(guide)] == [("A", "B"), ("C", "D")]
    words = hard_pairs(guide)
    assert "A and B: nothing in photos; by hand gears" in words
    assert "C and D: nothing in this guide" in words
    assert "A and C: in photos only the switch lever; by hand also gears" in words
    assert "B and C: in photos only the switch lever" in words


# --- the page ----------------------------------------------------------------------


class Page(HTMLParser):
    """Tags, text and cells; complains of what does not close or reaches outside."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        assert not {"src", "href", "onclick"} & {name for name, _ in attrs}
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open[-1:] != ["style"]:
            self.text += data


def test_page_is_whole_and_alone_and_has_every_cell(guide: Guide) -> None:
    page = Page(guide_page(guide))
    assert page.open == []
    assert "script" not in [tag for tag, _ in page.tags]
    heads, rows = table(guide)
    labels = [attrs["data-label"] for tag, attrs in page.tags if "data-label" in attrs]
    assert labels == [*heads[1:]] * len(rows)
    for check in guide.checks:
        assert check.instruction in page.text
        assert check.caution in page.text
    for line in hard_pairs(guide):
        assert line in page.text
    made = sum(attrs.get("class") == "made" for _, attrs in page.tags)
    assert made == sum(len(v.years) for v in guide.variations)


def test_page_is_a_table_to_those_who_hear_it_and_scrolls_by_keyboard(guide: Guide) -> None:
    page = Page(guide_page(guide))
    roles = {attrs.get("role") for _, attrs in page.tags}
    assert {"table", "row", "rowheader", "columnheader", "cell", "region"} <= roles
    (region,) = (attrs for _, attrs in page.tags if attrs.get("role") == "region")
    assert region["tabindex"] == "0"
    assert region["aria-label"]
    assert ":focus-visible" in STYLE
    assert ("html", {"lang": "en"}) in page.tags


def test_page_escapes_what_a_guide_says() -> None:
    hostile = '<script>alert("x")</script>'
    rows = [variation("V1", [1931], {"switch_lever": P}, numbers=(hostile,), text=hostile)]
    page = Page(guide_page(small_guide(rows, tenders=(Tender(hostile, 4, 0, hostile),))))
    assert "script" not in [tag for tag, _ in page.tags]
    assert page.text.count(hostile) == 4


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_colours_keep_the_contrast_of_wcag() -> None:
    """Web Content Accessibility Guidelines 2.1, success criterion 1.4.3: 4.5 to 1. Light
    ground is white; dark ground is the browsers' own, #121212 at the lightest."""
    from vision.report.markup import STYLE as COMMON

    for name, css in (("--made", STYLE), ("--quiet", COMMON)):
        light, dark = (part.partition(";")[0].strip() for part in css.split(f"{name}:")[1:3])
        assert (1.0 + 0.05) / (luminance(light) + 0.05) >= 4.5
        assert (luminance(dark) + 0.05) / (luminance("#121212") + 0.05) >= 4.5


# --- the commands ------------------------------------------------------------------


def test_show_prints_the_table_and_writes_the_page(
    telltale: Telltale, guide: Guide, tmp_path: Path
) -> None:
    page = tmp_path / "guide.html"
    assert telltale("guide", "show", guide.name, "--html", page) == (
        0,
        f"{guide_text(guide)}\n",
        "",
    )
    written, laid_out = page.read_text(encoding="utf-8"), guide_page(guide)
    # The first line says in the file that it is ours.
    assert written.partition("\n")[2] == laid_out.partition("\n")[2]


def test_show_never_overwrites_the_guide(telltale: Telltale, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(starter_text(), encoding="utf-8")
    code, out, err = telltale("guide", "show", own, "--html", own)
    assert (code, out) == (OutputError.exit_code, "")
    assert err.count("\n") == 1
    assert own.read_text(encoding="utf-8") == starter_text()


def test_check_says_what_hangs_on_one_cue(telltale: Telltale, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    text = starter_text().replace('edge_stripe = "present"', 'edge_stripe = "absent"')
    text = text.replace('edge_stripe_colour = "cream"\n', "").replace('"105"', '"101"')
    own.write_text(text.replace('switch_lever = "absent"', 'switch_lever = "present"'))
    code, out, _ = telltale("guide", "check", own)
    assert code == 0
    assert "pairs that photos alone can tell apart: 0 of 1" in out
    assert out.splitlines()[-2] == "  V1 and V2: nothing in photos; by hand brass gears"


def test_simulate_states_its_rates_and_repeats_itself(telltale: Telltale) -> None:
    arguments = ("guide", "simulate", "brindle", "--items", 60, "--seed", 2)
    code, out, err = telltale(*arguments)
    assert (code, err) == (0, "")
    assert "60 engines drawn by the guide's own rates, seed 2" in out
    assert "side linkage" in out
    assert out.index("What holds every eye back") < out.index("realistic eye\n  photo alone")
    assert max(map(len, out.splitlines())) <= 80
    assert telltale(*arguments)[1] == out
    assert telltale(*arguments[:-1], 3)[1] != out


def test_simulate_takes_rates(telltale: Telltale) -> None:
    rates = ["--visible", "switch_lever=1", "--sensitivity", "switch_lever=0.9"]
    rates += ["--specificity", "switch_lever=0.8", "--sensitivity", "cab_number=0.7"]
    _, out, _ = telltale("guide", "simulate", "brindle", "--items", 5, *rates)
    lines = {line.split("  ")[0]: line.split() for line in out.splitlines()}
    assert lines["switch lever"][2:] == ["100", "%", "90.0", "%", "80.0", "%", "given"]
    assert lines["cab number"][-1] == "given"
    assert "70.0" in lines["cab number"]


@pytest.mark.parametrize(
    "wrong",
    [
        ("--visible", "cab=0.5"),
        ("--visible", "cab_number=1.5"),
        ("--visible", "cab_number"),
        ("--sensitivity", "cab_number=nan"),
        ("--sensitivity", "switch_lever=0.01", "--specificity", "switch_lever=0.98"),
        ("--items", "0"),
    ],
)
def test_simulate_refuses_rates_that_are_none(telltale: Telltale, wrong: tuple[str, ...]) -> None:
    code, out, err = telltale("guide", "simulate", "brindle", "--items", "5", *wrong)
    assert (code, out) == (2, "")
    assert "Traceback" not in err


def test_simulate_of_no_guide(telltale: Telltale) -> None:
    assert telltale("guide", "simulate", "nosuchguide")[0] == GuideError.exit_code
