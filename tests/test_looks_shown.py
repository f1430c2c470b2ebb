"""Which looks are suggested to a person, and in which words they are asked and answered."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace

import pytest

from answers import answer, photo_of
from browser import WORDS, Open, answered, snap
from shapes import engine
from vision.estimate.look import PHRASES
from vision.guide import build_guide, builtin_names, load_guide, starter_text
from vision.page.shown import choices, shown
from vision.records import Answer, NextLook
from vision.report import answer_html, answer_json, terminal_text
from vision.report.words import LEAST_GAIN

GUIDE = load_guide()


def with_looks(*looks: NextLook) -> Answer:
    one = answer(photo_of(engine()))
    assert one.estimate is not None
    return replace(one, estimate=replace(one.estimate, look_next=looks))


def test_what_tells_next_to_nothing_is_not_suggested() -> None:
    told = with_looks(
        NextLook("smoke_unit", "Look down the chimney.", 0.61, True, 1.5),
        NextLook("axle_magnets", "Hold a pin to an axle.", 0.03, True, 1.1),
    )
    for text in (terminal_text(told), answer_html(told)):
        assert "Look down the chimney." in text
        assert "Hold a pin to an axle." not in text
    assert [look["name"] for look in shown(told, GUIDE)["looks"]] == ["smoke_unit"]
    # Whoever reads the JSON can judge by the figure.
    gains = [look["gain_bits"] for look in answer_json(told)["estimate"]["look_next"]]
    assert gains == [0.61, 0.03]
    assert min(gains) < LEAST_GAIN


def test_people_are_told_candidates_not_bits() -> None:
    told = with_looks(NextLook("smoke_unit", "Look down the chimney.", 0.61, True, 1.52))
    for text in (terminal_text(told), answer_html(told)):
        assert "(would leave about 1.5 candidates)" in text
        assert "bits" not in text


@pytest.mark.parametrize("name", builtin_names())
def test_yes_and_no_fit_every_question(name: str) -> None:
    guide = load_guide(name)
    starter = build_guide(tomllib.loads(starter_text()), "starter")
    asked = {check.id: check.instruction for check in (*guide.checks, *starter.checks)}
    for cue, phrase in PHRASES.items():
        if any(choice.get("word") == "yes" for choice in choices(guide, cue)):
            asked[cue] = phrase
    assert len(asked) > len(guide.checks) + 2
    for text in asked.values():
        (question,) = re.findall(r"[^.:?]*\?", text)
        assert not re.search(r"\bor\b", question), text


def test_buttons_name_the_state_that_they_say(open_page: Open, port: int) -> None:
    page = open_page(port)
    snap(page)
    answered(page)
    buttons = page.locator("[data-cue=side_linkage] button").all_text_contents()
    assert buttons[:2] == [WORDS["yes"], WORDS["no"]]
    assert WORDS["present"] in WORDS["yes"] and WORDS["absent"] in WORDS["no"]
