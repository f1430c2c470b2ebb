"""What a closer look said is kept and believed; eyes are told where to look, and named by it."""

from __future__ import annotations

import pickle
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from answers import FakeEye, sighting
from eyes import fake_eye, newer_eye
from vision.archive.reading import eye_of_this_process
from vision.cues.evidence import PARTS_ALONG
from vision.cues.fuse import along, in_doubt
from vision.network import Networks
from vision.pipeline import LoadTold, NetworkEye, told
from vision.pipeline.look import Look, eye_name, look_from_text, look_to_text, model_of
from vision.pipeline.placing import placed
from vision.records import Closely, Cue, NotFound, State


def lever(*near: tuple[float, float], clear: float = 0.95) -> Cue:
    """A lever of which the judge from afar says 0.6 at every place.

    Of each place looked at closely, the place and the probability of a lever there.
    """
    cue = Cue("switch_lever", State.UNSEEN, p_present=0.55, because="a part", clear=0.4)
    looks = tuple(Closely(place, p, clear, clear >= 0.9) for place, p in near)
    return replace(cue, along=(0.6,) * PARTS_ALONG, near=looks, along_in_sight=True)


@pytest.mark.parametrize(
    ("p", "state", "confidence"),
    [
        (0.93, State.PRESENT, 0.93),
        (0.04, State.ABSENT, 0.96),
        (0.7, State.UNSEEN, 0.0),
        (0.3, State.UNSEEN, 0.0),
    ],
)
def test_the_loupe_is_believed_where_it_looked(p: float, state: State, confidence: float) -> None:
    cue = placed(lever((0.84, 1.0 - p), (0.54, p)), NotFound(""), 0.54)
    assert (cue.state, cue.p_present) == (state, p)
    assert cue.confidence == pytest.approx(confidence)
    assert cue.in_sight is (state is State.UNSEEN)


@pytest.mark.parametrize("lever_at", [0.5, 0.6, 0.84])
def test_of_another_place_the_judge_from_afar_is_asked(lever_at: float) -> None:
    cue = placed(lever((0.54, 0.98)), NotFound(""), lever_at)
    assert cue.p_present == pytest.approx(0.6) and cue.state is State.UNSEEN


def test_a_place_written_a_little_otherwise_is_still_the_one_looked_at() -> None:
    assert placed(lever((0.54, 0.98)), NotFound(""), 0.5404).p_present == 0.98


def test_a_hidden_place_gives_the_loupes_probability_and_no_state() -> None:
    hidden = replace(lever((0.54, 0.98), clear=0.5), along_in_sight=False)
    cue = placed(hidden, NotFound(""), 0.54)
    assert (cue.state, cue.p_present, cue.because) == (State.UNSEEN, 0.98, "a part")
    assert cue.clear == 0.5 and cue.in_sight
    assert not placed(lever((0.54, 0.98), clear=0.2), NotFound(""), 0.54).in_sight


def test_a_place_that_is_clear_from_near_by_is_called_though_it_was_not_from_afar() -> None:
    cue = placed(replace(lever((0.54, 0.98)), along_in_sight=False), NotFound(""), 0.54)
    assert (cue.state, cue.clear) == (State.PRESENT, 0.95)


@pytest.mark.parametrize("state", [State.PRESENT, State.ABSENT])
def test_what_cannot_be_told_from_near_by_is_not_called_from_afar(state: State) -> None:
    stated = replace(lever((0.54, 0.7), clear=0.5), state=state, p_present=0.86, confidence=0.86)
    cue = placed(stated, NotFound(""), 0.54)
    assert (cue.state, cue.confidence, cue.p_present) == (State.UNSEEN, 0.0, 0.7)
    # The mark is on the place that could not be made out.
    box = placed(stated, sighting(), 0.54).where
    assert box is not None and box.left < box.right < sighting().locomotive.right
    # Nobody looked closely there: what was called from afar stands.
    assert placed(replace(stated, along_in_sight=False), NotFound(""), 0.9).state is state


def test_what_is_surely_a_lever_is_believed_though_the_loupe_finds_none_here() -> None:
    """The engine may be of another casting than the guide's."""
    sure = replace(lever((0.54, 0.02)), state=State.PRESENT, p_present=0.99, confidence=0.99)
    cue = placed(sure, NotFound(""), 0.54)
    assert (cue.state, cue.p_present) == (State.PRESENT, 0.99)
    assert cue.because == (
        "a part, but not where the guide has this casting's lever (0.54): the engine may be of "
        "another casting, or the guide's lever_at is wrong"
    )


def test_what_the_loupe_said_is_kept_without_loss() -> None:
    cues = (lever((0.54, 1 / 3), (0.84, 1e-4)), Cue("edge_stripe", State.UNSEEN))
    look = Look("ab" * 32, (640, 300), 1, None, (), sighting(), cues, 5, (1, 2))
    back = look_from_text(look_to_text(look))
    assert back.cues == cues
    assert [(look.place, look.p_present) for look in back.cues[0].near] == [
        (0.54, 1 / 3),
        (0.84, 1e-4),
    ]
    assert placed(back.cues[0], back.sighting, 0.54) == placed(cues[0], sighting(), 0.54)


@given(st.text(), st.none() | st.floats(0, 1))
def test_the_model_is_read_back_from_the_name_of_an_eye(model: str, lever_at: float | None) -> None:
    assert model_of(eye_name(model, lever_at)) == model


def test_an_eye_is_named_by_the_place_where_it_looks_closely() -> None:
    names = {eye_name("m", place) for place in (None, 0.0, 0.54, 0.6)}
    assert len(names) == 4
    assert eye_name("m", 0.54) == eye_name("m", 0.5400001) != eye_name("n", 0.54)
    assert eye_name("m") == eye_name("m", None)


def test_the_shipped_eye_is_told_where_to_look_and_any_other_is_left_alone() -> None:
    shipped = NetworkEye(Networks({}, {}, "fixed"))
    eye = told(shipped, 0.54, None, 0.6)
    assert isinstance(eye, NetworkEye) and eye.networks is shipped.networks
    assert (eye.places, eye.version, shipped.places) == ((0.54, 0.6), "fixed", ())
    assert told(shipped, None) is shipped and told(shipped) is shipped
    foreign = FakeEye()
    assert told(foreign, 0.54) is foreign


def shipped_eye() -> NetworkEye:
    return NetworkEye(Networks({}, {}, "fixed"))


def test_an_eye_that_is_told_is_loaded_once_a_process() -> None:
    """Processes know it again by the callable that loads it, which travels to them."""
    load = LoadTold(fake_eye, 0.54)
    travelled = pickle.loads(pickle.dumps(load))
    assert travelled == load and hash(travelled) == hash(load) and travelled is not load
    assert eye_of_this_process(travelled) is eye_of_this_process(load)
    for other in (LoadTold(fake_eye, 0.6), LoadTold(fake_eye, None), LoadTold(newer_eye, 0.54)):
        assert other != load and eye_of_this_process(other) is not eye_of_this_process(load)
    assert LoadTold(shipped_eye, 0.54)().places == (0.54,)  # type: ignore[attr-defined]
    assert LoadTold(shipped_eye, None)() == shipped_eye()


@pytest.mark.parametrize("p", [0.004, 0.996])
def test_where_the_judge_from_afar_leaves_no_doubt_the_loupe_is_not_asked(p: float) -> None:
    sure = replace(lever((0.54, 0.5)), along=(p,) * PARTS_ALONG)
    assert placed(sure, NotFound(""), 0.54).p_present == pytest.approx(p)


def test_what_spares_a_closer_look_is_what_passes_it_over_later() -> None:
    """Else a photo dated from an archive could be told otherwise than by the command."""
    seen = {"terms": [["clear_here", 0.0, 1.0, 1.0]], "bias": 0.0, "seen_at_least": 0.5}
    model = {"terms": [["near_here", 0.0, 1.0, 1.0]], "bias": 0.0, "seen": seen}
    wide = {"terms": [["said_here", 0.0, 2.0, 2.0]], "bias": 0.0}
    placed_by: dict[str, object] = wide | {"near": model}
    fusion = {"trusted": 1.0, "cues": {"switch_lever": {"placed": placed_by}}}
    for said in (-6.0, -4.7, -4.5, -1.0, 0.0, 2.0, 4.5, 4.7, 6.0):
        values = {f"said_{part:02d}": said for part in range(PARTS_ALONG)} | {"near_0.5400": 0.0}
        asked = in_doubt(values, 0.54, fusion, "switch_lever")
        cue = replace(lever((0.54, 0.5)), along=along(values, wide, fusion))
        assert asked is (placed(cue, NotFound(""), 0.54).p_present == 0.5)
        # ln 99, which odds of 99 to 1 are.
        assert asked is (abs(said) < 4.5951)
    del placed_by["near"]
    assert not in_doubt(values, 0.54, fusion, "switch_lever")
