"""The engines of the day on the page, in a real Chromium: they grow, are kept, shared, queued."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

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
from vision.page import Door, Keeper, PageLimits, find_lan_address
from vision.records import Cue, PageError, State


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with running() as port:
        yield port


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


# --- out of reach, busy, and let in ----------------------------------------------


@SIZES
def test_out_of_reach_photos_wait_and_are_sent_later(
    open_page: Open, size: tuple[int, int]
) -> None:
    with running() as port:
        # The browser itself writes refused connections to the console.
        page = open_page(port, size, quiet=False)
        snap(page)
        answered(page)
        until(page, "navigator.serviceWorker.controller !== null")
    button(page, "next_engine").click()
    snap(page, photo("second.png"))
    page.wait_for_selector("#reach[data-reach=no]")
    assert page.inner_text("#reach") == WORDS["reach_no_queue"].replace("{count}", "1")
    assert page.inner_text("#phase-text") == WORDS["phase_queued"]
    # Nothing turns while nothing is done.
    spinner = "getComputedStyle(document.querySelector('.spinner')).animationName"
    assert page.evaluate(spinner) == "none"
    assert violations(page) == []
    # Even a reload finds the page, the first answer, and the photo that waits.
    page.reload()
    page.wait_for_selector("#cards button")
    assert page.locator("#cards button").count() == 2
    assert WORDS["waiting_answer"] in page.inner_text("#cards")
    with running(port=port):
        answered(page)
        page.wait_for_selector("#reach[data-reach=yes]")
        assert WORDS["waiting_answer"] not in page.inner_text("#cards")


def test_busy_is_said_and_tried_again(open_page: Open) -> None:
    from test_page import SlowEye

    SlowEye.gate.clear()
    with running(SlowEye(), limits=PageLimits(places=1, retry_s=0.3)) as port:
        first, second = open_page(port), open_page(port, quiet=False)
        snap(first)
        until(
            first,
            "text => document.getElementById('phase-text').textContent === text",
            WORDS["phase_read"],
        )
        snap(second)
        until(
            second,
            "text => document.getElementById('phase-text').textContent === text",
            WORDS["phase_busy"],
        )
        SlowEye.gate.set()
        assert answered(first) == answered(second)


def test_the_code_lets_a_phone_in(open_page: Open) -> None:
    codes: list[str] = []
    with running(door=Door(with_code=True, on_code=codes.append)) as port:
        page = open_page(port, quiet=False)
        page.wait_for_selector("#code-box[open]")
        assert violations(page) == []
        page.fill("#code", "WRONG")
        button(page, "code_enter").click()
        until(page, "document.getElementById('code-trouble').textContent !== ''")
        assert page.inner_text("#code-trouble") == WORDS["error_code"]
        page.fill("#code", codes[-1].lower())
        button(page, "code_enter").click()
        page.wait_for_selector("#code-box", state="hidden")
        snap(page)
        answered(page)
        # The QR code's address lets the next phone straight in, and leaves no trace of it.
        other = open_page(port, address=f"http://localhost:{port}/#{codes[-1]}")
        snap(other)
        answered(other)
        assert other.evaluate("location.hash") == ""


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_from_another_machine_on_the_network(open_page: Open, scheme: str) -> None:
    """Over plain HTTP a browser trusts the page with less than on the machine itself."""
    try:
        lan = find_lan_address()
    except PageError:
        pytest.skip("this machine is on no network")
    codes: list[str] = []
    door = Door(with_code=True, on_code=codes.append)
    with running(door=door, lan=lan, scheme=scheme) as port:
        address = f"{scheme}://{lan}:{port}/#{codes[-1]}"
        # A worker script is not taken over a certificate that only a person has accepted,
        # and the browser says so itself.
        quiet = scheme == "http"
        page = open_page(port, address=address, quiet=quiet, ignore_https_errors=True)
        assert page.evaluate("window.isSecureContext") == (scheme == "https")
        snap(page)
        answered(page)
        assert violations(page) == []
        page.reload()
        page.wait_for_selector("#cards button")


def test_right_to_left(open_page: Open) -> None:
    with running(words=WORDS | {"dir": "rtl", "lang": "ar"}) as port:
        page = open_page(port)
        snap(page)
        answered(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
        # Years read from the left in every language: 1934–1937 is not 1937–1934.
        for figures in (".years", ".candidates b"):
            direction = "getComputedStyle(document.querySelector(selector)).direction"
            assert page.evaluate(f"selector => {direction}", figures) == "ltr"
        title, guide = (page.locator(s).bounding_box()["x"] for s in ("h1", "#open-guide"))
        assert title > guide
        # Marks stay where the photo has them.
        picture, marks = (page.locator(f".stage {tag}").bounding_box() for tag in ("img", "svg"))
        assert picture == marks
        assert violations(page) == []
