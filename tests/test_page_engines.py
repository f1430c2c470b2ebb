"""The engines of the day on the page, in a real Chromium: they grow, are kept, shared, queued."""

from __future__ import annotations

from pathlib import Path

from answers import FakeEye
from browser import (
    DESKTOP,
    PHONE,
    SIZES,
    WORDS,
    Open,
    answered,
    button,
    photo,
    snap,
    until,
    violations,
)
from page_server import running
from shapes import engine
from vision.guide import load_guide
from vision.page import Keeper
from vision.records import Cue, State


@SIZES
def test_photos_add_up_and_a_second_engine_starts_anew(
    open_page: Open, port: int, size: tuple[int, int]
) -> None:
    page = open_page(port, size)
    snap(page, photo("left.png"), photo("rear.png", engine(200, 300)), field="#choose")
    answered(page)
    assert page.locator("figure").count() == 2
    snap(page, photo("top.png", engine(400, 200)))
    until(page, "document.querySelectorAll('figure').length === 3")
    button(page, "photo_remove").last.click()
    until(page, "document.querySelectorAll('figure').length === 2")
    answered(page)
    page.fill("#note", "table 7")
    button(page, "next_engine").click()
    assert page.locator(".plate").count() == 0
    snap(page)
    answered(page)
    assert page.locator("figure").count() == 1
    cards = page.locator("#cards button")
    assert cards.count() == 2
    assert "table 7" in cards.nth(0).inner_text()
    # What is on the phone is still there after a reload.
    page.reload()
    until(page, "document.querySelectorAll('#cards button').length === 2")
    cards.nth(0).click()
    assert page.locator("figure").count() == 2
    assert page.input_value("#note") == "table 7"
    assert violations(page) == []
    button(page, "throw_away", "main").click()
    button(page, "keep").click()
    assert cards.count() == 2
    button(page, "throw_away", "main").click()
    button(page, "throw_away", "#sure-box").click()
    until(page, "document.querySelectorAll('#cards button').length === 1")
    page.reload()
    until(page, "document.querySelectorAll('#cards button').length === 1")


def test_shared_as_one_file(open_page: Open, port: int) -> None:
    page = open_page(port, DESKTOP)
    snap(page)
    years = answered(page)
    page.fill("#note", "table 7")
    with page.expect_download() as caught:
        button(page, "share").click()
    assert caught.value.suggested_filename.endswith(".html")
    text = Path(caught.value.path()).read_text(encoding="utf-8")
    assert years in text
    assert "table 7" in text
    assert "data:image/jpeg;base64," in text


def test_saved_into_the_archive_on_request(open_page: Open, tmp_path: Path) -> None:
    with running(keeper=Keeper(tmp_path, load_guide(), FakeEye())) as port:
        page = open_page(port)
        snap(page)
        answered(page)
        assert list(tmp_path.iterdir()) == []
        page.fill("#note", "table 7")
        button(page, "save").click()
        page.wait_for_selector("text=from-the-page")
        assert violations(page) == []
        assert button(page, "save").count() == 0
        # What is said of the phone's own does not deny it.
        assert "nowhere else." not in page.inner_text("#today")
        assert "but where you save or share them" in page.inner_text("#today")
        (note,) = tmp_path.rglob("note.txt")
        assert note.read_text() == "table 7\n"
        # What is said afterwards is not in the archive yet, so it can be saved again.
        page.locator("main .card").first.locator("button").first.click()
        page.wait_for_selector("[data-source=person]")
        assert button(page, "save").count() == 1


@SIZES
def test_the_guide_at_hand(open_page: Open, size: tuple[int, int]) -> None:
    sure = {"switch_lever": 0.001, "side_linkage": 0.999, "edge_stripe": 0.999}
    cues = tuple(
        Cue(name, State.PRESENT if p > 0.5 else State.ABSENT, p, None, max(p, 1 - p))
        for name, p in sure.items()
    )
    with running(FakeEye({"engine": cues})) as port:
        page = open_page(port, size)
        snap(page)
        answered(page)
        button(page, "guide").click()
        page.wait_for_selector("#guide-table tbody tr")
        assert page.locator("#guide-table tbody tr").count() == len(load_guide().variations)
        # No lever, a linkage and a stripe: by the guide's table that is W3 and not W1,
        # which differs in all three.
        assert page.locator("tr.left[data-id=W3]").count() == 1
        assert page.locator("tr.out[data-id=W1]").count() == 1
        button(page, "W4", "#guide-table").click()
        told = page.inner_text("#guide-difference")
        assert "side linkage: absent on W4, present on W3" in told
        assert page.locator("tr[data-id=W4] td.telling[data-name=side_linkage]").count() == 1
        assert violations(page) == []
        button(page, "guide_close").click()
        assert page.locator("#guide-box").is_hidden()


def test_a_photo_that_is_refused_does_not_stand_in_the_way(open_page: Open, port: int) -> None:
    """It stayed with the engine, and every later answer was refused for it."""
    bad = {"name": f"{'dear' * 40}.jpg", "mimeType": "image/jpeg", "buffer": b"Dear sir" * 9}
    page = open_page(port, quiet=False)
    # Alone it leaves nothing but what was wrong with it.
    snap(page, bad)
    page.wait_for_selector("#trouble:not([hidden])")
    until(page, "document.querySelectorAll('#cards button').length === 0")
    assert page.locator("#welcome").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    # Among others it is left out, and said to be.
    snap(page, photo("left.png"), bad, photo("rear.png", engine(200, 300)), field="#choose")
    answered(page)
    assert page.locator("figure").count() == 2
    assert page.inner_text("#trouble").startswith(WORDS["error_photo_unreadable"])
    page.locator(".look button").first.click()
    page.wait_for_selector("[data-source=person]")
    answered(page)
    assert page.locator("#trouble").is_hidden()


def test_too_many_photos_are_said_and_the_first_ones_read(open_page: Open, port: int) -> None:
    page = open_page(port)
    snap(page, *[photo(f"{n}.png", engine(200 + n, 150)) for n in range(9)], field="#choose")
    answered(page)
    until(page, "document.querySelectorAll('figure').length === 8")
    assert page.inner_text("#trouble") == WORDS["error_too_many"].replace("{count}", "8")


def test_a_statement_of_another_guide_is_dropped_with_a_word(open_page: Open) -> None:
    """The laptop was started anew by another guide while the phone kept its engines."""
    with running() as port:
        page = open_page(port, quiet=False)
        snap(page)
        answered(page)
        page.locator(".more summary").click()
        page.locator(".look", has_text="magnets in the driving axles").get_by_text("Yes").click()
        page.wait_for_selector("[data-cue=axle_magnets][data-source=person]")
    with running(port=port, guide="brindle"):
        snap(page, photo("rear.png", engine(200, 300)))
        until(page, "document.querySelectorAll('figure').length === 2")
        assert page.inner_text("#trouble").startswith(WORDS["error_statement"])
        assert page.locator("[data-source=person]").count() == 0


@SIZES
def test_long_words_stay_inside(open_page: Open, port: int, size: tuple[int, int]) -> None:
    page = open_page(port, size)
    snap(page)
    answered(page)
    page.fill("#note", "W" * 300)
    page.locator("#note").blur()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    for summary in page.locator("main summary").all():
        summary.click()
    wide = """() => [...document.querySelectorAll('main *, #hand *')].filter(e =>
        e.checkVisibility() && !e.closest('.frame') && !e.closest('.only-heard') &&
        getComputedStyle(e).overflow === 'visible' && e.scrollWidth > e.clientWidth + 1 &&
        e.clientWidth > 0).map(e => e.outerHTML.slice(0, 80))"""
    assert page.evaluate(wide) == []
    # Two lines of a note are enough to know an engine by.
    assert page.locator("#cards .note").bounding_box()["height"] < 60


def test_the_row_of_the_guide_that_is_tapped_stays_where_it_is(open_page: Open, port: int) -> None:
    page = open_page(port)
    snap(page)
    answered(page)
    button(page, "guide").click()
    tapped = button(page, "W2", "#guide-table")
    before = tapped.bounding_box()
    tapped.click()
    page.wait_for_selector("#guide-difference .card")
    assert tapped.bounding_box() == before
    told = page.locator("#guide-difference .card").bounding_box()
    assert told["y"] + told["height"] <= PHONE[1]


def test_crosswise_the_answer_keeps_half_the_screen(open_page: Open, port: int) -> None:
    page = open_page(port, (780, 360))
    snap(page)
    answered(page)
    hand = page.locator("#hand").bounding_box()
    assert hand["height"] <= 80
    years = page.locator(".years").bounding_box()
    assert years["y"] + years["height"] <= hand["y"]
    assert violations(page) == []
