"""Guides: reading them, and checking them line by line."""

import doctest
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import vision.guide.lines
import vision.guide.trade
import vision.guide.years
from guides import EXAMPLES, load_text
from vision.guide import (
    build_guide,
    builtin_names,
    builtin_text,
    check_guide,
    confusable,
    find_gauge,
    gauge_objections,
    load_guide,
    pairs,
    starter_text,
)
from vision.records import GuideError, State


def test_wrong_gauge_figures_are_named_with_their_line():
    text = builtin_text("brindle").replace("gauge_mm = 45", "gauge_mm = 32")
    (finding,) = check_guide(text)
    assert finding.severity == "warning"
    assert finding.line == text.splitlines().index("gauge_mm = 32") + 1
    assert "45 mm" in finding.message
    assert "32 mm" in finding.message
    assert find_gauge("17") is None
    assert gauge_objections("17", 1.0, 1.0) == ()


@pytest.mark.parametrize("name", builtin_names())
def test_shipped_guides_have_nothing_to_say(name):
    assert check_guide(builtin_text(name), name) == ()
    guide = load_guide(name)
    assert guide.name == name
    assert len(guide.sha256) == 64
    assert confusable(guide) == ()
    assert not gauge_objections(guide.gauge, guide.gauge_mm, guide.scale)


def test_the_default_guide_is_the_express():
    assert load_guide() == load_guide("wayfarer")


def test_starter_passes_its_own_check():
    assert check_guide(starter_text(), "starter") == ()
    assert starter_text().count("#") > 15


def test_express_table():
    """The table of the example, row by row."""
    rows = {
        v.id: (
            v.edtf,
            *v.numbers,
            *(v.expects[c].value[0] for c in ("switch_lever", "side_linkage", "edge_stripe")),
            v.stripe_colour,
            "".join(v.tenders),
            *(v.expects[c].value[0] for c in ("axle_magnets", "smoke_unit")),
        )
        for v in load_guide("wayfarer").variations
    }
    assert rows == {
        "W1": ("1931/1932", "310", "p", "a", "a", None, "K", "a", "a"),
        "W2": ("1933", "310", "p", "p", "a", None, "K", "a", "a"),
        "W3": ("1934", "316", "a", "p", "p", "cream", "KL", "a", "a"),
        "W4": ("1935/1936", "316", "a", "a", "p", "cream", "L", "p", "a"),
        "W5": ("1937", "316", "p", "a", "p", "cream", "L", "p", "p"),
        "W6": ("1938/1939", "322", "p", "p", "p", "red", "M", "p", "p"),
    }


def test_tank_engine_has_no_tender():
    guide = load_guide("brindle")
    assert guide.tenders == ()
    assert all(v.tenders == () for v in guide.variations)
    assert [v.numbers for v in guide.variations] == [("7",), ("7",), ("12",), ("12",), ("15",)]


SLIPS = [
    # (what stands there, what is written instead, line of which text, message has)
    ('id = "W2"\n', "", '[[variation]]\nyears = "1933"', 'missing "id"'),
    ("title = 'Ostrander & Fell \"Wayfarer\" express'\n", "", None, 'missing "title"'),
    ('id = "W2"', 'id = "W1"', 'id = "W1"\nyears = "1933"', "there twice"),
    ('id = "W2"', 'id = "Other"', 'id = "Other"', "cannot be used"),
    ("smoke_unit = ", "smoke_unti = ", "smoke_unti = ", 'did you mean "smoke_unit"'),
    ('switch_lever = "present"', 'switch_lever = "maybe"', 'switch_lever = "maybe"', 'got "maybe"'),
    ('tenders = ["M"]', 'tenders = ["Q"]', 'tenders = ["Q"]', 'unknown tender "Q"'),
    ('tenders = ["M"]', 'tenders = "M"', 'tenders = "M"', "as a list"),
    ("axles = 4", 'axles = "four"', 'axles = "four"', "whole number"),
    ("axles = 4", "axles = 40", "axles = 40", "1 to 9"),
    ("other = 0.03", "other = 3", "other = 3", "share"),
    ("other = 0.03", "othr = 0.03", "othr", 'did you mean "other"'),
    ("lost = 0.05, added = 0.01", "lots = 0.05", "lots", 'did you mean "lost"'),
    ('wheels = "4-6-2"', 'wheels = "462"', 'wheels = "462"', "Whyte"),
    ('id = "axle_magnets"', 'id = "cab_number"', 'id = "cab_number"', "already used"),
    ("gauge_mm = 32", "gauge_mm = -32", "gauge_mm = -32", "more than 0"),
    ('cab_number = "322"', 'cab_number = "no. 322"', 'cab_number = "no. 322"', "figures or"),
    ('colour = "red"', 'colour = "rde"', '"rde"', 'did you mean "red"'),
    ('colour = "red"', 'colour = "crimson"', "crimson", "white, cream"),
    ('colour = "red"', 'colour = ""', 'colour = ""', "white, cream"),
    ('colour = "red"', 'colour = "absent"', 'colour = "absent"', "no photo tells"),
    ('id = "W1"', 'id = "W1"\noutput = inf', "output = inf", "got inf"),
    ("[[tender]]", "[tender]", None, ""),
]


@pytest.mark.parametrize(("old", "new", "where", "message"), SLIPS)
def test_a_slip_is_found_on_its_line(old, new, where, message):
    text = builtin_text("wayfarer")
    assert old in text
    text = text.replace(old, new, 1)
    errors = [f for f in check_guide(text, "mine.toml") if f.severity == "error"]
    assert errors
    assert any(message in f.message for f in errors)
    if where is not None:
        line = text[: text.index(where)].count("\n") + 1
        assert line in {f.line for f in errors}
    with pytest.raises(GuideError, match=r"mine\.toml"):
        load_text(text)


@pytest.mark.parametrize("suffix", ["T", "ST", "PT"])
def test_a_tank_engine_with_tenders_is_named(suffix):
    """A suffix with T is of an engine that carries its water itself: Whyte notation."""
    text = builtin_text("wayfarer").replace('wheels = "4-6-2"', f'wheels = "4-6-2{suffix}"')
    (finding,) = check_guide(text)
    assert finding.severity == "warning"
    assert finding.line == text[: text.index("wheels =")].count("\n") + 1
    assert f'"4-6-2{suffix}" names a tank engine' in finding.message
    assert not check_guide(builtin_text("brindle"))


def test_look_alikes_are_named_with_the_check_that_helps():
    text = builtin_text("wayfarer").replace(
        'edge_stripe = "present"\nedge_stripe_colour = "cream"\ntenders = ["L"]\n'
        'axle_magnets = "present"\nsmoke_unit = "present"',
        'edge_stripe = "present"\nedge_stripe_colour = "cream"\ntenders = ["L"]\n'
        'axle_magnets = "present"\nsmoke_unit = "present"\ntext = "x"',
    )
    text = text.replace('switch_lever = "present"    # returns', 'switch_lever = "absent"  # ret')
    (finding,) = check_guide(text)
    assert finding.severity == "warning"
    for word in ('"W4"', '"W5"', "smoke_unit"):
        assert word in finding.message
    (pair,) = confusable(load_text(text))
    assert (pair.first, pair.second, pair.told_apart_by) == ("W4", "W5", ("smoke_unit",))


def test_look_alikes_that_nothing_tells_apart():
    text = starter_text() + '\n[[variation]]\nid = "V3"\nyears = "1934"\ncab_number = "105"\n'
    findings = check_guide(text)
    assert [f.severity for f in findings] == ["warning"]
    assert "nothing in this guide" in findings[0].message
    assert "V2" in findings[0].message


@pytest.mark.parametrize("number", ["A10", "310316"])
def test_a_number_that_no_photo_is_read_for_is_named(number):
    """The reader knows one to five figures (`vision.cues.spelling`), no letters."""
    text = builtin_text("wayfarer").replace('cab_number = "322"', f'cab_number = "{number}"')
    (finding,) = check_guide(text)
    assert finding.severity == "warning"
    assert finding.line == text[: text.index(number)].count("\n") + 1
    for words in ('variation "W6"', f'"{number}" is not read', f"--saw cab_number={number}"):
        assert words in finding.message
    both = text.replace('cab_number = "322"', f'cab_number = ["322", "{number}"]')
    assert [f.severity for f in check_guide(both)] == ["warning"]
    # What it does not count for in photos it still does by hand.
    pair = next(p for p in pairs(load_text(text)) if (p.first, p.second) == ("W1", "W6"))
    assert "cab_number" not in pair.in_photos
    assert pair.told_apart_by[0] == "cab_number"
    as_shipped = next(p for p in pairs(load_guide()) if (p.first, p.second) == ("W1", "W6"))
    assert "cab_number" in as_shipped.in_photos
    assert "cab_number" not in as_shipped.told_apart_by


def test_the_same_casting_under_two_numbers():
    """Common practice, no source: one casting sold under two numbers for two lines."""
    text = builtin_text("wayfarer").replace('cab_number = "322"', 'cab_number = ["322", "323"]')
    assert check_guide(text) == ()
    assert load_text(text).variation("W6").numbers == ("322", "323")


def test_a_feature_may_lapse_and_return():
    """Common practice, no source: a part lapses for lack of material and returns."""
    levers = [v.expects["switch_lever"] for v in load_guide("wayfarer").variations]
    p, a = State.PRESENT, State.ABSENT
    assert levers == [p, p, a, a, p, p]


def test_load_guide_from_a_file_with_a_byte_order_mark(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + starter_text().encode())
    assert load_guide(path).name == "mine"
    assert load_guide(str(path)).title == "My express"


def test_load_guide_says_what_is_wrong(tmp_path):
    with pytest.raises(GuideError, match="no such guide"):
        load_guide(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b'title = "\xe9"')
    with pytest.raises(GuideError, match="not UTF-8"):
        load_guide(tmp_path / "latin.toml")
    (tmp_path / "bad.toml").write_text('title = "x"\ngauge = \n', encoding="utf-8")
    with pytest.raises(GuideError, match=r"bad\.toml:2: error: not TOML"):
        load_guide(tmp_path / "bad.toml")
    with pytest.raises(GuideError, match="cannot be read"):
        load_guide(tmp_path)
    (tmp_path / "two.toml").write_text(
        starter_text().replace('"1933"', '"1933/"').replace('"4-6-2"', '"x"'), encoding="utf-8"
    )
    with pytest.raises(GuideError, match=r"two\.toml:11: .*1 more"):
        load_guide(tmp_path / "two.toml")


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.data())
def test_no_damage_to_a_guide_breaks_the_check(data):
    """Whatever is deleted or changed: findings with a line of the file, or a usable guide."""
    lines = builtin_text(data.draw(st.sampled_from(builtin_names()))).splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        junk = st.sampled_from(
            ["", "7", "x = []", "id = 3", "[[check]]", "[rates]", '"', "a.b = 1"]
        )
        lines[at] = data.draw(st.one_of(junk, st.sampled_from(lines)))
    text = "\n".join(lines)
    findings = check_guide(text, "g")
    assert all(1 <= f.line <= len(lines) for f in findings)
    if not any(f.severity == "error" for f in findings):
        assert build_guide(tomllib.loads(text), "g").variations


@pytest.mark.parametrize("module", [vision.guide.lines, vision.guide.trade, vision.guide.years])
def test_examples_in_docstrings(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
