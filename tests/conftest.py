"""What several test files share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from answers import FakeEye
from archives import fill
from browser import chromium, open_page
from listing_files import write_shop
from page_server import phone, port
from shapes import encoded, engine
from vision.cli import run
from vision.guide import Guide, builtin_names, load_guide

__all__ = ["chromium", "open_page", "phone", "port", "telltale"]

Telltale = Callable[..., tuple[int, str, str]]


@pytest.fixture
def telltale(capsys: pytest.CaptureFixture[str]) -> Telltale:
    """Run the command with a fake eye; gives exit code, stdout and stderr."""

    def call(*arguments: object, eye: FakeEye | None = None) -> tuple[int, str, str]:
        code = run([str(a) for a in arguments], load_eye=lambda: eye or FakeEye())
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return call


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Four listings: true, wrong in one claim, undecided, and one with another's picture."""
    return write_shop(tmp_path)


@pytest.fixture(scope="module", params=builtin_names())
def guide(request: pytest.FixtureRequest) -> Guide:
    """Each of the built-in guides in turn."""
    return load_guide(request.param)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """Three photos by themselves, two of one engine in a folder."""
    root = tmp_path / "shelf"
    fill(root, 3)
    fill(root / "mine", 2, start=3)
    return root


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A photo of the engine that `answers.FakeEye` knows."""
    path = tmp_path / "engine.png"
    path.write_bytes(encoded(engine()))
    return path
