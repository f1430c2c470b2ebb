"""Names of files as one line, whatever is in them."""

from __future__ import annotations

import shutil
from pathlib import Path

from conftest import Telltale
from vision.report.names import one_line

HOSTILE = "two\nlines\x1b[31m\u202e.png"
SHOWN = r"two\nlines\x1b[31m\u202e.png"


def test_what_a_terminal_would_act_on_is_escaped() -> None:
    assert one_line(HOSTILE) == SHOWN
    assert one_line("Caf\u00e9 \u6a5f\u95a2\u8eca.jpg") == "Caf\u00e9 \u6a5f\u95a2\u8eca.jpg"
    # Half a pair of surrogates, which is no text either.
    assert one_line("a\ud800b") == r"a\ud800b"


def test_date_prints_names_as_one_line(telltale: Telltale, photo: Path, tmp_path: Path) -> None:
    hostile = tmp_path / HOSTILE
    shutil.copy(photo, hostile)
    page = tmp_path / "page.html"
    drawn = tmp_path / "drawn"
    code, out, err = telltale("date", hostile, "--html", page, "--overlay", drawn)
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == f"{tmp_path}/{SHOWN}"
    assert "\x1b" not in out
    # As text, and as what is said of the picture.
    html = page.read_text(encoding="utf-8")
    assert html.count(SHOWN) == 2 and HOSTILE not in html
    # The drawn picture is a file beside others; it keeps its name.
    assert [path.name for path in drawn.iterdir()] == [f"{Path(HOSTILE).stem}.telltale.jpg"]


def test_so_is_a_photo_that_cannot_be_read(telltale: Telltale, tmp_path: Path) -> None:
    code, out, err = telltale("date", tmp_path / HOSTILE)
    assert (code, out) == (10, "")
    assert err.count("\n") == 1 and SHOWN in err and "\x1b" not in err
