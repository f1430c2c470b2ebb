"""A lever is looked for where the guide says that it stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from vision.cues.fuse import along
from vision.guide import check_guide, load_guide, starter_text
from vision.pipeline.placing import MAYBE_ELSEWHERE, SURE_ELSEWHERE, placed
from vision.records import Box, Closely, Cue, Heading, NotFound, Region, Sighting, State

BOILER: Region = ((100.0, 50.0), (340.0, 50.0), (340.0, 120.0), (100.0, 120.0))
SIGHTING = Sighting(
    Box(80, 40, 500, 300),
    None,
    Heading.LEFT,
    dict.fromkeys(("boiler_top", "side_rods", "running_board"), BOILER),
    dict.fromkeys(("boiler_top", "side_rods", "running_board"), 1.0),
    0.9,
)
# Something like a lever stands in the seventh of 24 parts of the length, and nothing elsewhere.
SEVENTH = 6.5 / 24
WHISTLE = tuple(0.95 if k == 6 else 0.04 for k in range(24))


def lever(**more: object) -> Cue:
    cue = Cue("switch_lever", State.PRESENT, p_present=0.9, confidence=0.9, because="a part")
    return replace(cue, **{"along_in_sight": True, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lever_at", "state", "p"),
    [(SEVENTH, State.PRESENT, 0.95), (0.5, State.ABSENT, 0.04), (1.0, State.ABSENT, 0.04)],
)
def test_what_stands_elsewhere_is_not_the_lever(lever_at: float, state: State, p: float) -> None:
    cue = placed(lever(along=WHISTLE, p_present=0.5), SIGHTING, lever_at)
    assert (cue.state, cue.p_present) == (state, pytest.approx(p))
    assert cue.confidence == pytest.approx(max(p, 1 - p))


def test_what_is_surely_a_lever_is_believed_elsewhere_too() -> None:
    """The engine may be of another casting than the guide's."""
    anywhere = lever(along=WHISTLE, p_present=SURE_ELSEWHERE)
    cue = placed(anywhere, SIGHTING, 0.5)
    assert (cue.state, cue.p_present, cue.where) == (State.PRESENT, SURE_ELSEWHERE, anywhere.where)
    assert cue.because == (
        "a part, about 0.27 along it, not where the guide has this casting's lever (0.5): "
        "the engine may be of another casting, or the guide's lever_at is wrong"
    )
    assert placed(anywhere, SIGHTING, SEVENTH).p_present == pytest.approx(0.95)


CANNOT_BE_TOLD = "a part; whether it is where the guide has this casting's lever cannot be told"


@pytest.mark.parametrize(
    ("along", "lever_at", "sure"),
    [
        (WHISTLE, 0.9, True),
        (WHISTLE, 0.0, True),
        # Hardly farther apart than the eye errs in placing the region's ends.
        (WHISTLE, SEVENTH + 0.1, False),
        # Perhaps there as well.
        (tuple(0.85 if k == 20 else p for k, p in enumerate(WHISTLE)), 20.5 / 24, False),
        # A lever, but nowhere surely.
        ((0.6,) * 24, 0.9, False),
    ],
)
def test_a_lever_that_surely_stands_elsewhere_is_said_to(
    along: tuple[float, ...], lever_at: float, sure: bool
) -> None:
    """Where the guide's place could not be called, a wrong lever_at stayed invisible."""
    unclear = Closely(lever_at, 0.2, 0.8, in_sight=False)
    anywhere = lever(along=along, p_present=0.995, near=(unclear,))
    cue = placed(anywhere, SIGHTING, lever_at)
    # What is said weighs nothing: state and probability are those of the whole boiler top.
    assert replace(cue, because=anywhere.because) == anywhere
    assert ("about 0.27 along it" in cue.because and "lever_at is wrong" in cue.because) is sure
    assert (cue.because == CANNOT_BE_TOLD) is not sure


def test_nothing_is_said_to_stand_elsewhere_on_a_boiler_top_that_is_hidden() -> None:
    hidden = lever(along=WHISTLE, p_present=0.995, along_in_sight=False)
    assert placed(hidden, SIGHTING, 0.9).because == CANNOT_BE_TOLD


def test_a_lever_elsewhere_that_was_not_stated_stays_as_it_is() -> None:
    unsaid = {"state": State.UNSEEN, "confidence": 0.0, "clear": 0.4, "in_sight": True}
    unclear = lever(along=WHISTLE, p_present=SURE_ELSEWHERE, **unsaid)
    assert placed(unclear, SIGHTING, 0.5) == unclear


@pytest.mark.parametrize("anywhere", [MAYBE_ELSEWHERE, 0.9, 0.98])
def test_perhaps_a_lever_elsewhere_keeps_the_probability_up(anywhere: float) -> None:
    cue = placed(lever(along=WHISTLE, p_present=anywhere), SIGHTING, 0.5)
    assert cue.state is State.UNSEEN and cue.in_sight
    assert cue.p_present == pytest.approx(max(1.0 - anywhere, 0.04))  # by the place alone 0.04


def test_an_unsure_place_is_in_sight_but_not_called() -> None:
    cue = placed(lever(along=(0.6,) * 24, p_present=0.8), SIGHTING, 0.5)
    assert cue.state is State.UNSEEN and cue.in_sight and cue.confidence == 0.0


def test_the_place_is_marked_where_the_guide_says() -> None:
    cue = placed(lever(along=WHISTLE, p_present=0.7), SIGHTING, 0.5)
    assert cue.where is not None
    assert cue.where.centre == pytest.approx((220.0, 85.0))
    assert placed(lever(along=WHISTLE, p_present=0.7), NotFound(""), 0.5).where is None


@pytest.mark.parametrize(
    ("cue", "lever_at"),
    [
        (lever(), 0.5),  # judged without places
        (lever(along=WHISTLE), None),
        (lever(along=WHISTLE, name="side_linkage"), 0.5),
    ],
)
def test_without_a_place_nothing_changes(cue: Cue, lever_at: float | None) -> None:
    assert placed(cue, SIGHTING, lever_at) == cue


def test_a_hidden_place_gives_its_probability_and_no_state() -> None:
    hidden = lever(along=WHISTLE, along_in_sight=False, state=State.UNSEEN, confidence=0.0)
    cue = placed(hidden, SIGHTING, SEVENTH)
    assert (cue.state, cue.because) == (State.UNSEEN, hidden.because)
    assert cue.p_present == pytest.approx(0.95)
    called = lever(along=WHISTLE, along_in_sight=False, p_present=0.7)
    assert placed(called, SIGHTING, 0.5) == called


def test_between_two_parts_the_log_odds_are_interpolated() -> None:
    """Against SciPy's logit: halfway between 0.95 and 0.04 the odds are their geometric mean."""
    hidden = lever(along=WHISTLE, along_in_sight=False, state=State.UNSEEN, p_present=0.5)
    cue = placed(hidden, SIGHTING, 7 / 24)
    halfway = special.expit((special.logit(0.95) + special.logit(0.04)) / 2)
    assert cue.p_present == pytest.approx(float(halfway))


@given(st.lists(st.floats(-9, 9), min_size=48, max_size=48))
def test_a_place_is_as_likely_as_the_judges_answer_there_says(answers: list[float]) -> None:
    """Against SciPy's logistic function."""
    values = {f"said_{k:02d}": answer for k, answer in enumerate(answers)}
    model = {"terms": [["said_here", 0.0, 3.0, 3.0]], "bias": 0.0}
    expected = np.clip(special.expit(0.8 * np.array(answers)), 1e-4, 1 - 1e-4)
    assert along(values, model, {"trusted": 0.8}) == pytest.approx(expected)


def test_the_guides_name_the_place_and_the_check_knows_its_range() -> None:
    assert load_guide("wayfarer").lever_at == 0.54
    assert load_guide("brindle").lever_at == 0.6
    text = starter_text()
    assert not [f for f in check_guide(text) if f.severity == "error"]
    (wrong,) = check_guide(text.replace("lever_at = 0.55", "lever_at = 1.55"))
    assert "lever_at" in wrong.message and "lever_at" in text.splitlines()[wrong.line - 1]
