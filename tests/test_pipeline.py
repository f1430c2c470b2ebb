"""One item, whole: what is passed on, and how several views become one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from answers import CUES, FakeEye, photo_of
from shapes import engine
from vision.estimate import estimate, saw
from vision.guide import load_guide
from vision.pipeline import date_item, fuse_views
from vision.records import Cue, NotFound, Sighting, State

GUIDE = load_guide("wayfarer")


def lever(p: float, because: str = "") -> Cue:
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    return Cue("switch_lever", state, p_present=p, confidence=max(p, 1 - p), because=because)


def test_one_photo_is_dated_by_its_own_cues() -> None:
    answer = date_item([photo_of(engine())], GUIDE, FakeEye())
    assert answer.cues == CUES
    assert answer.estimate == estimate(GUIDE, CUES)
    assert isinstance(answer.sightings[0], Sighting)
    assert answer.versions["model"] == "fake"
    assert answer.versions["guide"] == f"wayfarer {GUIDE.version}"


def test_no_engine_gives_no_estimate_even_if_a_person_saw_something() -> None:
    said = (saw(GUIDE, "switch_lever=present"),)
    answer = date_item([photo_of(engine(), "shelf.png")], GUIDE, FakeEye({"shelf": None}), said)
    assert answer.estimate is None
    assert answer.cues == ()
    assert isinstance(answer.sightings[0], NotFound)


def test_an_empty_item_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="photos: at least one"):
        date_item([], GUIDE, FakeEye())


def test_what_a_person_saw_is_weighed_too() -> None:
    said = saw(GUIDE, "smoke_unit=present")
    answer = date_item([photo_of(engine())], GUIDE, FakeEye(), [said])
    assert answer.cues == (*CUES, said)
    assert answer.estimate == estimate(GUIDE, (*CUES, said))


def test_the_best_seen_view_counts_fully_and_alone() -> None:
    fused, conflicts = fuse_views([[lever(0.8)], [lever(0.95)], [lever(0.9)]])
    assert len(fused) == 1
    assert fused[0].p_present == 0.95
    assert fused[0].confidence == 0.95
    assert fused[0].photo == 1
    told = [f"photo {k} agrees, but shows nothing new and counts no more" for k in (1, 3)]
    assert fused[0].because == "; ".join(told)
    assert conflicts == ()


def test_three_photos_of_one_thing_are_not_three_witnesses() -> None:
    # The product of likelihood ratios would need independent views; these are not.
    once = date_item([photo_of(engine(), "a.png")], GUIDE, FakeEye())
    thrice = date_item([photo_of(engine(), f"{n}.png") for n in "abc"], GUIDE, FakeEye())
    assert once.estimate is not None
    assert thrice.estimate is not None
    assert thrice.estimate.variations == once.estimate.variations
    assert len(thrice.sightings) == 3


def test_an_unseen_view_neither_helps_nor_hurts() -> None:
    unseen = Cue("switch_lever", State.UNSEEN, because="glare")
    fused, conflicts = fuse_views([[unseen], [lever(0.7, "a thin lever")]])
    assert fused == (replace(lever(0.7, "a thin lever"), photo=1),)
    assert conflicts == ()
    both, _ = fuse_views([[unseen], [replace(unseen, because="out of the picture")]])
    assert both == (unseen,)


def test_views_that_contradict_each_other_are_reported() -> None:
    fused, conflicts = fuse_views([[lever(0.9)], [lever(0.2)]])
    assert fused[0].state is State.PRESENT
    assert fused[0].because == "photo 2 reads absent"
    assert [(c.kind, c.cues) for c in conflicts] == [("views", ("switch_lever",))]
    assert "photo 1 reads present, photo 2 reads absent" in conflicts[0].text


def test_values_of_a_valued_cue_contradict_each_other_too() -> None:
    four = Cue("tender_axles", State.PRESENT, value="4", confidence=0.7)
    fused, conflicts = fuse_views([[four], [replace(four, value="6", confidence=0.9)]])
    assert fused[0].value == "6"
    assert conflicts[0].cues == ("tender_axles",)


def test_a_person_settles_what_two_photos_dispute() -> None:
    eye = FakeEye({"a": (lever(0.9),), "b": (lever(0.1),)})
    photos = [photo_of(engine(), "a.png"), photo_of(engine(), "b.png")]
    open_dispute = date_item(photos, GUIDE, eye).estimate
    settled = date_item(photos, GUIDE, eye, [saw(GUIDE, "switch_lever=absent")]).estimate
    assert open_dispute is not None
    assert settled is not None
    assert "views" in [c.kind for c in open_dispute.conflicts]
    assert "views" not in [c.kind for c in settled.conflicts]


def test_photos_without_an_engine_do_not_spoil_the_others() -> None:
    eye = FakeEye({"a": None})
    photos = [photo_of(engine(), "a.png"), photo_of(engine(), "b.png")]
    answer = date_item(photos, GUIDE, eye)
    assert answer.estimate == date_item([photo_of(engine(), "b.png")], GUIDE, eye).estimate
    assert {cue.photo for cue in answer.cues} == {1}
