"""A collection against a guide: what it holds, lacks, doubts, and what needs seeing to."""

from __future__ import annotations

import csv
import io
import shutil
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from answers import FakeEye, answer
from archives import GUIDE, fill, tag
from conftest import Telltale
from guides import cue as seen
from guides import value
from shapes import encoded
from shapes import engine as engine_drawing
from vision.archive import Index
from vision.archive.engines import answers
from vision.cli import run
from vision.guide import load_guide
from vision.records import ArchiveError
from vision.report import answer_json
from vision.shelf import (
    ShelfEngine,
    Status,
    Work,
    read_wants,
    stock_page,
    stock_text,
    take_stock,
    wants_of,
    wants_text,
    work_text,
)


def cue(
    name: str, state: str, value: str | None = None, confidence: float = 0.95
) -> dict[str, Any]:
    return {"name": name, "state": state, "value": value, "confidence": confidence}


def engine(
    name: str,
    shares: dict[str, float],
    cues: tuple[dict[str, Any], ...] = (),
    *,
    conflicts: tuple[dict[str, Any], ...] = (),
    looks: tuple[dict[str, Any], ...] = (),
    seen: bool = True,
) -> ShelfEngine:
    ranked = sorted(shares.items(), key=lambda pair: -pair[1])
    estimate = {
        "years": "1938/1939",
        "confidence": 0.9,
        # What was seen speaks for the variations as the shares do, or for none.
        "steps": [{"likelihoods": shares if seen else dict.fromkeys(shares, 0.5)}],
        "variations": [{"id": id, "years": "", "p": p} for id, p in ranked],
        "conflicts": list(conflicts),
        "look_next": list(looks),
    }
    return ShelfEngine(name, (f"{name}.jpg",), {"estimate": estimate, "cues": list(cues)})


LOOK = {"name": "cab_number", "instruction": "Photograph the cab side.", "hands_on": False}
MISMATCH = {"kind": "engine_tender", "cues": ["tender_axles"], "text": "never sold together"}
NOTHING = ShelfEngine("box", ("box.jpg",), {"estimate": None, "cues": []})
SHELF = (
    engine("first", {"W6": 0.95, "other": 0.05}),
    engine("second", {"W6": 0.85, "W1": 0.15}, conflicts=(MISMATCH,)),
    engine("third", {"W1": 0.5, "W2": 0.45, "W6": 0.05}, looks=(LOOK,)),
    engine("stranger", {"other": 0.9, "W3": 0.1}),
    NOTHING,
)


def test_have_lack_and_doubtful() -> None:
    stock = take_stock(SHELF, GUIDE)
    statuses = {holding.variation: holding.status for holding in stock.holdings}
    assert statuses == {
        "W1": Status.DOUBTFUL,
        "W2": Status.DOUBTFUL,
        "W3": Status.LACK,
        "W4": Status.LACK,
        "W5": Status.LACK,
        "W6": Status.HAVE,
    }
    first, last = stock.holdings[0], stock.holdings[-1]
    assert [(e.name, p) for e, p in first.doubtful] == [("third", 0.5)]
    assert [e.name for e in last.have] == ["first", "second"]
    assert [(v, [e.name for e in have]) for v, have in stock.duplicates] == [
        ("W6", ["first", "second"])
    ]
    assert [(e.name, text) for e, text in stock.mismatched] == [("second", "never sold together")]
    assert [e.name for e in stock.strangers] == ["stranger"]
    assert [e.name for e in stock.without] == ["box"]
    # Where nothing is known of why, nothing is said of it.
    assert "* box\n" in f"{stock_text(stock)}\n"
    assert "<figcaption>box</figcaption>" in stock_page(stock, GUIDE)
    (doubt,) = stock.doubts
    assert (doubt.engine.name, doubt.look) == ("third", "Photograph the cab side.")
    assert doubt.candidates == (("W1", 0.5), ("W2", 0.45))


def test_one_picture_in_two_folders_is_not_two_engines() -> None:
    """A photo that was left in another folder too was counted as "More than one of"."""

    def with_photos(name: str, *contents: str, variation: str = "W6") -> ShelfEngine:
        one = engine(name, {variation: 0.95, "other": 0.05})
        return replace(one, answer={**one.answer, "photos": [{"sha256": c} for c in contents]})

    first, second = with_photos("eng1", "a", "b"), with_photos("inbox", "c", "a")
    stock = take_stock([first, second], GUIDE)
    assert stock.duplicates == ()
    assert stock.shared == (("W6", (first, second)),)
    for told in (stock_text(stock), stock_page(stock, GUIDE)):
        assert "More than one of" not in told
        assert "The same picture lies in several, which count as one" in told
        assert "W6: eng1, inbox: put it into one folder, or name its engine in engines.csv" in told
    # Another engine counts beside the two; one that shares a picture with both joins them.
    third = with_photos("third", "d")
    others = with_photos("other", "a", variation="W1")
    stock = take_stock([first, third, second, others], GUIDE)
    assert [(v, [e.name for e in have]) for v, have in stock.duplicates] == [
        ("W6", ["third", "eng1"])
    ]
    between = with_photos("between", "d", "c")
    stock = take_stock([first, third, second, between], GUIDE)
    assert (stock.duplicates, len(stock.shared[0][1])) == ((), 4)
    assert take_stock([third, first], GUIDE).shared == ()


def test_a_copy_in_another_folder_is_counted_once(tmp_path: Path, telltale: Telltale) -> None:
    for folder in ("inbox", "eng1"):
        fill(tmp_path / folder, 1)
    fill(tmp_path / "eng2", 1, start=1)
    shown = (
        *(seen(name, 0.99) for name in ("switch_lever", "side_linkage", "edge_stripe")),
        *(value(name, v, 0.97) for name, v in (("cab_number", "322"), ("tender_axles", "6"))),
    )
    eye = FakeEye({"000": shown, "001": shown})
    assert telltale("tag", tmp_path, "--jobs", 1, eye=eye)[0] == 0
    text = telltale("shelf", tmp_path)[1]
    assert sum(f"W6: {pair}\n" in text for pair in ("eng1, eng2", "eng2, eng1")) == 1
    assert "W6: eng1, inbox: put it" in text


def test_an_engine_that_was_hardly_seen_counts_for_no_variation() -> None:
    """One piece of evidence that fits all alike left it "perhaps" every variation."""
    shares = {"W1": 0.3, "W2": 0.3, "W3": 0.3, "other": 0.1}
    hardly = engine("blur", shares, looks=(LOOK,), seen=False)
    # Made so often that it is the likeliest by far before anything is seen.
    common = engine("fog", {"W1": 0.9, "W2": 0.05, "other": 0.05}, seen=False)
    stock = take_stock((hardly, common), GUIDE)
    assert {holding.status for holding in stock.holdings} == {Status.LACK}
    assert [d.engine.name for d in stock.doubts] == ["blur", "fog"]
    assert (stock.strangers, stock.without, stock.work) == ((), (), ())
    text = stock_text(stock)
    assert "  Photograph the cab side.\n    * blur: not narrowed down\n" in text
    assert "perhaps" not in text
    page = stock_page(stock, GUIDE)
    assert page.count("<br>not narrowed down</figcaption>") == 2
    assert "perhaps, " not in page


def test_each_engine_stands_in_one_place() -> None:
    """One that was half likely to be in no variation was both in doubt and a stranger."""
    half = engine("half", {"other": 0.6, "W1": 0.36, "W2": 0.04}, looks=(LOOK,))
    stock = take_stock([*SHELF, half], GUIDE)
    have = [e.name for holding in stock.holdings for e in holding.have]
    doubts = [doubt.engine.name for doubt in stock.doubts]
    elsewhere = [e.name for e in (*stock.strangers, *stock.without)]
    assert sorted([*have, *doubts, *elsewhere]) == sorted([*(e.name for e in SHELF), "half"])
    assert "half" in doubts
    assert "* half: not in this guide 60 %, W1 36 %" in stock_text(stock)


def test_a_look_that_would_settle_several_doubts_is_asked_for_once() -> None:
    many = [engine(f"e{n}", {"W1": 0.5, "W2": 0.5}, looks=(LOOK,)) for n in range(3)]
    stock = take_stock(many, GUIDE)
    for told in (stock_text(stock), stock_page(stock, GUIDE)):
        assert told.count("Photograph the cab side.") == 1
        assert "licensed electrician" not in told


def test_what_to_mind_is_said_wherever_an_engine_is_to_be_touched() -> None:
    stock = take_stock(
        [engine("e", {"W1": 0.5, "W2": 0.5}, looks=(LOOK | {"hands_on": True},))], GUIDE
    )
    for told in (stock_text(stock), stock_page(stock, GUIDE)):
        assert "licensed electrician" in told


def test_the_wants_list_is_read_back() -> None:
    wants = wants_of(take_stock(SHELF, GUIDE))
    assert [(want.variation, want.why) for want in wants] == [
        ("W3", "lacking"),
        ("W4", "lacking"),
        ("W5", "lacking"),
        ("W1", "in doubt"),
        ("W2", "in doubt"),
    ]
    assert read_wants(wants_text(wants), "wants.csv") == wants
    with pytest.raises(ArchiveError, match=r"wants\.csv:1"):
        read_wants("a,b\n", "wants.csv")


def work(cues: tuple[dict[str, Any], ...], variation: str = "W6", p: float = 0.9) -> dict[str, str]:
    stock = take_stock([engine("one", {variation: p, "other": 1 - p}, cues)], GUIDE)
    return {item.part: item.finding for item in stock.work}


def test_parts_that_are_missing_or_out_of_period() -> None:
    # W6: lever, linkage and stripe present, number 322, tender M with 6 axles and 2 lamps.
    found = work(
        (
            cue("switch_lever", "absent"),
            cue("side_linkage", "present"),
            cue("edge_stripe", "unseen", confidence=0.0),
            cue("cab_number", "present", "316"),
            cue("tender_axles", "present", "6"),
            cue("tender_lamps", "present", "1"),
        )
    )
    assert found == {
        "switch lever": "missing (broken off or taken off?); W6 was made with it",
        "cab number": "316 on the cab; W6 was sold as 322",
        "tender": "lamp or lens missing: 1 at the rear; tender M has 2",
    }
    assert work((cue("switch_lever", "present"),), "W3") == {
        "switch lever": "out of period; W3 was made without it"
    }
    assert work((cue("tender_axles", "present", "4"), cue("tender_lamps", "absent"))) == {
        "tender": "a tender of 4 axles (as K); W6 was sold with tender M"
    }
    assert work((cue("tender_axles", "present", "6"), cue("tender_lamps", "present", "2"))) == {}


def test_no_work_is_made_out_of_doubts() -> None:
    assert work((cue("switch_lever", "absent", confidence=0.6),)) == {}
    assert work((cue("switch_lever", "absent"),), p=0.6) == {}
    assert work((), p=0.9) == {}


ITEMS = (Work("a", "W6", "tender", "lamp missing"), Work("b", "W1", "switch lever", "missing"))


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_notes_columns_and_rows_of_a_persons_own_are_kept() -> None:
    first = work_text(ITEMS)
    assert [row["state"] for row in rows(first)] == ["open", "open"]
    table = rows(first)
    table[0]["notes"] = 'new lens ordered, "clear",\nsee drawer 3'
    table.append(dict.fromkeys(table[0], "") | {"engine": "a", "part": "bell", "notes": "polish"})
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, ["price", *table[0]])
    writer.writeheader()
    writer.writerows(row | {"price": "5"} for row in table)
    changed = (Work("a", "W6", "tender", "lamp added"), Work("c", "W2", "tender", "wrong"))
    again = rows(work_text(changed, stream.getvalue()))
    assert [(r["engine"], r["part"], r["finding"], r["state"]) for r in again] == [
        ("a", "tender", "lamp added", "open"),
        ("b", "switch lever", "missing", "no longer seen"),
        ("a", "bell", "", ""),
        ("c", "tender", "wrong", "open"),
    ]
    assert again[0]["notes"] == 'new lens ordered, "clear",\nsee drawer 3'
    assert [r["price"] for r in again] == ["5", "5", "5", ""]


def test_a_row_without_notes_goes_when_it_is_no_longer_seen() -> None:
    assert rows(work_text(ITEMS[:1], work_text(ITEMS))) == rows(work_text(ITEMS[:1]))


@given(st.lists(st.tuples(st.text(), st.text()), unique=True, max_size=5), st.text())
def test_renewing_changes_nothing_where_nothing_changed(
    pairs: list[tuple[str, str]], note: str
) -> None:
    items = [Work(name, "W1", part, "x") for name, part in pairs]
    once = work_text(items)
    assert work_text(items, once) == once


def test_what_is_no_work_list_is_refused() -> None:
    with pytest.raises(ArchiveError, match="engine and part"):
        work_text(ITEMS, "a,b\n1,2\n")


class Page(HTMLParser):
    """Counts what a page is made of, and its open tags."""

    VOID = ("meta", "img", "br")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.images: list[dict[str, str | None]] = []
        self.open: list[str] = []
        self.spans: dict[str, int] = {}
        self.row = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "img":
            self.images.append(found)
        assert not any(name.startswith("on") for name in found)
        assert tag not in ("script", "link", "iframe")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_is_whole_and_shows_each_picture_where_it_belongs() -> None:
    nasty = replace(SHELF[0], name='<b>"&', picture=b"\xff\xd8jpeg")
    text = stock_page(take_stock([nasty, *SHELF[1:]], GUIDE), GUIDE)
    page = Page(text)
    assert page.open == []
    assert [image["alt"] for image in page.images] == ['Photo of <b>"&']
    assert "http" not in text.replace("http-equiv", "")
    last = text.partition('<tr><th scope="row">W6')[2].partition("</tr>")[0]
    # Eight years lie before 1938: seven of them in cells of their own, from 1931 on.
    assert last.count("<td></td>") == 7
    assert 'colspan="2"' in last
    assert "data:image/jpeg" in last
    assert "licensed electrician" not in text


@pytest.mark.slow
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_has_nothing_to_object_to(width: int) -> None:
    """axe-core, in a real browser: WCAG 2.2 A and AA, and its own best practices."""
    sync_api = pytest.importorskip("playwright.sync_api")
    axe = pytest.importorskip("axe_playwright_python")
    browser_path = shutil.which("chromium")
    if browser_path is None:
        pytest.skip("no chromium on this machine (Debian: apt-get install chromium)")
    picture = encoded(engine_drawing(), "JPEG")
    shown = [replace(one, picture=picture) for one in SHELF]
    text = stock_page(take_stock(shown, GUIDE), GUIDE)
    with sync_api.sync_playwright() as playwright:
        flags = ["--headless=new", "--no-sandbox", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=browser_path, args=flags)
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.set_content(text)
        page.evaluate((Path(axe.__file__).parent / "axe.min.js").read_text("utf-8"))
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        overflow = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        shapes = page.evaluate("[...document.images].map(image => image.naturalWidth)")
        browser.close()
    assert len(found["passes"]) > 10
    assert [v["id"] + ": " + v["nodes"][0]["html"] for v in found["violations"]] == []
    assert overflow <= 0
    assert set(shapes) == {320}


@pytest.mark.parametrize("columns", [40, 80, 100])
def test_the_text_is_wrapped_as_that_of_one_photo(columns: int) -> None:
    """Lines ran over the edge of the terminal, and names were cut by it."""
    many = [engine(f"the-page/0{n} a-b", {"W6": 0.95, "W1": 0.05}) for n in range(9)]
    looks = (LOOK | {"instruction": "Photograph the side without flash. " * 5},)
    doubts = [engine("half-open", {"W1": 0.5, "W2": 0.45, "other": 0.05}, looks=looks)]
    stock = take_stock([*SHELF, *many, *doubts], GUIDE)
    text = stock_text(stock, width=columns)
    assert max(map(len, text.splitlines())) <= columns
    # The same words in the same order, whatever the width; a hyphen ends no line.
    assert text.split() == stock_text(stock, width=10_000).split()
    assert not [line for line in text.splitlines() if line.endswith("-")]
    assert not [line for line in text.splitlines() if line.lstrip().startswith("%")]


def test_the_command_wraps_at_the_terminals_columns(
    tmp_path: Path, telltale: Telltale, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(tmp_path, 1)
    telltale("tag", tmp_path, "--jobs", 1)
    longest = []
    for columns in ("60", "80", "300"):
        monkeypatch.setenv("COLUMNS", columns)
        longest.append(max(map(len, telltale("shelf", tmp_path)[1].splitlines())))
    assert longest[0] <= 60 < longest[1] <= 80 < longest[2] <= 100


def test_the_text_names_everything() -> None:
    text = stock_text(take_stock(SHELF, GUIDE))
    for words in ("W3  1934", "lack", "third: W1 50 %, W2 45 %", "never sold together", "  * box"):
        assert words in text


def test_another_guide_dates_what_was_seen_without_a_photo(tmp_path: Path) -> None:
    fill(tmp_path, 2)
    tag(tmp_path)
    for path in tmp_path.glob("*.jpg"):
        path.unlink()
    brindle = load_guide("brindle")
    index = Index(tmp_path / ".telltale" / "index.sqlite")
    try:
        own = [row.answer["versions"]["guide"] for row, _ in answers(index, GUIDE, index.engines())]
        other = [
            row.answer["versions"]["guide"] for row, _ in answers(index, brindle, index.engines())
        ]
    finally:
        index.close()
    assert own == [f"wayfarer {GUIDE.version}"] * 2
    assert other == [f"brindle {brindle.version}"] * 2


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = tmp_path / "shelf"
    fill(root, 2)
    tag(root)
    out, wants, todo = (tmp_path / name for name in ("out.html", "wants.csv", "work.csv"))
    words = ["shelf", str(root), "--html", str(out), "--wants", str(wants), "--work", str(todo)]
    assert run(words) == 0
    printed = capsys.readouterr().out
    assert printed.startswith(GUIDE.title)
    assert len(Page(out.read_text("utf-8")).images) >= 2
    assert {want.variation for want in read_wants(wants.read_text("utf-8"), "")} <= {
        variation.id for variation in GUIDE.variations
    }
    before = todo.stat().st_mtime_ns
    assert run(words) == 0
    assert todo.stat().st_mtime_ns == before


def test_the_shelf_reads_an_answer_as_it_is_written() -> None:
    one = ShelfEngine("one", ("a.jpg",), answer_json(answer()))
    assert one.candidates[0] == ("W3", 0.6)
    assert take_stock([one], GUIDE).doubts[0].look == "Hold a steel pin to a driving axle."
