"""The laptop out of reach, busy, or asking for a code: the page in a real Chromium."""

from __future__ import annotations

import time

import pytest

from browser import PHONE, SIZES, WORDS, Open, answered, button, photo, snap, until, violations
from page_server import SlowEye, running
from vision.guide import load_guide
from vision.page import Door, PageLimits, find_lan_address
from vision.records import PageError


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


class SlowDoor(Door):
    """Takes its time over a code, as a laptop with a busy network does."""

    def enter(self, code: str, address: str) -> str | None:
        time.sleep(0.5)
        return super().enter(code, address)


def test_a_photo_taken_while_the_code_is_tried_waits_for_it(open_page: Open) -> None:
    """Nothing was asked for without the code, only to be refused and asked for again."""
    codes: list[str] = []
    with running(door=SlowDoor(with_code=True, on_code=codes.append)) as port:
        page = open_page(port, address=f"http://localhost:{port}/#{codes[-1]}")
        snap(page)
        answered(page)
        assert not page.locator("#code-box[open]").count()


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


def test_the_guide_stays_at_hand_out_of_reach(open_page: Open) -> None:
    rows = len(load_guide().variations)
    with running() as port:
        page = open_page(port, quiet=False)
        snap(page)
        answered(page)
        until(page, "sessionStorage.getItem('guide') !== null")
        until(page, "navigator.serviceWorker.controller !== null")
    page.reload()
    page.wait_for_selector("#reach[data-reach=no]")
    button(page, "guide").click()
    until(page, "n => document.querySelectorAll('#guide-table tbody tr').length === n", rows)
    assert page.locator("tr.left").count() > 0
    assert violations(page) == []


def test_what_is_not_tried_again_does_not_look_as_if_it_were(open_page: Open) -> None:
    """Sharing that failed showed "trying again" for good, and nothing tried."""
    with running() as port:
        page = open_page(port, quiet=False)
        snap(page)
        answered(page)
    button(page, "share").click()
    page.wait_for_selector("#trouble:not([hidden])")
    assert page.inner_text("#trouble") == WORDS["error_reach"]
    assert page.locator("#phase").is_hidden()
