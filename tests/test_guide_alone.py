"""The check of a guide of one variation: every photo of such an engine is dated to it."""

import tomllib

import pytest

from guides import cue, value
from vision.estimate import by_variation, estimate, prior, replay
from vision.guide import build_guide, check_guide

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
    assert finding.message.startswith('"V1" is the only variation: every photo of such an engine ')
    assert finding.message.endswith(f"counts against the guide as a whole ({told})")
    # As the dating has it: what is named makes another engine likelier, nothing else does.
    guide = build_guide(tomllib.loads(text), "one")
    outside = prior(guide)["other"]
    for name, seen in AGAINST.items():
        after = by_variation(replay(guide, estimate(guide, [seen]).steps))["other"]
        assert (after > 1.2 * outside) is (name in told.split(", ")), name


def test_two_variations_are_not_one():
    text = ALONE.format(wheels="4-6-2", row='switch_lever = "present"')
    assert len(check_guide(text)) == 1
    other = '[[variation]]\nid = "V2"\nyears = "1932"\nswitch_lever = "absent"\n'
    assert check_guide(text + other) == ()
