"""A guide's own terms against published ones: years, wheel arrangements, gauges."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guides import EXAMPLES
from vision.guide import (
    build_guide,
    builtin_text,
    check_guide,
    covered_years,
    driving_axles,
    gauge_objections,
    whyte_to_uic,
    write_years,
    year_bounds,
    years_of,
)

# Extended Date/Time Format specification, Library of Congress, 4 February 2019,
# https://www.loc.gov/standards/datetime/ : its examples, with the years they cover.
LEVEL_0 = {
    "1985-04-12": (1985, 1985),
    "1985-04": (1985, 1985),
    "1985": (1985, 1985),
    "1985-04-12T23:20:30": (1985, 1985),
    "1985-04-12T23:20:30Z": (1985, 1985),
    "1985-04-12T23:20:30-04": (1985, 1985),
    "1985-04-12T23:20:30+04:30": (1985, 1985),
    "1964/2008": (1964, 2008),
    "2004-06/2006-08": (2004, 2006),
    "2004-02-01/2005-02-08": (2004, 2005),
    "2004-02-01/2005-02": (2004, 2005),
    "2004-02-01/2005": (2004, 2005),
    "2005/2006-02": (2005, 2006),
}
LEVEL_1 = {
    "2001-21": (2001, 2001),
    "1984?": (1984, 1984),
    "2004-06~": (2004, 2004),
    "2004-06-11%": (2004, 2004),
    "201X": (2010, 2019),
    "20XX": (2000, 2099),
    "2004-XX": (2004, 2004),
    "1985-04-XX": (1985, 1985),
    "1985-XX-XX": (1985, 1985),
    "1984~/2004-06": (1984, 2004),
    "1984/2004-06~": (1984, 2004),
    "1984?/2004%": (1984, 2004),
}
LEVEL_1_OPEN = {
    "1985-04-12/..": (1985, None),
    "1985-04/..": (1985, None),
    "1985/..": (1985, None),
    "../1985-04-12": (None, 1985),
    "../1985-04": (None, 1985),
    "../1985": (None, 1985),
    "1985-04-12/": (1985, None),
    "1985-04/": (1985, None),
    "1985/": (1985, None),
    "/1985-04-12": (None, 1985),
    "/1985-04": (None, 1985),
    "/1985": (None, 1985),
}
LEVEL_1_LONG = {
    "Y170000002": (170000002, 170000002),
    "Y-170000002": (-170000002, -170000002),
    "-1985": (-1985, -1985),
}
LEVEL_2 = ("[1667,1668,1670..1672]", "{1960,1961-12}", "156X-12-25", "[..1760-12-03]")


@pytest.mark.parametrize(
    ("text", "bounds"), (LEVEL_0 | LEVEL_1 | LEVEL_1_OPEN | LEVEL_1_LONG).items()
)
def test_edtf_levels_0_and_1_are_read(text, bounds):
    assert year_bounds(text) == bounds


@pytest.mark.parametrize(("text", "bounds"), (LEVEL_0 | LEVEL_1).items())
def test_a_guide_takes_every_closed_edtf_value(text, bounds):
    guide = builtin_text("wayfarer").replace('years = "1931/1932"', f'years = "{text}"')
    assert not check_guide(guide)
    years = build_guide(tomllib.loads(guide), "g").variations[0].years
    assert (years[0], years[-1]) == bounds
    assert years == tuple(range(bounds[0], bounds[1] + 1))


@pytest.mark.parametrize(
    "text",
    [*LEVEL_1_OPEN, *LEVEL_1_LONG, *LEVEL_2, "1932/1931", "1931-13", "thirties", "", "1931-1932"],
)
def test_a_guide_refuses_other_years_and_says_where(text):
    lines = builtin_text("wayfarer").splitlines()
    at = lines.index('years = "1931/1932"')
    lines[at] = f'years = "{text}"'
    findings = check_guide("\n".join(lines), "mine.toml")
    assert [(f.severity, f.line) for f in findings] == [("error", at + 1)]
    assert '"W1"' in findings[0].message


@settings(max_examples=EXAMPLES // 2, deadline=None)  # the library's grammar is slow
@given(st.sets(st.integers(1804, 2100), min_size=1, max_size=12))
def test_written_years_are_edtf_and_say_the_same_years(years):
    text = write_years(tuple(years))
    if text.startswith("["):
        # ISO 8601-2 set, one of: the library reads it; its members are counted here.
        import edtf

        assert type(edtf.parse_edtf(text)).__name__ == "OneOfASet"
        spans = [part.split("..") for part in text[1:-1].split(",")]
        members = {y for span in spans for y in range(int(span[0]), int(span[-1]) + 1)}
    else:
        members = set(years_of(text))
    assert members == years
    assert covered_years(text) == tuple(sorted(years))


def test_years_are_read_from_edtf_sets():
    # Forms of the EDTF specification, levels 0 and 2 ("one of a set").
    assert covered_years("1934") == (1934,)
    assert covered_years("1931/1933") == (1931, 1932, 1933)
    assert covered_years("[1667,1668,1670..1672]") == (1667, 1668, 1670, 1671, 1672)
    assert covered_years("XXXX") == covered_years("") == ()
    with pytest.raises(ValueError):
        covered_years("soon")


# Published equivalences of Whyte notation and UIC classification, as printed side by
# side in encyclopaedias; from memory.
ARRANGEMENTS = (
    ("0-4-0", "B"),
    ("0-6-0", "C"),
    ("0-6-0T", "C"),
    ("0-6-2T", "C1'"),
    ("0-8-0", "D"),
    ("2-4-0", "1'B"),
    ("2-4-2T", "1'B1'"),
    ("2-6-0", "1'C"),
    ("2-6-2", "1'C1'"),
    ("2-8-0", "1'D"),
    ("2-8-2", "1'D1'"),
    ("2-10-0", "1'E"),
    ("2-10-2", "1'E1'"),
    ("4-4-0", "2'B"),
    ("4-4-2", "2'B1'"),
    ("4-6-0", "2'C"),
    ("4-6-2", "2'C1'"),
    ("4-6-4", "2'C2'"),
    ("4-8-2", "2'D1'"),
    ("4-8-4", "2'D2'"),
    ("0-4-4-0", "B'B"),
    ("2-8-8-2", "(1'D)D1'"),
    ("4-8-8-4", "(2'D)D2'"),
    ("2-6-0+0-6-2", "(1'C)+(C1')"),
)


@pytest.mark.parametrize(("whyte", "uic"), ARRANGEMENTS)
def test_whyte_to_uic(whyte, uic):
    assert whyte_to_uic(whyte) == uic


@pytest.mark.parametrize(("whyte", "uic"), [*ARRANGEMENTS, ("2-2-2", "1A1"), ("4-2-2", "2'A1")])
def test_driving_axles_are_the_letters_of_the_uic_classification(whyte, uic):
    """A letter for each group of driving axles, A one, B two and so on (UIC leaflet 650, from
    memory)."""
    letters = [letter for letter in uic if letter.isalpha()]
    assert driving_axles(whyte) == sum("ABCDEFG".index(letter) + 1 for letter in letters)


@pytest.mark.parametrize("whyte", ["", "4-6", "4-5-2", "2-0-0", "C1'", "4-6-2-", "a-b-c"])
def test_what_is_not_whyte_notation_is_refused(whyte):
    with pytest.raises(ValueError, match=r".+"):
        whyte_to_uic(whyte)
    with pytest.raises(ValueError, match=r".+"):
        driving_axles(whyte)


# NEM 010 (MOROP, 2011), table 1, standard-gauge row: nominal size, scale, track in mm.
@pytest.mark.parametrize(
    ("name", "scale", "track_mm"),
    [
        ("Z", 220, 6.5),
        ("N", 160, 9),
        ("TT", 120, 12),
        ("H0", 87, 16.5),
        ("S", 64, 22.5),
        ("0", 45, 32),
        ("I", 32, 45),
        ("1", 32, 45),
        ("II", 22.5, 64),
        ("III", 16, 89),
        # NMRA S-1: O scale, quarter inch to the foot, 1.25 inch track; from memory.
        ("O", 48, 1.25 * 25.4),
        # NEM 010, note 3.4: 7 mm to the foot is 1:43.5.
        ("0", 304.8 / 7, 32),
    ],
)
def test_gauges_of_the_standards_fit(name, scale, track_mm):
    assert gauge_objections(name, track_mm, scale) == ()
