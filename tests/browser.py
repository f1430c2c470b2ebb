"""The page in a real Chromium: how the tests open it, use it, and ask axe-core about it."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from shapes import encoded, engine
from vision.page.assets import english

CHROMIUM = shutil.which("chromium")
FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking"),
    *("--no-first-run", "--disable-sync"),
)
PHONE, DESKTOP = (360, 780), (1280, 800)
SIZES = pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
WORDS = english()
# Milliseconds; the machine may have other work.
PATIENCE = 20_000

Open = Callable[..., Any]
Picture = dict[str, Any]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None and not os.environ.get("CI"):
        pytest.skip("no chromium on this machine")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


STOPPED = (
    "ERR_CONNECTION_REFUSED",
    "ERR_CONNECTION_RESET",
    "ERR_CONNECTION_CLOSED",
    "ERR_EMPTY_RESPONSE",
)


@pytest.fixture
def open_page(chromium: Any) -> Iterator[Open]:
    """Opens the page in a browser of its own, and fails on any word in the console."""
    contexts: list[Any] = []
    said: list[str] = []

    def call(
        port: int,
        size: tuple[int, int] = PHONE,
        *,
        address: str = "",
        quiet: bool = True,
        **more: Any,
    ) -> Any:
        shape = {"width": size[0], "height": size[1]}
        context = chromium.new_context(viewport=shape, has_touch=size == PHONE, **more)
        contexts.append(context)
        context.set_default_timeout(PATIENCE)
        page = context.new_page()
        if quiet:
            page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: said.append(f"uncaught: {error}"))
        page.goto(address or f"http://localhost:{port}/")
        return page

    yield call
    for context in contexts:
        context.close()
    # A page that outlives its server, or still waits for a reply when that stops, asks in
    # vain, and the browser writes that down itself.
    loud = [line for line in said if not any(word in line for word in STOPPED)]
    assert loud == [], loud


def photo(name: str = "engine.png", picture: Any = None, format: str = "PNG") -> dict[str, Any]:
    data = encoded(engine() if picture is None else picture, format)
    return {"name": name, "mimeType": f"image/{format.lower()}", "buffer": data}


def snap(page: Any, *photos: dict[str, Any], field: str = "#snap") -> None:
    page.set_input_files(field, list(photos) or [photo()])


def answered(page: Any) -> str:
    page.wait_for_selector(".plate")
    page.wait_for_selector("#phase", state="hidden")
    return str(page.inner_text(".plate .years"))


def sure(page: Any) -> str:
    return str(page.inner_text(".plate .sure")).replace("\xa0", " ")


def violations(page: Any) -> list[str]:
    """What axe-core objects to; its rules are WCAG 2.2 A and AA and its own best practices."""
    import axe_playwright_python

    script = Path(axe_playwright_python.__file__).parent / "axe.min.js"
    # Evaluated through the debugger, which the page's policy rightly does not govern.
    page.evaluate(script.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert len(found["passes"]) > 10, "axe checked next to nothing"
    return [f"{v['id']}: {v['nodes'][0]['html']}" for v in found["violations"]]


def until(page: Any, script: str, *arguments: Any) -> None:
    """Wait for a script to be true; the browser's own waiting is against the page's policy."""
    deadline = time.monotonic() + PATIENCE / 1000
    while not page.evaluate(script, *arguments):
        assert time.monotonic() < deadline, script
        page.wait_for_timeout(30)


def button(page: Any, word: str, within: str = "body") -> Any:
    return page.locator(within).get_by_role("button", name=WORDS.get(word, word), exact=True)
