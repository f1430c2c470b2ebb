"""What several test files share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from answers import FakeEye
from browser import chromium, open_page
from listing_files import write_shop
from page_server import phone, port
from vision.cli import run

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
