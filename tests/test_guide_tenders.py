"""Tenders of a guide: their lettering, and the suffixes that collectors give them."""

from guides import load_text
from vision.guide import (
    base_tender,
    builtin_text,
    check_guide,
    pairs,
    starter_text,
)


def starter_with(tender):
    """The starter guide, its first tender with other lines of its own."""
    return starter_text().replace("lamps = 0                    # at the rear", tender)


def test_lettering_of_a_tender_is_optional_and_true_or_false():
    assert "lettering" in starter_text()
    plain = load_text(starter_text())
    assert [t.lettering for t in plain.tenders] == [None, None] and not plain.tells_lettering
    for word, there in (("true", True), ("false", False)):
        text = starter_with(f"lamps = 0\nlettering = {word}")
        guide = load_text(text.replace('tenders = ["A"]  ', 'tenders = ["B"]  '))
        assert [t.lettering for t in guide.tenders] == [there, None] and guide.tells_lettering
    for wrong in ('"yes"', "1", "0.5"):
        (finding,) = check_guide(starter_with(f"lamps = 0\nlettering = {wrong}"))
        assert finding.severity == "error" and '"lettering" must be true or false' in str(finding)
    (finding,) = check_guide(starter_with("lamps = true"))
    assert '"lamps" must be a whole number' in str(finding)


def test_the_starter_guide_shows_how_to_say_it():
    text = starter_text().replace("# lettering = true ", "lettering = true ")
    assert load_text(text).tenders[0].lettering is True


def test_a_suffix_that_marks_more_than_lettering_is_doubted():
    """Common practice, no source."""
    more = '\n\n[[tender]]\nid = "A-2"\naxles = {}\nlamps = 0\nlettering = true'
    same, other = (starter_with("lamps = 0\nlettering = false" + more.format(n)) for n in (4, 6))
    belonging = ('tenders = ["A", "B"]', 'tenders = ["A", "A-2", "B"]')
    assert check_guide(same.replace(*belonging)) == ()
    (finding,) = check_guide(other.replace(*belonging))
    assert finding.severity == "warning" and "a suffix marks lettering alone" in finding.message


def test_a_suffix_that_is_taken_for_a_lettered_tender_is_doubted():
    text = starter_text().replace('tenders = ["A", "B"]', 'tenders = ["A-2", "B"]')
    assert check_guide(text) == ()
    lettered = text.replace("# lettering = true ", "lettering = true ")
    (finding,) = check_guide(lettered)
    assert finding.severity == "warning" and 'tender "A-2" is taken for "A"' in finding.message


def test_lettering_tells_tenders_apart_only_where_both_are_said():
    for one, other in (("true", "false"), ("true", "true"), ("true", "")):
        said = f"\nlettering = {other}" if other else ""
        text = f"""
title = "T"
gauge = "0"
gauge_mm = 32
scale = 45
wheels = "4-6-2"
[[tender]]
id = "A"
axles = 4
lamps = 0
lettering = {one}
[[tender]]
id = "B"
axles = 4
lamps = 0{said}
[[variation]]
id = "V1"
years = "1931"
tenders = ["A"]
[[variation]]
id = "V2"
years = "1932"
tenders = ["B"]
"""
        (pair,) = pairs(load_text(text))
        assert pair.in_photos == (("tender",) if other == "false" else ())


def test_a_tender_suffix_marks_lettering_alone():
    """Common practice, no source: a dash number or suffix is the lettering only."""
    text = builtin_text("wayfarer").replace('tenders = ["M"]', 'tenders = ["M-2", "M-W"]')
    assert check_guide(text) == ()
    assert load_text(text).variation("W6").tenders == ("M",)
    assert base_tender("K-2-W", ("K", "L")) == "K"
    assert base_tender("K-2", ("K", "K-2")) == "K-2"
    assert base_tender("Q-2", ("K",)) is None
