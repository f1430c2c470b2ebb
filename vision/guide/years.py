"""Years in EDTF, levels 0 and 1: a thin typed wrapper round the edtf library.

Source: Extended Date/Time Format specification, Library of Congress, 4 February 2019.
"""

from __future__ import annotations

import warnings
from functools import cache, lru_cache
from types import ModuleType

from vision.guide.remedies import years_remedy
from vision.records import YEAR_UNKNOWN

# A date outside this span is a slip of the pen: no model steam locomotive is older
# than the steam locomotive (1804), and none comes from the future. Chosen.
FIRST_YEAR = 1804
LAST_YEAR = 2100

_LEVELS_0_AND_1 = frozenset(
    [
        "Date",
        "DateAndTime",
        "Interval",
        "UncertainOrApproximate",
        "Unspecified",
        "Level1Interval",
        "LongYear",
        "Season",
    ]
)


@cache
def _edtf() -> ModuleType:
    # The library warns about its own grammar while it is imported, which would turn
    # into an error wherever warnings are errors.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import edtf
    return edtf


# The library takes hundredths of a second for a value, and a guide is full of them.
@lru_cache(maxsize=1024)
def year_bounds(text: str) -> tuple[int | None, int | None]:
    """First and last year that an EDTF value of level 0 or 1 covers.

    Qualifiers ("1931?", "1931~") are accepted and leave the bounds as written.

    Parameters
    ----------
    text : str
        Such as "1931", "1931/1932", "193X", "1931-04", "1938/..".

    Returns
    -------
    (int | None, int | None)
        None for an end that is open or unknown.

    Raises
    ------
    ValueError
        Not EDTF, EDTF of level 2, or an interval that runs backwards.

    Examples
    --------
    >>> year_bounds("1931/1932")
    (1931, 1932)
    >>> year_bounds("193X")
    (1930, 1939)
    """
    edtf = _edtf()
    try:
        parsed = edtf.parse_edtf(text)
    except edtf.EDTFParseException:
        message = f'"{text}" is not a year or an interval in EDTF{years_remedy(text)}'
        raise ValueError(message) from None
    if type(parsed).__name__ not in _LEVELS_0_AND_1:
        message = f'"{text}" is EDTF level 2; years need level 0 or 1{years_remedy(text)}'
        raise ValueError(message)
    start, slash, end = text.partition("/")
    # An end left out is unknown; the library would guess ten years.
    first = None if slash and start in ("", "..") else int(parsed.lower_strict()[0])
    last = None if slash and end in ("", "..") else int(parsed.upper_strict()[0])
    if first is not None and last is not None and parsed.lower_strict() > parsed.upper_strict():
        raise ValueError(f'years run backwards in "{text}"')
    return first, last


def years_of(text: str) -> tuple[int, ...]:
    """Every calendar year of an EDTF value with two known ends.

    Raises
    ------
    ValueError
        As `year_bounds`; also for an open or unknown end, or a year that no model
        of a steam locomotive can have.

    Examples
    --------
    >>> years_of("1931/1933")
    (1931, 1932, 1933)
    """
    first, last = year_bounds(text)
    if first is None or last is None:
        raise ValueError(f'"{text}" has an open end; a variation needs a first and a last year')
    if first < FIRST_YEAR or last > LAST_YEAR:
        raise ValueError(f'"{text}" lies outside {FIRST_YEAR} to {LAST_YEAR}')
    return tuple(range(first, last + 1))


def write_years(years: tuple[int, ...]) -> str:
    """Years as EDTF: a year, an interval, or one of a set.

    Raises
    ------
    ValueError
        No year.

    Examples
    --------
    >>> write_years((1934,)), write_years((1931, 1932)), write_years((1931, 1932, 1934))
    ('1934', '1931/1932', '[1931..1932,1934]')
    """
    if not years:
        raise ValueError("years: at least one expected, got none")
    runs: list[list[int]] = []
    for year in sorted(set(years)):
        if runs and year == runs[-1][-1] + 1:
            runs[-1].append(year)
        else:
            runs.append([year])
    if len(runs) == 1:
        first, last = runs[0][0], runs[0][-1]
        return f"{first:04d}" if first == last else f"{first:04d}/{last:04d}"
    spans = (f"{r[0]:04d}" if len(r) == 1 else f"{r[0]:04d}..{r[-1]:04d}" for r in runs)
    return f"[{','.join(spans)}]"


def covered_years(edtf: str) -> tuple[int, ...]:
    """Every calendar year of what `write_years` wrote.

    Parameters
    ----------
    edtf : str
        Also "" and "XXXX", which cover none.

    Raises
    ------
    ValueError
        Anything else.

    Examples
    --------
    >>> covered_years("[1931..1932,1934]"), covered_years("1937/1938"), covered_years("XXXX")
    ((1931, 1932, 1934), (1937, 1938), ())
    """
    if edtf in ("", YEAR_UNKNOWN):
        return ()
    # Sets are EDTF level 2, which guides do not use and `years_of` refuses.
    runs = [run.partition("/") for run in edtf.strip("[]").replace("..", "/").split(",")]
    return tuple(y for first, _, last in runs for y in range(int(first), int(last or first) + 1))
