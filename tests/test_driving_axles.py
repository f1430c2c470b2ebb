"""The driving axles: counted first, and weighed against the guide's wheel arrangement."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from answers import FakeEye, photo_of, sighting
from conftest import Telltale
from guides import cue, small_guide, unseen, value, variation
from shapes import corners, engine
from test_stories import stories
from vision.archive.record import Record, columns
from vision.estimate import by_variation, estimate, prior, replay, saw
from vision.estimate.factors import DRIVING_COUNTS, DRIVING_SHARES, factors_of
from vision.estimate.survivors import draw_survivors
from vision.guide import Guide, Rates, load_guide
from vision.pipeline import date_item
from vision.records import Cue, Heading, NotFound, Photo, Sighting, State
from vision.report import answer_json, terminal_text
from vision.report.guide_rows import heading
from vision.report.steps import fits_words
from vision.report.words import percent

EXPRESS = load_guide()  # 4-6-2, which the UIC classification calls 2'C1': three
UNCLEAR = Cue("driving_axles", State.UNSEEN, values={"2": 0.6, "3": 0.4}, in_sight=True)


def shares(guide: Guide, *cues: Cue) -> dict[str, float]:
    return by_variation(replay(guide, estimate(guide, cues).steps))


def test_how_often_axles_are_met_with_is_a_distribution() -> None:
    assert sum(DRIVING_SHARES) == pytest.approx(1.0)
    for wheels in ("0-6-0", "2-10-10-2"):
        guide = small_guide([variation("V1", [1931])], wheels=wheels)
        (factor,) = (f for f in factors_of(guide) if f.name == "driving_axles")
        assert all(sum(row) == pytest.approx(1.0) for row in factor.table.values())
        assert set(DRIVING_COUNTS) <= set(factor.states)


def test_an_engine_of_two_axles_is_none_of_a_guide_that_has_three() -> None:
    """Common practice, no source: whatever its stripe. Counted by a person and a photo."""
    seen = [cue("edge_stripe", 0.97), value("cab_number", "316", 0.97)]
    before = shares(EXPRESS, *seen)
    after = shares(EXPRESS, *seen, value("driving_axles", "2", 0.99))
    assert after["other"] > 5 * before["other"]
    assert estimate(EXPRESS, [saw(EXPRESS, "driving_axles=2")]).years == "XXXX"
    agreed = shares(EXPRESS, *seen, value("driving_axles", "3", 0.99))
    assert agreed["other"] < before["other"]
    # Between variations of one casting it decides nothing.
    for told in (after, agreed):
        assert told["W3"] / told["W4"] == pytest.approx(before["W3"] / before["W4"])


def test_a_count_further_off_is_less_likely_a_miscount() -> None:
    """Common practice, no source: whoever counts eight wheels has not miscounted three."""
    engine = small_guide([variation("V1", [1931])], rates=Rates(0.04, 0.01))
    weights = {}
    for count in "2468":
        told = shares(engine, saw(engine, f"driving_axles={count}"))["other"]
        foreign = {"2": 0.38, "4": 0.13, "6": 0.02, "8": 0.01}[count]
        weights[count] = told / (1 - told) / foreign
    assert weights["2"] == pytest.approx(weights["4"], rel=0.2)
    assert weights["2"] < weights["6"] and weights["4"] < weights["8"]


def test_the_weight_by_hand() -> None:
    """Bayes' rule: 4 % others, half of them of the casting, 1 % reproductions; a person counts
    two axles, who is right in 99.5 % and miscounts by each axle more a tenth as often."""
    guide = small_guide([variation("V1", [1931])], rates=Rates(0.04, 0.01))
    counts = (1, 2, 3, 4, 5, 6, 8)

    def says_two(true: int) -> float:
        off = math.fsum(0.1 ** abs(c - true) for c in counts if c != true)
        return 0.995 if true == 2 else 0.005 * 0.1 ** abs(2 - true) / off

    wrong = says_two(3)
    made = {c: 0.998 if c == 3 else 0.002 / 6 for c in counts}
    casting = math.fsum(made[c] * says_two(c) for c in counts)
    usual = dict(zip(counts, (0.03, 0.38, 0.38, 0.13, 0.05, 0.02, 0.01), strict=True))
    elsewhere = math.fsum(usual[c] * says_two(c) for c in counts)
    other = 0.05 * (0.6 * casting + 0.4 * elsewhere)
    expected = other / (other + 0.95 * casting)
    assert shares(guide, saw(guide, "driving_axles=2"))["other"] == pytest.approx(expected)
    told = stories(estimate(guide, [saw(guide, "driving_axles=2")]).conflicts[0])
    total = other + 0.95 * casting
    parts = {
        "another engine than this guide's, which has 3 driving axles": 0.02 * elsewhere,
        "said in error": 0.95 * 0.998 * wrong,
        "the guide errs, or the engine was rebuilt": 0.95 * (casting - 0.998 * wrong),
        "a variation that the guide lacks": 0.02 * casting,
        "a reproduction, or put together from several engines": 0.01 * casting,
    }
    assert told == {story: percent(joint / total) for story, joint in parts.items()}


def test_the_steps_and_the_conflict_read_naturally() -> None:
    (step,) = estimate(EXPRESS, [value("driving_axles", "3", 0.97)]).steps
    assert step.text == "3 driving axles counted (97 %) — as every variation was made"
    assert fits_words(step).startswith("fits every variation")
    answer = estimate(EXPRESS, [value("driving_axles", "1", 0.99)])
    assert answer.steps[0].text == "1 driving axle counted (99 %) — as no variation was made"
    (conflict,) = answer.conflicts
    assert (conflict.kind, conflict.cues) == ("no_variation", ("driving_axles",))
    assert conflict.text.startswith("driving_axles 1: every variation has 3. Stories: ")
    assert "lost" not in conflict.text and "replaced" not in conflict.text


def test_other_conflicts_tell_another_engine_apart_where_axles_were_counted() -> None:
    cues = [cue("switch_lever", 0.03), cue("edge_stripe", 0.03)]
    (plain,) = estimate(EXPRESS, cues).conflicts
    assert not any(story.startswith("another engine") for story in stories(plain))
    (told,) = estimate(EXPRESS, [*cues, value("driving_axles", "3", 0.99)]).conflicts
    assert "another engine than this guide's" in stories(told)


def test_unseen_axles_change_nothing_and_unclear_ones_count_for_what_they_may_be() -> None:
    seen = [cue("edge_stripe", 0.97)]
    assert shares(EXPRESS, *seen, unseen("driving_axles")) == shares(EXPRESS, *seen)
    stated = replace(UNCLEAR, state=State.PRESENT, value="2", confidence=0.6, in_sight=False)
    assert shares(EXPRESS, UNCLEAR) == pytest.approx(shares(EXPRESS, stated))
    (step,) = estimate(EXPRESS, [UNCLEAR]).steps
    assert step.text.startswith("driving_axles unclear, perhaps 2 (60 %)")


def test_a_guide_whose_wheels_cannot_be_read_weighs_no_axles() -> None:
    guide = small_guide([variation("V1", [1931]), variation("V2", [1932])], wheels="many")
    assert guide.driving_axles is None
    answer = estimate(guide, [value("driving_axles", "2", 0.99)])
    assert replay(guide, answer.steps) == pytest.approx(prior(guide))
    assert [step.kind for step in answer.steps] == ["unused"]
    assert "driving_axles" not in {look.name for look in answer.look_next}
    assert all("driving_axles" not in e.parts for e in draw_survivors(guide, 5, rng()))


def rng() -> np.random.Generator:
    return np.random.default_rng(3)


def test_survivors_have_the_axles_of_the_guide() -> None:
    """Within a binomial bound of five deviations; of the rest, those of the casting too."""
    engines = list(draw_survivors(EXPRESS, 4000, rng()))
    inside = [e.parts["driving_axles"] == "3" for e in engines if e.variation != "other"]
    outside = [e.parts["driving_axles"] == "3" for e in engines if e.variation == "other"]
    assert np.mean(inside) == pytest.approx(0.998, abs=0.004)
    of_casting = (0.03 / 2 + 0.02) / 0.05
    expected = of_casting * 0.998 + (1 - of_casting) * 0.38
    bound = 5 * np.sqrt(expected * (1 - expected) / len(outside))
    assert np.mean(outside) == pytest.approx(expected, abs=bound)


def test_nobody_is_sent_to_count_where_it_would_tell_little() -> None:
    gains = {look.name: look.gain_bits for look in estimate(EXPRESS, []).look_next}
    assert 0.0 < gains["driving_axles"] < 0.02  # below what is named to a person
    doubt = {look.name: look.gain_bits for look in estimate(EXPRESS, [UNCLEAR]).look_next}
    assert doubt["driving_axles"] > 0.02
    counted = estimate(EXPRESS, [saw(EXPRESS, "driving_axles=3")]).look_next
    assert "driving_axles" not in {look.name for look in counted}


# --- several photos, and looks that were kept before axles were counted ----------------


class Counting(FakeEye):
    """Counts the axles of some photos, and looks at others as earlier versions did."""

    def __init__(self, counts: dict[str, Cue | None]) -> None:
        super().__init__()
        self.counts = counts

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        left = photo.name == "left.png"
        axles = self.counts[photo.name]
        faces = Heading.LEFT if left else Heading.RIGHT
        cues = (cue("edge_stripe", 0.95), *(() if axles is None else (axles,)))
        return replace(sighting(), faces=faces), cues


PHOTOS = [photo_of(engine(), "left.png"), photo_of(corners(320, 180), "right.png")]


def test_a_look_without_the_cue_is_joined_with_one_that_has_it() -> None:
    three = value("driving_axles", "3", 0.97)
    answer = date_item(PHOTOS, EXPRESS, Counting({"left.png": None, "right.png": three}))
    assert answer.estimate is not None
    assert [c.name for c in answer.cues] == ["edge_stripe", "driving_axles"]
    assert [s.cue for s in answer.estimate.steps].count("driving_axles") == 1
    neither = date_item(PHOTOS, EXPRESS, Counting({"left.png": None, "right.png": None}))
    assert neither.estimate is not None
    assert "driving_axles" not in {s.cue for s in neither.estimate.steps}


def test_two_photos_speak_once_and_are_told_where_they_differ() -> None:
    def both(first: Cue, second: Cue) -> tuple[Cue, list[str]]:
        answer = date_item(PHOTOS, EXPRESS, Counting({"left.png": first, "right.png": second}))
        assert answer.estimate is not None
        assert [s.cue for s in answer.estimate.steps].count("driving_axles") == 1
        (counted,) = (c for c in answer.cues if c.name == "driving_axles")
        return counted, [c.kind for c in answer.estimate.conflicts]

    def count(three: float) -> Cue:
        values = {"2": 1.0 - three, "3": three}
        best = "3" if three >= 0.5 else "2"
        return Cue("driving_axles", State.PRESENT, None, best, max(values.values()), values=values)

    agreed, kinds = both(count(0.9), count(0.9))
    assert (agreed.value, kinds) == ("3", [])
    assert agreed.confidence > 0.9
    assert "views" in both(count(0.95), count(0.05))[1]


# --- what is shown ----------------------------------------------------------------------


def test_every_surface_names_it() -> None:
    three = value("driving_axles", "3", 0.97, because="3 wheels along the rods")
    answer = date_item(PHOTOS[:1], EXPRESS, Counting({"left.png": three}))
    assert "driving axles" in terminal_text(answer)
    (plain,) = (c for c in answer_json(answer)["cues"] if c["name"] == "driving_axles")
    assert plain["value"] == "3" and "p_present" not in plain
    two = value("driving_axles", "2", 0.97)
    strange = terminal_text(date_item(PHOTOS[:1], EXPRESS, Counting({"left.png": two})))
    assert "driving axles 2: every variation has 3" in " ".join(strange.split())
    assert "4-6-2 (3 driving axles)" in heading(EXPRESS)[1]
    assert "2-2-2 (1 driving axle)" in heading(replace(EXPRESS, wheels="2-2-2"))[1]


def test_records_of_engines_tagged_before_have_the_column_unseen() -> None:
    row = ("a.jpg", "a", "ab" * 32, True, False, "", (), None, "", None, False, False)
    old = Record(*row, cues={})
    assert columns(old)["driving_axles"] == "unseen"
    assert columns(old)["driving_axles_value"] is None


def test_the_command_takes_what_a_person_counted(telltale: Telltale) -> None:
    code, told, _ = telltale("guide", "simulate", "wayfarer", "--items", "30")
    assert code == 0 and "driving axles" in told
