"""Photos put together that show several engines, told from those of one."""

from __future__ import annotations

import itertools
import math
import shutil
from pathlib import Path
from types import MappingProxyType

import pytest

from archives import Silent
from vision.archive import Order, tag_archive
from vision.cli import run
from vision.estimate import estimate, prior, saw
from vision.guide import load_guide
from vision.photo import open_photo
from vision.pipeline import date_item, load_eye
from vision.pipeline.several import SEVERAL, several_engines
from vision.records import SEVERAL_ENGINES, Cue, State
from vision.report.markup import answer_html
from vision.report.words import candidates_words

DEMO = Path(__file__).parent.parent / "demo_images"
GUIDE = load_guide("wayfarer")


def _lever(p: float) -> Cue:
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    return Cue("switch_lever", state, p_present=p, confidence=max(p, 1 - p))


def _number(text: str, p: float) -> Cue:
    values = MappingProxyType({text: p})
    return Cue("cab_number", State.PRESENT, value=text, confidence=p, values=values)


VIEWS = (
    [_lever(0.97), _number("310", 0.95)],
    [_lever(0.08), _number("316", 0.9)],
    [_lever(0.9)],
)


def _likelihoods(cues: list[Cue]) -> dict[str, float]:
    steps = estimate(GUIDE, cues).steps
    return {id: math.prod(step.likelihoods[id] for step in steps) for id in prior(GUIDE)}


@pytest.mark.parametrize("count", [2, 3])
def test_as_bayes_rule_has_it_over_every_way_that_engines_may_stand_in_photos(count: int) -> None:
    """By enumeration: an engine for each photo, drawn as the partition of the photos says."""
    before, likelihoods = prior(GUIDE), [_likelihoods(cues) for cues in VIEWS[:count]]

    def of(partition: list[list[int]]) -> float:
        total = 0.0
        for engines in itertools.product(before, repeat=len(partition)):
            p = 1.0
            for engine, photos in zip(engines, partition, strict=True):
                p *= before[engine] * math.prod(likelihoods[k][engine] for k in photos)
            total += p
        return total

    everyone = list(range(count))
    apart = of([[k] for k in everyone])
    if count == 3:
        strays = [of([[k], [j for j in everyone if j != k]]) for k in everyone]
        apart = 0.5 * apart + 0.5 * sum(strays) / 3
    several = SEVERAL * apart
    expected = several / (several + (1 - SEVERAL) * of([everyone]))
    assert several_engines(GUIDE, VIEWS[:count]) == pytest.approx(expected, rel=1e-9)


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


@pytest.mark.parametrize("name", ["w1", "w2", "w3", "w4", "w5", "w6"])
def test_photos_of_one_engine_are(eye, name: str) -> None:
    assert SEVERAL_ENGINES not in _kinds(_dated(eye, name, name))


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
    summary = tag_archive(Order(tmp_path, guide=GUIDE), lambda: eye, Silent())
    assert summary.mixed == ["1999 fair"]
    assert run(["find", "narrowed", "--dir", str(tmp_path)]) == 0
    assert "wayfarer" not in capsys.readouterr().out
    assert run(["shelf", str(tmp_path)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Sort the photos, which seem to show more than one engine" in told
    tags = (folder / "wayfarer_w1.jpg.xmp").read_text()
    assert "more than one engine" in tags and "telltale/cab number/310" in tags
    assert "telltale/variation" not in tags and "telltale/year" not in tags
