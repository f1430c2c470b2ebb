"""Years and ranges of years in a plain text, as EDTF (ISO 8601-2)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from vision.guide import write_years
from vision.listings.negation import denial
from vision.listings.plain import one_of, vocabulary

# No model of a steam locomotive is older than the steam locomotive, none from the future.
FIRST, LAST = 1804, 2030
# Which century "'34" belongs to: models of this kind are of the twentieth. Common
# practice, no source.
CENTURY = 1900
# Years on either side that "about 1935" and "about 1934 to 1936" allow. Chosen, wide:
# a listing is not contradicted over a year.
LEEWAY, RANGE_LEEWAY = 2, 1
# What "early", "mid" and "late" mean of a decade. Common practice, no source; they
# overlap since people differ.
THIRDS = {"early": (0, 4), "mid": (3, 7), "late": (6, 9)}
# Lists of words that make a year a limit.
SIDES = ("before", "until", "after", "since")


@dataclass(frozen=True, slots=True)
class YearWords:
    """Years named in a text: where, what in EDTF, and every year that it covers.

    What denies them belongs to the words. Only "no later than 1937" and its like, denied
    limits, still say when; the rest are marked as `denied`.
    """

    start: int
    end: int
    edtf: str
    years: tuple[int, ...]
    leeway: int
    denied: bool = False


@cache
def _pattern() -> re.Pattern[str]:
    words = vocabulary()["years"]
    about = rf"(?P<about>(?:{one_of(words['about'], whole=False)})\.?\s*|~\s*)?"
    # Neither part of a longer number, nor an amount, size or weight.
    begins = r"(?<![\w.,#/$€£'-])"
    ends = r"(?![\d]|[.,]\d|\s*(?:mm|cm|kg|g|eur|usd|gbp|chf)\b|\s?[€£$])"
    return re.compile(f"{begins}(?:{about}(?:{_limit()}|{_decades()}|{_span()}){ends})")


_YEAR = r"(?:(?:18|19|20)\d\d)"


def _limit() -> str:
    words = vocabulary()["years"]
    sides = (rf"(?P<{side}>{one_of(words[side], whole=False)})" for side in SIDES)
    # "Dal 1934 al 1936" is a range, with its own end.
    range_ = rf"(?(since)(?!\s*[-/]\s*'?\d|\s+{one_of(words['to'])}\s+'?\d))"
    return rf"(?:{'|'.join(sides)})[\s-]+(?P<limit>{_YEAR}){range_}"


def _decades() -> str:
    words = vocabulary()["years"]
    thirds = "|".join(f"(?P<{third}>{one_of(words[third], whole=False)})" for third in THIRDS)
    behind = r"(?P<decade>(?:(?:18|19|20)\d0|'?[1-9]0))(?:'?s\b|er\b(?:\s+jahre?n?\b)?)"
    ahead = r"(?:années|anni|años|jaren)\s+'?(?P<ahead>(?:(?:18|19|20)\d|[1-9])0)(?!\d)"
    article = r"(?:the\s+|der\s+|des\s+|de los\s+)?"
    return rf"(?:(?:{thirds})[\s-]+)?{article}(?:{behind}|{ahead})"


def _span() -> str:
    words = vocabulary()["years"]
    to, either = one_of(words["to"]), one_of(words["or"])
    last = rf"(?:\s*[-/]\s*|\s+{to}\s+)'?(?P<last>{_YEAR}|\d\d)"
    second = rf"\s+{either}\s+'?(?P<second>{_YEAR}|\d\d)"
    first = rf"(?P<first>{_YEAR}|'\d\d)(?P<mark>[?~])?"
    return rf"{first}(?:{last}|{second})?(?P<mark2>[?~])?"


def find_years(text: str) -> Iterator[YearWords]:
    """Every year or range of years in a plain text, whatever it is the year of.

    Examples
    --------
    >>> [found.edtf for found in find_years("1934, '34-36, mid 30s, c. 1935")]
    ['1934', '1934/1936', '1933~/1937~', '1935~']
    >>> [found.edtf for found in find_years("no later than 1937, before 1937")]
    ['../1937', '../1936']
    """
    last_denied = -1
    for match in _pattern().finditer(text):
        begins = denial(text, match.start(), last_denied)
        # "Not until 1937" may mean either side of it.
        turned = begins >= 0 and bool(match["before"] or match["after"])
        denied = begins >= 0 and not turned
        last_denied = match.end() if denied else -1
        found = _limited(match, denied=turned) if match["limit"] else _read(match)
        if found is not None and found[1] and all(FIRST <= y <= LAST for y in found[1]):
            edtf, years, leeway = found
            start = begins if begins >= 0 else match.start()
            yield YearWords(start, match.end(), edtf, years, leeway, denied)


def _limited(match: re.Match[str], *, denied: bool) -> tuple[str, tuple[int, ...], int]:
    """Years up to a limit or from it on; "not before" a year is from that year on."""
    year = int(match["limit"])
    if match["before"] and not denied:
        year -= 1
    elif match["after"] and not denied:
        year += 1
    ends = bool(match["before"] or match["until"])
    if ends != denied:
        return f"../{year}", tuple(range(FIRST, year + 1)), 0
    return f"{year}/..", tuple(range(year, LAST + 1)), 0


def _read(match: re.Match[str]) -> tuple[str, tuple[int, ...], int] | None:
    if match["decade"] or match["ahead"]:
        return _decade(match)
    first = _whole(match["first"])
    about = bool(match["about"]) or "~" in (match["mark"], match["mark2"])
    doubt = "?" in (match["mark"], match["mark2"])
    sign = {(True, True): "%", (True, False): "~", (False, True): "?"}.get((about, doubt), "")
    leeway = LEEWAY if sign else 0
    if match["second"]:
        second = _whole(match["second"], first)
        return write_years((first, second)), tuple(sorted({first, second})), leeway
    if not match["last"]:
        return f"{first}{sign}", (first,), leeway
    last = _whole(match["last"], first)
    if last < first or last - first > 60:
        return None
    return (
        f"{first}{sign}/{last}{sign}",
        tuple(range(first, last + 1)),
        RANGE_LEEWAY if sign else 0,
    )


def _decade(match: re.Match[str]) -> tuple[str, tuple[int, ...], int]:
    start = _whole((match["decade"] or match["ahead"]).lstrip("'"))
    third = next((name for name in THIRDS if match[name]), None)
    if third is None:
        leeway = RANGE_LEEWAY if match["about"] else 0
        return f"{start // 10}X", tuple(range(start, start + 10)), leeway
    low, high = THIRDS[third]
    first, last = start + low, start + high
    return f"{first}~/{last}~", tuple(range(first, last + 1)), 0


def _whole(text: str, like: int = CENTURY) -> int:
    text = text.lstrip("'")
    return int(text) if len(text) == 4 else like // 100 * 100 + int(text)
