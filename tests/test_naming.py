"""What a rendered picture's file name says."""

from __future__ import annotations

import pytest

from tools.naming import Name, name_of


@pytest.mark.parametrize("mark", ["", "t", "t1", "t3"])
def test_a_view_and_its_twins_share_all_but_the_mark(mark: str) -> None:
    found = name_of(f"held-2-1700308_4{mark}.jpg")
    assert found == Name("held-2", "held-2-1700308", "held-2-1700308_4", 1700308, bool(mark))


@pytest.mark.parametrize("file", ["photo_039.jpg", "shot.jpg", "held-2-5.jpg"])
def test_a_file_of_another_name_stands_for_itself(file: str) -> None:
    assert name_of(file) == Name(file, file, file, 0, twin=False)


def test_a_twin_is_known_by_a_name_of_any_form() -> None:
    assert name_of("loco_w3t.jpg") == Name(*3 * ("loco_w3.jpg",), 0, twin=True)
