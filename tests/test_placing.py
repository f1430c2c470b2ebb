"""A lever is looked for where the guide says that it stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from vision.cues.fuse import PLACE_SPREAD, along, heat_at, sigmoid
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


@given(st.lists(st.floats(-9, 9), min_size=48, max_size=48), st.integers(0, 47))
def test_heat_counts_by_how_likely_the_place_errs(heats: list[float], part: int) -> None:
    """Against SciPy's normal density and log-sum-exp: a mixture over the place's errors."""
    values = {f"heat_{k:02d}": heat for k, heat in enumerate(heats)}
    share, centres = (part + 0.5) / 48, (np.arange(48) + 0.5) / 48
    weight = stats.norm.pdf(centres, share, PLACE_SPREAD)
    expected = special.logsumexp(heats, b=weight / weight.sum())
    assert heat_at(values, share) == pytest.approx(expected, abs=1e-9)
    assert min(heats) - 1e-9 <= heat_at(values, share) <= max(heats) + 1e-9
    model = {"terms": [["heat_here", 0.0, 3.0, 3.0]], "bias": 0.0}
    stated = sigmoid(0.8 * heat_at(values, share))
    assert along(values, model, {"trusted": 0.8})[part] == pytest.approx(
        np.clip(stated, 1e-4, 1 - 1e-4)
    )


def test_a_lever_a_little_off_its_place_is_found_and_a_whistle_further_off_is_not() -> None:
    def at(where: float) -> float:
        heats = np.full(48, -6.0)
        heats[int(where * 48)] = 5.0
        return heat_at({f"heat_{k:02d}": heat for k, heat in enumerate(heats)}, 0.5)

    assert at(0.5) > at(0.53) > 0.0 > at(0.65)


def test_the_guides_name_the_place_and_the_check_knows_its_range() -> None:
    assert load_guide("wayfarer").lever_at == 0.54
    assert load_guide("brindle").lever_at == 0.6
    text = starter_text()
    assert not [f for f in check_guide(text) if f.severity == "error"]
    (wrong,) = check_guide(text.replace("lever_at = 0.55", "lever_at = 1.55"))
    assert "lever_at" in wrong.message and "lever_at" in text.splitlines()[wrong.line - 1]
