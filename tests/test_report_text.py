"""An answer as text for a terminal."""

from __future__ import annotations

import re
from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from answers import CUES, answer, no_engine
from vision.records import Cue, State, Step
from vision.report import terminal_text


def test_the_years_come_first_in_the_text() -> None:
    lines = terminal_text(answer()).splitlines()
    assert lines[0] == "engine.png"
    assert "1934–1936" in lines[2]
    assert "very likely (93 %)" in lines[2]
    assert lines[4] == "  W3 (1934) 60 %, W4 (1935–1937) 30 %, not in this guide 10 %"


def test_every_cue_is_told_and_unseen_is_never_called_absent() -> None:
    text = terminal_text(answer())
    assert "  . switch lever      absent (97 %)" in text
    assert "  + side linkage      present (91 %)" in text
    assert "fits every variation: weak support for W3" in text
    assert "  ? edge stripe       not visible\n      glare along the running board" in text
    assert "  . tender axles      4 (88 %)" in text


@pytest.mark.parametrize(
    ("ratio", "strength", "sign"),
    [
        (3.0, "weak support for W3", "+"),
        (0.05, "moderate support against W3", "-"),
        (None, "", "."),
    ],
)
def test_the_sign_agrees_with_the_words(ratio: float | None, strength: str, sign: str) -> None:
    one = answer()
    assert one.estimate is not None
    steps = (replace(one.estimate.steps[1], strength=strength, ratio=ratio),)
    text = terminal_text(replace(one, estimate=replace(one.estimate, steps=steps)))
    assert f"  {sign} side linkage" in text


def test_a_percentage_is_never_parted_from_its_sign() -> None:
    for width in range(40, 100):
        for line in terminal_text(answer(), width=width).splitlines():
            assert not line.strip().startswith("%")
            assert "\u00a0" not in line


def test_a_cue_that_a_person_corrected_is_shown_as_set_aside() -> None:
    said = Cue("side_linkage", State.ABSENT, confidence=0.98, source="person")
    one = answer()
    assert one.estimate is not None
    even = MappingProxyType(dict.fromkeys(("W3", "W4", "other"), 1.0))
    weighed = replace(one.estimate.steps[1], strength="weak support against W3", ratio=1 / 3)
    steps = (weighed, Step("superseded", "side_linkage", "", even))
    told = replace(one, cues=(*CUES, said), estimate=replace(one.estimate, steps=steps))
    text = terminal_text(told)
    assert text.count("side linkage") == 1
    assert "  - side linkage      absent (as you say)" in text
    assert "      set aside by hand: present (91 %) in the photo" in text


def test_text_without_an_engine() -> None:
    text = terminal_text(no_engine())
    assert "no locomotive found" in text
    assert "nothing like a locomotive" in text
    assert "Why" not in text


@given(st.integers(40, 120), st.text(min_size=0, max_size=200))
def test_lines_keep_to_the_width(width: int, because: str) -> None:
    words = " ".join(word[:20] for word in because.split())
    told = replace(answer(), cues=(replace(CUES[0], because=words), *CUES[1:]))
    lines = terminal_text(told, width=width).split("\n")
    assert max(len(line) for line in lines[1:]) <= width


def test_bold_changes_nothing_but_two_codes() -> None:
    plain, bold = terminal_text(answer()), terminal_text(answer(), bold=True)
    assert "\x1b" not in plain
    assert re.sub(r"\x1b\[\d*m", "", bold) == plain
