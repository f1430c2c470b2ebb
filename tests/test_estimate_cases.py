"""Worked cases of the argument, kept as data."""

import json
from pathlib import Path
from types import MappingProxyType

import pytest

from guides import (
    cue,
    members,
    unseen,
    value,
)
from vision.estimate import estimate, saw
from vision.guide import load_guide, year_bounds

CASES = Path(__file__).parent / "cases"


# --- worked cases as data ---------------------------------------------------------


def cases(name):
    return json.loads((CASES / f"{name}.json").read_text(encoding="utf-8"))


def case_cues(case, guide):
    cues = [saw(guide, statement) for statement in case.get("saw", ())]
    for name, read in case["cues"].items():
        if read == "unseen":
            cues.append(unseen(name))
        elif isinstance(read, float):
            cues.append(cue(name, read))
        elif isinstance(read[0], str):
            cues.append(value(name, read[0].upper(), read[1]))
        else:
            cues.append(cue(name, read[0], values=MappingProxyType(read[1])))
    return cues


def judge(case):
    guide = load_guide(case["guide"])
    cues = case_cues(case, guide)
    answer = estimate(guide, cues * case.get("repeat", 1))
    if "first" in case:
        assert answer.variations[0].id == case["first"]
    if "years" in case:
        assert answer.years == case["years"]
    if "holds_years" in case:
        assert set(case["holds_years"]) <= set(members(answer.years))
    if "conflicts" in case:
        assert [c.kind for c in answer.conflicts] == case["conflicts"]
    if case.get("same_as_once"):
        assert answer.variations == estimate(guide, cues).variations
    if answer.years[0].isdigit():
        assert None not in year_bounds(answer.years)


@pytest.mark.parametrize("case", cases("positive"), ids=lambda c: c["name"])
def test_positive_cases(case):
    judge(case)


@pytest.mark.parametrize("case", cases("negative"), ids=lambda c: c["name"])
def test_negative_cases(case):
    judge(case)


@pytest.mark.parametrize("case", cases("known_failures"), ids=lambda c: c["name"])
@pytest.mark.xfail(strict=True, raises=AssertionError, reason="see `why` in the case")
def test_known_failures(case):
    judge(case)
