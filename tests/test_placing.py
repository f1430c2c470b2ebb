"""A lever is looked for where the guide says that it stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.cues.fuse import along, heat_at, sigmoid
from vision.guide import check_guide, load_guide, starter_text
from vision.pipeline.placing import placed
from vision.records import Box, Cue, Heading, NotFound, Region, Sighting, State

BOILER: Region = ((100.0, 50.0), (340.0, 50.0), (340.0, 120.0), (100.0, 120.0))
SIGHTING = Sighting(
    Box(80, 40, 500, 300),
    None,
    Heading.LEFT,
    dict.fromkeys(("boiler_top", "side_rods", "running_board"), BOILER),
    dict.fromkeys(("boiler_top", "side_rods", "running_board"), 1.0),
    0.9,
)
GUIDE = replace(load_guide("wayfarer"), lever_at=0.5)
# Something like a lever stands at a quarter of the length, and nothing elsewhere.
WHISTLE = tuple(0.95 if k == 6 else 0.04 for k in range(24))


def lever(**more: object) -> Cue:
    cue = Cue("switch_lever", State.PRESENT, p_present=0.9, confidence=0.9, because="a part")
    return replace(cue, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lever_at", "state", "p"),
    [(0.25, State.PRESENT, 0.95), (0.5, State.ABSENT, 0.04), (1.0, State.ABSENT, 0.04)],
)
def test_what_stands_elsewhere_is_not_the_lever(lever_at: float, state: State, p: float) -> None:
    cue = placed(lever(along=WHISTLE), SIGHTING, replace(GUIDE, lever_at=lever_at))
    assert (cue.state, cue.p_present) == (state, p)
    assert cue.confidence == pytest.approx(max(p, 1 - p))


def test_an_unsure_place_is_in_sight_but_not_called() -> None:
    cue = placed(lever(along=(0.6,) * 24), SIGHTING, GUIDE)
    assert cue.state is State.UNSEEN and cue.in_sight and cue.confidence == 0.0


def test_the_place_is_marked_where_the_guide_says() -> None:
    cue = placed(lever(along=WHISTLE), SIGHTING, GUIDE)
    assert cue.where is not None
    assert cue.where.centre == pytest.approx((220.0, 85.0))
    assert placed(lever(along=WHISTLE), NotFound(""), GUIDE).where is None


@pytest.mark.parametrize(
    ("cue", "guide"),
    [
        (lever(), GUIDE),  # judged without places
        (lever(along=WHISTLE), replace(GUIDE, lever_at=None)),
        (lever(along=WHISTLE, name="side_linkage"), GUIDE),
    ],
)
def test_without_a_place_nothing_changes(cue: Cue, guide: object) -> None:
    assert placed(cue, SIGHTING, guide) == cue  # type: ignore[arg-type]


@given(st.lists(st.floats(-9, 9), min_size=24, max_size=24), st.integers(0, 23))
def test_heat_beside_a_place_counts_for_it(heats: list[float], part: int) -> None:
    values = {f"heat_{k:02d}": heat for k, heat in enumerate(heats)}
    assert heat_at(values, part) == max(heats[max(part - 1, 0) : part + 2])
    model = {"terms": [["heat_here", 0.0, 3.0, 3.0]], "bias": 0.0}
    expected = sigmoid(0.8 * heat_at(values, part))
    assert along(values, model, {"trusted": 0.8})[part] == pytest.approx(
        np.clip(expected, 1e-4, 1 - 1e-4)
    )


def test_the_guides_name_the_place_and_the_check_knows_its_range() -> None:
    assert load_guide("wayfarer").lever_at == 0.54
    assert load_guide("brindle").lever_at == 0.6
    text = starter_text()
    assert not [f for f in check_guide(text) if f.severity == "error"]
    (wrong,) = check_guide(text.replace("lever_at = 0.55", "lever_at = 1.55"))
    assert "lever_at" in wrong.message and "lever_at" in text.splitlines()[wrong.line - 1]
