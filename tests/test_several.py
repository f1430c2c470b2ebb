"""Photos put together that show several engines, told from those of one."""

from __future__ import annotations

import csv
import itertools
import math
import shutil
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from archives import Silent
from guides import cue, small_guide, value, variation
from vision.archive import Order, tag_archive
from vision.cli import run
from vision.estimate import estimate, prior, saw
from vision.estimate.factors import factors_of
from vision.estimate.reading import reading
from vision.guide import Guide, Rates, load_guide
from vision.photo import open_photo
from vision.pipeline import date_item, load_eye
from vision.pipeline.several import SEVERAL, several_engines
from vision.records import COUPLED, PERHAPS_SEVERAL, SEVERAL_ENGINES, Cue, State
from vision.report.markup import answer_html
from vision.report.terminal import terminal_text
from vision.report.words import candidates_words, headline

DEMO = Path(__file__).parent.parent / "demo_images"
GUIDE = load_guide("wayfarer")


def _lever(p: float) -> Cue:
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    return Cue("switch_lever", state, p_present=p, confidence=max(p, 1 - p))


def _number(text: str, p: float) -> Cue:
    values = MappingProxyType({text: p})
    return Cue("cab_number", State.PRESENT, value=text, confidence=p, values=values)


VIEWS = (
    [_lever(0.97), _number("310", 0.95), value("driving_axles", "2", 0.9)],
    [_lever(0.08), _number("316", 0.9)],
    [_lever(0.9), value("driving_axles", "3", 0.9)],
)


def _likelihoods(guide: Guide, photos: list[list[Cue]]) -> dict[str, float]:
    """P(photos of one engine | engine): what it keeps is summed over, all else is each photo's own.

    By enumeration over its axles and its number as they are today.
    """
    kept = [f for f in factors_of(guide) if f.name in ("driving_axles", "cab_number")]
    total = {}
    for id in prior(guide):
        p = 1.0
        for factor in kept:
            of_it = [[c for c in cues if c.name == factor.name] for cues in photos]
            rows = [reading(factor, guide, cues) for cues in of_it]
            today = factor.table[id.rpartition("@")[0] or id]
            p *= sum(q * math.prod(row[k] for row in rows) for k, q in enumerate(today))
        total[id] = p
    for cues in photos:
        changing = [c for c in cues if c.name not in {f.name for f in kept}]
        steps = estimate(guide, changing).steps
        total = {id: p * math.prod(s.likelihoods[id] for s in steps) for id, p in total.items()}
    return total


@pytest.mark.parametrize("count", [2, 3])
def test_as_bayes_rule_has_it_over_every_way_that_engines_may_stand_in_photos(count: int) -> None:
    """By enumeration: an engine for each photo, drawn as the partition of the photos says."""
    before, views = prior(GUIDE), VIEWS[:count]

    def of(partition: list[list[int]]) -> float:
        groups = [_likelihoods(GUIDE, [views[k] for k in photos]) for photos in partition]
        return sum(
            math.prod(before[e] * group[e] for e, group in zip(engines, groups, strict=True))
            for engines in itertools.product(before, repeat=len(partition))
        )

    everyone = list(range(count))
    apart = of([[k] for k in everyone])
    if count == 3:
        strays = [of([[k], [j for j in everyone if j != k]]) for k in everyone]
        apart = 0.5 * apart + 0.5 * sum(strays) / 3
    several = SEVERAL * apart
    expected = several / (several + (1 - SEVERAL) * of([everyone]))
    assert several_engines(GUIDE, views) == pytest.approx(expected, rel=1e-9)


# --- what one engine keeps ----------------------------------------------------------------


@pytest.mark.parametrize("first", ["2", "3"])
@pytest.mark.parametrize("sure", [0.5, 0.9, 0.96])
def test_driving_axles_by_hand(first: str, sure: float) -> None:
    """Two counts of one engine are of one number of axles; by Bayes' rule, with the stated rates.

    2 in 1,000 castings have other axles than the guide says; 4 % of engines are others, half
    of them of the casting, 1 % reproductions; 2 % of readings are wrong altogether.
    """
    counts, usual = "1234568", (0.03, 0.38, 0.38, 0.13, 0.05, 0.02, 0.01)
    rates = Rates(0.04, 0.01)
    guide = small_guide([variation("V1", [1931])], rates=rates, wheels="0-6-0")
    casting = np.array([0.998 if c == "3" else 0.002 / 6 for c in counts])
    rows = {"V1": casting, "other": 0.6 * casting + 0.4 * np.array(usual)}
    before = {"V1": 0.95, "other": 0.05}

    def read(said: str) -> np.ndarray:
        rest = 0.98 * (1 - sure) + 0.02
        return np.array([7 * 0.98 * sure * (c == said) + rest for c in counts])

    one = sum(p * rows[id] @ (read(first) * read("3")) for id, p in before.items())
    apart = math.prod(
        sum(p * rows[id] @ read(said) for id, p in before.items()) for said in (first, "3")
    )
    expected = SEVERAL * apart / (SEVERAL * apart + (1 - SEVERAL) * one)
    views = [[value("driving_axles", said, sure)] for said in (first, "3")]
    assert several_engines(guide, views) == pytest.approx(expected, rel=1e-9)
    assert bool(expected > SEVERAL) is (first == "2")


def test_one_engine_of_no_guide_does_not_change_its_axles_or_number() -> None:
    """What no variation explains was one engine's, though it had two axles here and three there."""
    tank = load_guide("brindle")
    axles = [value("driving_axles", n, 0.96) for n in "32"]
    numbers = [_number(n, 0.96) for n in ("7", "550")]
    stripe = cue("edge_stripe", 0.999)

    def p(*views: list[Cue]) -> float:
        return several_engines(tank, views)

    apart = p([axles[0], numbers[0], stripe], [axles[1], numbers[1]])
    assert apart > 0.5
    # Less of it tells less; and what agrees is one engine's.
    for views in (
        ([axles[0], stripe], [axles[1]]),
        ([numbers[0], stripe], [numbers[1]]),
        ([axles[0], numbers[0], stripe], [axles[1], numbers[0]]),
        ([axles[0], numbers[0], stripe], [axles[0], numbers[1]]),
    ):
        assert p(*views) < apart
    assert p([axles[1], numbers[1]], [axles[1], numbers[1]]) < SEVERAL


def test_a_tender_behind_a_tank_engine_is_weighed_with_its_axles() -> None:
    """As in one photo: both hang on the casting. Two photos of one pair are not two engines."""
    tank = load_guide("brindle")
    both = [value("driving_axles", "2", 0.96), cue(COUPLED, 0.9)]
    assert several_engines(tank, [both, both]) < SEVERAL
    assert several_engines(tank, [both[:1], both[1:]]) < SEVERAL
    order = [both, [value("driving_axles", "3", 0.96)]]
    assert several_engines(tank, order) == pytest.approx(several_engines(tank, order[::-1]))


def test_one_photo_or_photos_that_show_nothing_are_never_several() -> None:
    unseen = [Cue("switch_lever", State.UNSEEN)]
    assert several_engines(GUIDE, [VIEWS[0]]) == 0.0
    assert several_engines(GUIDE, [VIEWS[0], unseen, []]) == 0.0
    assert several_engines(GUIDE, [VIEWS[0], VIEWS[1], unseen]) == several_engines(GUIDE, VIEWS[:2])


@pytest.fixture(scope="module")
def eye():
    return load_eye()


def _dated(eye, *names: str, said: tuple[Cue, ...] = ()):
    photos = [open_photo(DEMO / f"wayfarer_{name}.jpg") for name in names]
    return date_item(photos, GUIDE, eye, said)


def _kinds(answer) -> list[str]:
    return [conflict.kind for conflict in answer.estimate.conflicts]


@pytest.mark.parametrize("names", [("w1", "w3"), ("w2", "w5"), ("w4", "w4", "w6")])
def test_photos_of_two_engines_are_not_dated_as_one(eye, names: tuple[str, ...]) -> None:
    answer = _dated(eye, *names)
    assert _kinds(answer)[0] == SEVERAL_ENGINES
    assert "more than one engine" in answer.estimate.conflicts[0].text


def test_every_report_says_how_the_variations_are_meant(eye) -> None:
    answer = _dated(eye, "w1", "w3")
    assert "taken as one engine: W" in candidates_words(answer.estimate)
    assert "Variations, taken as one engine" in answer_html(answer)
    assert "taken as one engine" not in answer_html(_dated(eye, "w1"))


@pytest.mark.parametrize("name", ["m1", "m2", "m3"])
def test_a_tank_engine_and_a_tender_engine_with_other_axles_are_not_dated_as_one(
    eye, name: str
) -> None:
    """Of two driving axles, not three, and of another number; m2 was dated with it as one."""
    photos = [open_photo(DEMO / f"{stem}.jpg") for stem in (f"brindle_{name}", "in_no_guide")]
    for order in (photos, photos[::-1]):
        answer = date_item(order, load_guide("brindle"), eye)
        assert _kinds(answer)[0] == SEVERAL_ENGINES
        assert {"driving_axles", "cab_number"} <= set(answer.estimate.conflicts[0].cues)


@pytest.mark.parametrize("name", ["brindle_m1", "wayfarer_w3", "wayfarer_w6", "in_no_guide"])
@pytest.mark.parametrize("guide", ["brindle", "wayfarer"])
def test_one_count_or_number_that_is_misread_makes_no_second_engine(eye, name, guide) -> None:
    table = load_guide(guide)
    _, cues = eye.look(open_photo(DEMO / f"{name}.jpg"))
    cues = tuple(c for c in cues if c.name != COUPLED or table.tank_engine)
    for wrong in (value("driving_axles", "4", 0.96), _number("88", 0.95)):
        again = [wrong if c.name == wrong.name else c for c in cues]
        assert several_engines(table, [cues, again]) < 2 * SEVERAL


@pytest.mark.parametrize("name", ["w1", "w2", "w3", "w4", "w5", "w6"])
def test_photos_of_one_engine_are(eye, name: str) -> None:
    assert SEVERAL_ENGINES not in _kinds(_dated(eye, name, name))


def test_photos_that_may_show_several_engines_are_said_to_beside_the_years(eye) -> None:
    """An express and a tank engine of another number were "very likely" of 1935 to 1937."""
    photos = [open_photo(DEMO / f"{stem}.jpg") for stem in ("wayfarer_w5", "brindle_m3")]
    answer = date_item(photos, GUIDE, eye)
    assert 0.1 <= several_engines(GUIDE, answer.views) < 0.5
    assert _kinds(answer)[0] == PERHAPS_SEVERAL
    assert "cab_number" in answer.estimate.conflicts[0].cues
    assert headline(answer)[1].endswith(
        "; the photos disagree and may show several engines, see below"
    )
    text = " ".join(terminal_text(answer).split())
    assert "may show more than one engine" in text
    # Neither number is the engine's for certain, and what fits is said of both.
    assert "12 or 316" in text


def test_a_persons_word_settles_what_photos_dispute(eye) -> None:
    names = ("side_linkage", "cab_number", "tender_axles", "switch_lever", "edge_stripe")
    said = tuple(saw(GUIDE, f"{name}=unseen") for name in names)
    assert SEVERAL_ENGINES in _kinds(_dated(eye, "w2", "w5"))
    assert SEVERAL_ENGINES not in _kinds(_dated(eye, "w2", "w5", said=said))


def test_a_folder_of_several_engines_is_found_under_none_of_their_years(
    eye, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "1999 fair"
    folder.mkdir()
    for name in ("w1", "w3", "w6"):
        shutil.copy(DEMO / f"wayfarer_{name}.jpg", folder)
    for _ in range(2):  # the folder is told of until it is sorted, not in the first run alone
        summary = tag_archive(Order(tmp_path, guide=GUIDE), lambda: eye, Silent())
        assert summary.told.mixed == ["1999 fair"]
    assert run(["find", "narrowed", "--dir", str(tmp_path)]) == 0
    assert "wayfarer" not in capsys.readouterr().out
    # Each photo is found by what it shows itself, as its sidecar has it, and is said to be mixed.
    table = tmp_path / "found.csv"
    for query, names in (("number 310", ["w1"]), ("number 322", ["w6"]), ("several axles 4", None)):
        assert run(["find", query, "--dir", str(tmp_path), "--csv", str(table)]) == 0
        with table.open(encoding="utf-8", newline="") as stream:
            found = {Path(row["photo"]).stem[-2:]: row for row in csv.DictReader(stream)}
        assert {row["several_engines"] for row in found.values()} == {"True"}
        said = {
            name
            for name in ("w1", "w3", "w6")
            if "tender axles/4" in (folder / f"wayfarer_{name}.jpg.xmp").read_text()
        }
        assert "w1" in said and "w6" not in said
        assert set(found) == (set(names) if names else said)
    capsys.readouterr()
    assert run(["find", "in w6", "--dir", str(tmp_path)]) == 0
    assert capsys.readouterr().out == "1999 fair/wayfarer_w6.jpg  more than one engine\n"
    assert run(["shelf", str(tmp_path)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Sort the photos, which seem to show more than one engine" in told
    tags = (folder / "wayfarer_w1.jpg.xmp").read_text()
    assert "more than one engine" in tags and "telltale/cab number/310" in tags
    assert "telltale/variation" not in tags and "telltale/year" not in tags
    assert "tender coupled" not in tags  # this guide does not ask
    assert "unknown engine (more than one engine)" in tags and GUIDE.title not in tags
