"""By which guide the page dates: by the archive's, where engines are saved into one."""

from __future__ import annotations

from pathlib import Path

import pytest

from archives import fill, tag
from vision.cli.page import _guide
from vision.guide import load_guide


def test_the_page_goes_on_with_the_guide_of_its_archive(tmp_path: Path) -> None:
    """It dated an archive of one's own guide anew by the example."""
    fill(tmp_path, 1)
    tag(tmp_path, guide=load_guide("brindle"), place="brindle")
    guide, example, place = _guide(None, tmp_path)
    assert (guide.name, example, place) == ("brindle", False, "brindle")
    assert _guide("wayfarer", tmp_path)[0].name == "wayfarer"


@pytest.mark.parametrize("archive", [True, False])
def test_the_example_is_said_to_be_one_where_nobody_named_it(tmp_path: Path, archive: bool) -> None:
    where = tmp_path if archive else None
    guide, example, place = _guide(None, where)
    assert (guide.name, example, place) == ("wayfarer", True, "wayfarer")
    assert _guide("wayfarer", where)[1] is False
