"""The check of a guide names what to write instead, and guides that pass but cannot work."""

import tomllib
from pathlib import Path

import edtf
import pytest

from guides import load_text
from vision.estimate import prior
from vision.guide import build_guide, check_guide, load_guide, starter_text, years_of
from vision.guide.remedies import number_remedy, share_remedy, toml_remedy, years_remedy
from vision.records import GuideError


def starter(old: str, new: str, count: int = 1) -> str:
    text = starter_text()
    assert old in text
    return text.replace(old, new, count)


def the_finding(text: str, words: str):
    (finding,) = (f for f in check_guide(text, "mine.toml") if words in f.message)
    return finding


# --- what to write instead -----------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("1931–1932", "1931/1932"),  # as telltale itself prints years
        ("1931-1932", "1931/1932"),
        ("1931 — 1932", "1931/1932"),
        ("1931 to 1932", "1931/1932"),
        ("1931–32", "1931/1932"),
        ("1898–02", None),
        ("1932–1931", None),
        ("c. 1931", "1931~"),
        ("circa 1931", "1931~"),
        ("1930s", "193X"),
        ("about then", None),
        ("[1931,1933]", None),
    ],
)
def test_years_that_are_not_edtf_are_told_how_to_be_written(written, meant):
    text = starter('years = "1931/1932"\ncab', f'years = "{written}"\ncab')
    finding = the_finding(text, written)
    assert finding.severity == "error"
    assert text.splitlines()[finding.line - 1] == f'years = "{written}"'
    expected = f'write "{meant}"' if meant else 'write a year as "1931", several as "1931/1932"'
    assert finding.message.endswith(f"; {expected}")
    if meant:
        # The library of the standard takes it, for the same years.
        assert str(edtf.parse_edtf(meant)) == meant
        load_text(text.replace(written, meant))


def test_the_remedy_for_years_is_one_for_every_pair_of_years():
    for first, last in ((1899, 1901), (1931, 1939), (1999, 2001)):
        remedy = years_remedy(f"{first}–{last}").partition('"')[2].rstrip('"')
        assert years_of(remedy) == tuple(range(first, last + 1))


@pytest.mark.parametrize(
    ("old", "new", "ends"),
    [
        ('cab_number = "101" ', 'cab_number = "E 105" ', 'got "E 105"; write "E105"'),
        ('cab_number = "101" ', 'cab_number = "No. 12-3" ', '; write "No123"'),
        ('cab_number = "101" ', 'cab_number = "123456789" ', 'alone, got "123456789"'),
        ('switch_lever = "present" ', "switch_lever = true ", 'got true; write "present"'),
        ('switch_lever = "present" ', "switch_lever = false ", 'got false; write "absent"'),
        ('switch_lever = "present" ', 'switch_lever = "No" ', 'got "No"; write "absent"'),
        ('switch_lever = "present" ', 'switch_lever = "presnt" ', 'did you mean "present"?'),
        ('switch_lever = "present" ', 'switch_lever = "?" ', "leave the line out where you do not "
         "know"),
        ("other = 0.04 ", 'other = "4%" ', 'got "4%"; write 0.04'),
        ("other = 0.04 ", "other = 4 ", "got 4; write 0.04"),
        ("other = 0.04 ", 'other = "0,04" ', "; write 0.04"),
        ("other = 0.04 ", "other = 0.7 ", "0 to 0.5, got 0.7"),
        ("other = 0.04 ", "other = true ", "got true"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_told_how_to_be_written(old, new, ends):
    text = starter(old, new)
    finding = next(f for f in check_guide(text) if f.severity == "error")
    assert new.strip() in text.splitlines()[finding.line - 1]
    assert finding.message.endswith(ends)


def test_what_is_written_instead_passes():
    assert number_remedy("E 105") == '; write "E105"'
    load_text(starter('cab_number = "101"', 'cab_number = "E105"'))
    for told in ("4 %", 4, "0,04"):
        assert share_remedy(told) == "; write 0.04"


@pytest.mark.parametrize(
    ("old", "new", "remedy"),
    [
        ('title = "My express"', 'title = "My express', "close the text with a quote on its line"),
        ('title = "My express"', "title = 'My express", "close the text with a quote on its line"),
        ('title = "My express"', "title = “My express”", 'write straight quotes: "text"'),
        ("lost = 0.05,", "lost = 0,05,", "write a decimal point: 0.05"),
        ("scale = 45 ", "scale = 43,5 ", "write a decimal point: 43.5"),
        ('title = "My express"', "title = My express", "write text in quotes"),
        ('title = "My express"', 'title "My express"', "write key = value"),
        ('[[variation]]\nid = "V2"', '[variation]\nid = "V2"', "[[variation]]"),
        ('version = "1"', 'version = "1"\nversion = "2"', "each key stands once"),
        ('tenders = ["A"] ', 'tenders = ["A" ', "end the list with ]"),
    ],
)
def test_what_is_not_toml_is_told_what_to_do(old, new, remedy):
    """The missing quote was "Illegal character '\\n'"."""
    text = starter(old, new)
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)
    (finding,) = check_guide(text)
    assert finding.message.startswith("not TOML: ")
    assert remedy in finding.message.partition(";")[2]


def test_no_remedy_is_made_up():
    assert toml_remedy("Something new", "a = 1") == ""
    # A comma within a text is none in a number.
    assert "close the text" in toml_remedy("Illegal character '\\n'", 'text = "turn 1,5 times')


def test_a_guide_in_another_encoding_is_told_to_be_saved_as_utf8(tmp_path: Path):
    own = tmp_path / "own.toml"
    own.write_bytes(starter("A maker", "Ä maker").encode("latin-1"))
    with pytest.raises(GuideError, match="save it as UTF-8"):
        load_guide(own)


# --- guides that pass, but cannot work -------------------------------------------------


def rated(other: float, reproduction: float) -> str:
    text = starter("other = 0.04 ", f"other = {other} ")
    return text.replace("reproduction = 0.01 ", f"reproduction = {reproduction} ")


def test_rates_that_leave_no_engine_to_the_guide_are_an_error():
    """It was accepted, and every photo was "not in this guide over 99 %"."""
    text = rated(0.5, 0.5)
    finding = the_finding(text, "leave no engine to the guide")
    assert finding.severity == "error"
    assert "other = 0.5" in text.splitlines()[finding.line - 1]


@pytest.mark.parametrize(
    ("other", "reproduction", "warned"), [(0.5, 0.0, True), (0.3, 0.25, True), (0.3, 0.1, False)]
)
def test_rates_that_make_most_engines_strangers_are_a_warning(other, reproduction, warned):
    text = rated(other, reproduction)
    said = [f for f in check_guide(text) if "together make" in f.message]
    assert [f.severity for f in said] == ["warning"] * warned
    # As the dating has it: before anything is seen, the engine is none of the guide's.
    guide = build_guide(tomllib.loads(text), "rated")
    assert (prior(guide)["other"] >= 0.5) is warned
    for finding in said:
        assert f"{100 * (other + reproduction):g} %" in finding.message


def test_a_guide_with_a_lever_but_no_place_is_told_of_lever_at():
    line = next(line for line in starter_text().splitlines() if line.startswith("lever_at"))
    text = starter(f"{line}\n", "")
    finding = the_finding(text, "missing lever_at")
    assert finding.severity == "warning"
    assert text.splitlines()[finding.line - 1].startswith("switch_lever = ")
    # A casting without a lever has no place for one.
    none = text.replace('switch_lever = "present"', 'switch_lever = "absent"')
    assert not [f for f in check_guide(none) if "lever_at" in f.message]


def test_an_empty_list_of_cab_numbers_is_told():
    text = starter('cab_number = "101"', "cab_number = []")
    finding = the_finding(text, "empty list")
    assert finding.severity == "warning"
    assert "cab_number" in text.splitlines()[finding.line - 1]
    assert "leave the line out" in finding.message


@pytest.mark.parametrize("caution", ["", 'caution = "  "'])
def test_a_check_by_hand_without_a_caution_is_told(caution):
    line = next(line for line in starter_text().splitlines() if line.startswith("caution"))
    text = starter(line, caution)
    finding = the_finding(text, 'check "brass_gears" has no caution')
    assert finding.severity == "warning"
    assert text.splitlines()[finding.line - 1] == "[[check]]"
    assert "say what to mind" in finding.message
