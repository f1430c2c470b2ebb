"""A guide of one variation: what dates a photo to it, and what its check says of that."""

import tomllib
from dataclasses import replace

import pytest

from answers import answer
from guides import cue, unseen, value
from vision.estimate import by_variation, estimate, prior, replay
from vision.guide import build_guide, check_guide
from vision.listings.dating import dating_words
from vision.report import answer_html, answer_json
from vision.report.words import candidates_words, headline

ALONE = """
title = "One row"
gauge = "0"
gauge_mm = 32
scale = 45
wheels = "{wheels}"
[[variation]]
id = "V1"
years = "1931"
{row}
"""
# What a photo may show against a guide whose one row states the opposite, or a part of it.
AGAINST = {
    "driving axles": value("driving_axles", "5", 0.97),
    "tender coupled": cue("tender_coupled", 0.97),
    "switch lever": cue("switch_lever", 0.03),
    "side linkage": cue("side_linkage", 0.97),
    "edge stripe": cue("edge_stripe", 0.97),
    "cab number": value("cab_number", "88", 0.97),
    "tender": value("tender_axles", "3", 0.97),
}


@pytest.mark.parametrize(
    ("wheels", "row", "told"),
    [
        ("0-6-2T", 'cab_number = "7"', "driving axles, tender coupled, cab number"),
        ("4-6-2", 'edge_stripe = "absent"', "driving axles, edge stripe"),
        ("4-6-2", 'side_linkage = "absent"\nswitch_lever = "present"',
         "driving axles, switch lever, side linkage"),
        ("4-6-2", 'tenders = ["K"]\n[[tender]]\nid = "K"\naxles = 4\nlamps = 0',
         "driving axles, tender"),
        ("4-6-2", 'cab_number = "A10"', "driving axles, cab number"),
    ],
)  # fmt: skip
def test_a_guide_of_one_variation_is_told_what_it_dates(wheels, row, told):
    """Any engine was dated to it, and the check found nothing to say."""
    text = ALONE.format(wheels=wheels, row=row)
    finding = next(f for f in check_guide(text, "one.toml") if "only variation" in f.message)
    assert (finding.severity, finding.line) == (
        "warning",
        text.splitlines().index("[[variation]]") + 1,
    )
    assert finding.message.startswith('"V1" is the only variation: a photo of such an engine is ')
    assert finding.message.endswith(f"counts against the guide as a whole ({told})")
    # As the dating has it: what is named makes another engine likelier, nothing else does.
    guide = build_guide(tomllib.loads(text), "one")
    outside = prior(guide)["other"]
    for name, seen in AGAINST.items():
        after = by_variation(replay(guide, estimate(guide, [seen]).steps))["other"]
        assert (after > 1.2 * outside) is (name in told.split(", ")), name


SILENT = ALONE.format(wheels="0-6-0", row="")
# What is read of an engine that such a guide may date; its three driving axles are many engines'.
SEEN = (
    value("driving_axles", "3", 0.96),
    cue("switch_lever", 0.98),
    cue("edge_stripe", 0.99),
    value("cab_number", "316", 0.95),
)


@pytest.mark.parametrize("seen", [(unseen("switch_lever"),), SEEN])
def test_a_guide_that_says_nothing_dates_nothing(seen):
    """Any engine was "1931, extremely likely (96 %)", beside rows without support either way."""
    guide = build_guide(tomllib.loads(SILENT), "silent")
    told = replace(answer(), cues=seen, estimate=estimate(guide, seen))
    apart = "nothing in view tells the guide's one variation from another engine"
    assert headline(told) == ("not narrowed down", f"{apart}; the guide has 1931")
    assert candidates_words(told.estimate).startswith("by the guide alone: V1 (1931) ")
    assert "<h2>Variations, by the guide alone</h2>" in answer_html(told)
    record = {"answer": answer_json(told)}
    assert dating_words(record) == ("not narrowed down", apart)


def test_what_speaks_for_the_one_variation_dates_to_it():
    text = ALONE.format(wheels="0-6-0", row='cab_number = "316"\nedge_stripe = "present"')
    guide = build_guide(tomllib.loads(text), "one")
    told = replace(answer(), cues=SEEN, estimate=estimate(guide, SEEN))
    assert headline(told)[0] == "1931"
    assert candidates_words(told.estimate).startswith("V1 (1931) ")
    # Of nothing seen, nothing is said.
    hidden = replace(told, estimate=estimate(guide, [unseen("edge_stripe")]))
    assert headline(hidden)[0] == "not narrowed down"


@pytest.mark.parametrize(
    ("row", "warned"),
    [
        ("", True),
        ('cab_number = "A10"', True),
        ('magnets = "present"', True),
        ('cab_number = "10"', False),
        ('edge_stripe = "absent"', False),
        ('tenders = ["K"]\n[[tender]]\nid = "K"\naxles = 4\nlamps = 0', False),
    ],
)
def test_the_check_names_a_guide_that_no_photo_can_tell(row, warned):
    check = '[[check]]\nid = "magnets"\nquestion = "?"\ninstruction = "Look."\n'
    text = ALONE.format(wheels="0-6-0", row=row) + (check if "magnets" in row else "")
    said = [f for f in check_guide(text) if "anything that a photo can tell" in f.message]
    assert len(said) == warned
    for finding in said:
        assert finding.severity == "warning"
        assert finding.message.endswith(
            "state switch_lever, side_linkage, edge_stripe, cab_number or tenders"
        )


def test_two_variations_are_not_one():
    text = ALONE.format(wheels="4-6-2", row='side_linkage = "present"')
    assert len(check_guide(text)) == 1
    other = '[[variation]]\nid = "V2"\nyears = "1932"\nside_linkage = "absent"\n'
    assert check_guide(text + other) == ()
