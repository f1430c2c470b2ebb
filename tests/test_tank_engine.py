"""A tender behind a tank engine: no other guide minds it, this one thinks of another engine."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from answers import CUES, FakeEye, photo_of, sighting
from guides import COMPARED, certainties, cue, small_guide, unseen, value, variation
from network_answer import network_posterior
from shapes import corners, engine
from test_stories import stories
from vision.cues import read_cues
from vision.estimate import by_variation, estimate, prior, replay, saw
from vision.estimate.factors import factors_of
from vision.estimate.survivors import draw_survivors
from vision.guide import Guide, Rates, Tender, load_guide, names_tank_engine
from vision.locate import locate
from vision.network import load_networks
from vision.photo import photo_from_bytes
from vision.pipeline import date_item
from vision.records import COUPLED, PHOTO_CUES, Cue, Heading, NotFound, Photo, Sighting, State
from vision.report import answer_json, terminal_text
from vision.report.guide_rows import heading
from vision.report.steps import fits_words
from vision.report.words import percent

DEMO = Path(__file__).parent.parent / "demo_images"
TANK = load_guide("brindle")  # 0-6-2T
EXPRESS = load_guide("wayfarer")  # 4-6-2 with tenders
TENDER = cue(COUPLED, 0.85, because="a tender is coupled behind the engine")
MODEST = Rates(0.04, 0.01)


def tank(*more: str) -> Guide:
    rows = [variation(id, [1931 + k]) for k, id in enumerate(("V1", *more))]
    return small_guide(rows, rates=MODEST, wheels="0-6-2T")


def shares(guide: Guide, *cues: Cue) -> dict[str, float]:
    return by_variation(replay(guide, estimate(guide, cues).steps))


# Suffixes of Whyte notation as encyclopaedias print them beside their meaning; from memory.
SUFFIXES = {
    "": False,
    "T": True,  # side tanks
    "ST": True,  # saddle tank
    "PT": True,  # pannier tank
    "WT": True,  # well tank
    "IST": True,  # inverted saddle tank
    "CT": True,  # crane tank
    "T+T": False,  # a tank engine with a tender; no arrangement here
    "G": False,  # geared
    "F": False,  # fireless
    "n": False,  # narrow gauge
}


@pytest.mark.parametrize(("suffix", "tank_engine"), SUFFIXES.items())
def test_the_suffix_tells_a_tank_engine(suffix: str, tank_engine: bool) -> None:
    guide = small_guide([variation("V1", [1931])], wheels=f"0-6-2{suffix}")
    assert guide.tank_engine is tank_engine
    if suffix != "T+T":
        assert names_tank_engine(f"2-6-0+0-6-2{suffix}") is tank_engine


def test_a_guide_that_lists_a_tender_or_no_arrangement_is_of_no_tank_engine() -> None:
    tendered = replace(tank(), tenders=(Tender("K", 3, 0),))
    assert not tendered.tank_engine and not replace(tank(), wheels="a tank").tank_engine
    assert TANK.tank_engine and not EXPRESS.tank_engine
    with pytest.raises(ValueError, match="Whyte"):
        names_tank_engine("a tank T")
    assert "0-6-2T (a tank engine, 3 driving axles)" in heading(TANK)[1]


# --- what it weighs ---------------------------------------------------------------------

# Bayes' rule: 4 % others, half of them of the casting, 1 % reproductions, which are of the
# casting; behind 3 % of tank engines something is taken for a tender, 60 % of engines have one.
OUTSIDE, OWN, ANOTHER = 0.05, 0.6, 0.4


def by_hand(p: float) -> tuple[float, float]:
    """P(reading | this casting), P(reading | any engine)."""
    return 0.03 * p + 0.97 * (1 - p), 0.6 * p + 0.4 * (1 - p)


@pytest.mark.parametrize(
    ("told", "p"),
    [
        (TENDER, 0.85),
        (saw(tank(), "tender_coupled=present"), 0.98),
        (saw(tank(), "tender_coupled=absent"), 0.02),
    ],
)
def test_the_weight_by_hand(told: Cue, p: float) -> None:
    guide = tank("V2")
    casting, anywhere = by_hand(p)
    other = OUTSIDE * (OWN * casting + ANOTHER * anywhere)
    total = other + (1 - OUTSIDE) * casting
    found = shares(guide, told)
    assert found["other"] == pytest.approx(other / total)
    assert found["V1"] == pytest.approx(found["V2"])
    conflicts = estimate(guide, [told]).conflicts
    if p < 0.5:
        assert not conflicts and 0.7 < found["other"] / OUTSIDE < 0.9
        return
    (conflict,) = conflicts
    assert (conflict.kind, conflict.cues) == ("no_variation", (COUPLED,))
    lead = "tender_coupled present: this guide's engine is a tank engine. Stories: "
    assert conflict.text.startswith(lead)
    parts = {
        "another engine than this guide's, which is a tank engine": 0.02 * anywhere,
        "a wagon or another engine's tender taken for its own": 0.95 * 0.03 * p,
        "misread" if told is TENDER else "said in error": 0.95 * 0.97 * (1 - p),
        "a variation that the guide lacks": 0.02 * casting,
        "a reproduction, or put together from several engines": 0.01 * casting,
    }
    assert stories(conflict) == {story: percent(w / total) for story, w in parts.items()}


def test_a_photo_of_a_tender_alone_does_not_decide_and_with_the_axles_or_number_it_does() -> None:
    """Common practice, no source: one look at the tender, and the collector counts the wheels."""
    seen = [cue("edge_stripe", 0.97)]
    before, after = shares(TANK, *seen), shares(TANK, *seen, TENDER)
    assert 1.5 * before["other"] < after["other"] < 0.5
    for told in (value("driving_axles", "2", 0.95), value("cab_number", "58316", 0.95)):
        both = estimate(TANK, [*seen, TENDER, told])
        assert both.variations[0].id == "other" and both.years == "XXXX"


def axles_by_hand(p: float) -> tuple[float, float]:
    """Two driving axles counted by a person, right in 99.5 %, a further one off a tenth as often.

    Of the casting, which has three but for the share `p`, and of any engine.
    """
    counts = (1, 2, 3, 4, 5, 6, 8)
    usual = (0.03, 0.38, 0.38, 0.13, 0.05, 0.02, 0.01)
    two = [
        0.995
        if true == 2
        else 0.005 * 0.1 ** abs(2 - true) / sum(0.1 ** abs(c - true) for c in counts if c != true)
        for true in counts
    ]
    made = [1 - p if true == 3 else p / 6 for true in counts]
    return float(np.dot(made, two)), float(np.dot(usual, two))


def test_axles_and_tender_hang_on_one_casting() -> None:
    """Given "other" they are not independent: both tell of the same casting."""
    guide, two = tank(), saw(tank(), "driving_axles=2")
    own, foreign = (a * b for a, b in zip(axles_by_hand(0.002), by_hand(0.85), strict=True))
    other = OUTSIDE * (OWN * own + ANOTHER * foreign)
    total = other + (1 - OUTSIDE) * own
    assert shares(guide, two, TENDER)["other"] == pytest.approx(other / total, rel=1e-9)
    told = {c.cues: stories(c) for c in estimate(guide, [two, TENDER]).conflicts}
    assert set(told) == {(COUPLED,), ("driving_axles",)}
    name = "another engine than this guide's, which is a tank engine with 3 driving axles"
    for each in told.values():
        assert each[name] == percent(0.02 * foreign / total)
        assert each["a variation that the guide lacks"] == percent(0.02 * own / total)
    # A photo of the guide's own three axles makes the tender behind them less of a stranger.
    three = estimate(guide, [value("driving_axles", "3", 0.95), TENDER])
    factor = {step.cue: step.likelihoods["other"] for step in three.steps}
    alone = {step.cue: step.likelihoods["other"] for step in estimate(guide, [TENDER]).steps}
    assert factor[COUPLED] < alone[COUPLED]


@pytest.mark.filterwarnings("ignore")  # pgmpy's own imports warn
@settings(max_examples=min(COMPARED, 60), deadline=None)
@given(st.data())
def test_another_library_comes_to_the_same(data: st.DataObject) -> None:
    """pgmpy, with the casting as one node; see `network_answer`."""
    counts = st.sampled_from("1234568")
    rates = Rates(data.draw(st.floats(0.001, 0.4)), data.draw(st.floats(0.0, 0.1)))
    guide = replace(tank("V2"), rates=rates, wheels="0-6-0PT")
    cues = [
        cue(COUPLED, data.draw(certainties)),
        value("driving_axles", data.draw(counts), data.draw(certainties)),
        value("cab_number", "316", data.draw(certainties)),
    ]
    answer = replay(guide, estimate(guide, cues).steps)
    expected = network_posterior(guide, cues)
    assert answer == pytest.approx(expected, abs=1e-9)
    assert all(estimate(guide, mixed) == estimate(guide, cues) for mixed in permutations(cues))


def test_what_to_look_at_next_knows_of_the_one_casting() -> None:
    """By the definition of mutual information; a look is right in 95 %, of seven counts."""
    guide = tank()
    casting, anywhere = by_hand(0.85)
    weights = shares(guide, TENDER)
    foreign = ANOTHER * anywhere / (OWN * casting + ANOTHER * anywhere)
    shown = {"3": 0.38, "1": 0.03, "2": 0.38, "4": 0.13, "5": 0.05, "6": 0.02, "8": 0.01}
    made = {count: 0.998 if count == "3" else 0.002 / 6 for count in shown}
    of_other = {n: (1 - foreign) * made[n] + foreign * shown[n] for n in shown}

    def read(row: dict[str, float]) -> list[float]:
        return [0.95 * p + 0.05 * (1 - p) / 6 for p in row.values()]

    def bits(ps: list[float]) -> float:
        return -sum(p * math.log2(p) for p in ps)

    joint = [
        [weights["V1"] * p for p in read(made)],
        [weights["other"] * p for p in read(of_other)],
    ]
    seen = [a + b for a, b in zip(*joint, strict=True)]
    expected = bits(list(weights.values())) + bits(seen) - bits([p for row in joint for p in row])
    gains = {look.name: look.gain_bits for look in estimate(guide, [TENDER]).look_next}
    assert gains["driving_axles"] == pytest.approx(expected, abs=1e-9)
    assert COUPLED in gains  # 85 % is worth another look
    said = estimate(guide, [saw(guide, "tender_coupled=absent")]).look_next
    assert COUPLED not in {look.name for look in said}


def test_unseen_changes_nothing_and_is_told() -> None:
    seen = [cue("edge_stripe", 0.97), value("driving_axles", "3", 0.9)]
    assert shares(TANK, *seen, unseen(COUPLED)) == shares(TANK, *seen)
    (step,) = (s for s in estimate(TANK, [unseen(COUPLED)]).steps)
    assert step.kind == "unseen"
    assert shares(TANK, unseen(COUPLED)) == pytest.approx(by_variation(prior(TANK)))
    taken_back = estimate(TANK, [TENDER, saw(TANK, "tender_coupled=unseen")])
    assert replay(TANK, taken_back.steps) == pytest.approx(prior(TANK))


def test_the_steps_read_naturally() -> None:
    (step,) = estimate(TANK, [TENDER]).steps
    assert step.text == "a tender is coupled (85 %) — as no variation was made"
    words = "fits no variation, but weighs too little for support either way"
    assert fits_words(step) == words  # 1.7 times likelier elsewhere; ENFSI's words begin at 2
    (none,) = estimate(TANK, [saw(TANK, "tender_coupled=absent")]).steps
    assert none.text.startswith("no tender is coupled, as seen by a person")
    assert fits_words(none).startswith("fits every variation")
    (unused,) = estimate(EXPRESS, [saw(EXPRESS, "tender_coupled=present")]).steps
    assert unused.text == "tender_coupled: the guide is not of a tank engine, so it tells nothing"
    assert replay(EXPRESS, [unused]) == pytest.approx(prior(EXPRESS))


# --- what photos show -------------------------------------------------------------------

PHOTOS = [photo_of(engine(), "left.png"), photo_of(corners(320, 180), "right.png")]


class Coupling(FakeEye):
    """Sees a tender in some photos, and looks at others as earlier versions did."""

    def __init__(self, told: dict[str, Cue | None], also: tuple[Cue, ...] = ()) -> None:
        super().__init__()
        self.told, self.also = told, also

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        told = self.told[photo.name]
        faces = Heading.LEFT if photo.name == "left.png" else Heading.RIGHT
        return replace(sighting(), faces=faces), (*self.also, *(() if told is None else (told,)))


def test_an_answer_by_a_guide_of_another_engine_is_untouched() -> None:
    with_it = date_item(PHOTOS[:1], EXPRESS, Coupling({"left.png": TENDER}, CUES))
    without = date_item(PHOTOS[:1], EXPRESS, Coupling({"left.png": None}, CUES))
    assert answer_json(with_it) == answer_json(without)
    assert terminal_text(with_it) == terminal_text(without)


def test_a_look_without_the_cue_is_joined_with_one_that_has_it() -> None:
    one = date_item(PHOTOS, TANK, Coupling({"left.png": None, "right.png": TENDER}))
    assert one.estimate is not None
    assert [step.cue for step in one.estimate.steps] == [COUPLED]
    assert "tender coupled" in terminal_text(one)
    neither = date_item(PHOTOS, TANK, Coupling({"left.png": None, "right.png": None}))
    assert neither.estimate is not None and not neither.estimate.steps
    # From two sides it is surer, and still told once; where one shows none, nothing is lost.
    both = date_item(PHOTOS, TANK, Coupling({"left.png": TENDER, "right.png": TENDER}))
    assert [(c.name, c.confidence > 0.85) for c in both.cues] == [(COUPLED, True)]
    hidden = date_item(PHOTOS, TANK, Coupling({"left.png": unseen(COUPLED), "right.png": TENDER}))
    assert [(c.state, c.confidence) for c in hidden.cues] == [(State.PRESENT, 0.85)]


def test_the_eye_tells_of_a_tender_and_never_that_there_is_none() -> None:
    networks = load_networks()
    photo = photo_from_bytes((DEMO / "wayfarer_w6.jpg").read_bytes(), "w6")
    found = locate(photo, networks)
    assert isinstance(found, Sighting)
    (there,) = (c for c in read_cues(photo, found, networks) if c.name == COUPLED)
    assert (there.state, there.where) == (State.PRESENT, found.tender)
    assert 0.7 <= there.confidence == there.p_present < 0.98  # of few renders so much is claimed
    alone = read_cues(photo, replace(found, tender=None), networks)
    (gone,) = (c for c in alone if c.name == COUPLED)
    assert (gone.state, gone.because) == (State.UNSEEN, "no tender is in the picture")
    assert not gone.speaks and tuple(c.name for c in alone) == PHOTO_CUES


# --- engines drawn from the guide ---------------------------------------------------------


def test_survivors_have_axles_and_tender_of_one_casting() -> None:
    """Within five deviations of the shares of each pair, from one hidden casting."""
    guide = replace(tank(), rates=Rates(0.4, 0.1))
    drawn = list(draw_survivors(guide, 6000, np.random.default_rng(5)))
    assert {e.variation for e in drawn} == {"V1", "other"}
    inside = [e.parts[COUPLED] == "present" for e in drawn if e.variation != "other"]
    assert np.mean(inside) == pytest.approx(0.03, abs=5 * np.sqrt(0.03 * 0.97 / len(inside)))
    others = [e for e in drawn if e.variation == "other"]
    own = (0.4 / 2 + 0.1) / 0.5
    for axles, made, shown in (("3", 0.998, 0.38), ("2", 0.002 / 6, 0.38)):
        expected = own * made * 0.03 + (1 - own) * shown * 0.6
        pairs = [(e.parts["driving_axles"], e.parts[COUPLED]) == (axles, "present") for e in others]
        bound = 5 * np.sqrt(expected * (1 - expected) / len(others))
        assert np.mean(pairs) == pytest.approx(expected, abs=bound)
    # A wagon behind it changes nothing of how the engine was made.
    kept = [e.as_made for e in drawn if e.variation == "V1" and e.parts[COUPLED] == "present"]
    assert np.mean(kept) > 0.9
    assert all(
        COUPLED not in e.parts for e in draw_survivors(EXPRESS, 20, np.random.default_rng(1))
    )
    assert COUPLED not in {factor.name for factor in factors_of(EXPRESS)}
