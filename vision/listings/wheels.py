"""The wheel arrangement that a seller states in Whyte notation, and the axles that it drives."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache

from vision.guide import GAUGES, driving_axles, find_gauge, names_tank_engine
from vision.listings.parts import Lexicon, Statement
from vision.listings.plain import SPACED, one_of, plain, vocabulary
from vision.listings.values import Claim, Kind
from vision.records import DRIVING

# Even figures without a leading zero. Eight carrying wheels at an end are more than engines
# have (common practice, from memory), which leaves out days with a month and a year of two
# figures: "4-6-12", "12-10-8".
_END, _DRIVEN = "[02468]", "(?:[2468]|1[0246])"
# Figures that rise by two are a row of sizes where they stand apart.
_SIZES = r"(?!0 - 2 - 4|2 - 4 - 6)"
# Characters before a place in which a word tells of what follows. Chosen.
_REACH = 60


def wheel_claims(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    """Every claim of a wheel arrangement in a clause, by the driving axles that it has.

    Letters after the figures count only where they name a tank engine: others may be
    of the number of a model. Arrangements are the same under every guide.
    """
    clause = statement.clause
    negated, numbered, unit = _patterns()
    for match in _whyte().finditer(clause):
        # The whole text: the colon of "item no: 4-6-2" parts clauses.
        first = statement.start + match.start()
        before = statement.text[max(0, first - _REACH) : first]
        after = statement.text[statement.start + match.end() :][:_REACH]
        if numbered.search(before) or unit.match(after) or _begins_with_a_gauge(match, before):
            continue
        if negated.search(clause[: match.start()]) or statement.elsewhere(match.start()):
            continue
        figures = _without_blanks(match.group())
        if match["suffix"] and not names_tank_engine(figures):
            continue
        count = str(driving_axles(figures))
        yield statement.claim(Kind.AXLES, DRIVING, count, match.start(), match.end())


def without_several(claims: Iterable[Claim]) -> list[Claim]:
    """Claims of a listing, those of wheels left out where it names several arrangements.

    Such a listing offers several engines, or is unsure of one; which of them the photos
    show, nobody says. A tank's letters do not tell arrangements apart, for sellers often
    leave them out.
    """
    found = list(claims)
    if len({_figures(claim) for claim in found if claim.about == DRIVING}) < 2:
        return found
    return [claim for claim in found if claim.about != DRIVING]


def _figures(claim: Claim) -> str:
    return _without_blanks(plain(claim.text)).rstrip("abcdefghijklmnopqrstuvwxyz")


def _without_blanks(arrangement: str) -> str:
    """An arrangement as the guides write it: "4 - 6 - 2" is "4-6-2"."""
    return arrangement.replace(" ", "")


def _begins_with_a_gauge(match: re.Match[str], before: str) -> bool:
    """Whether the first figure is the gauge that a word before it announces."""
    announced, named = _gauge_words()
    gauge = find_gauge(match.group()[0])
    return bool(gauge and announced.search(before) and not named.search(before))


@cache
def _whyte() -> re.Pattern[str]:
    """An arrangement, and nothing longer."""
    engine = one_of(vocabulary()["wheels"]["engines"], whole=False)
    return re.compile(
        # A figure, a hyphen or the sign of a sum, a path or a part's number on either side
        # makes it a piece of something longer; "4-6-2-locomotive" is no part's number.
        r"(?<![\w/+€$£#№@=&-])(?<!\d[.,:'])"
        rf"(?:{_END}-{_DRIVEN}(?:-{_DRIVEN})?-{_END}|{_SIZES}{SPACED})(?P<suffix>[a-z]{{1,3}})?"
        rf"(?![\w/+&=]|-(?!{engine}(?!\w))|[,:']\d|\.\w)"
    )


@cache
def _patterns() -> tuple[re.Pattern[str], re.Pattern[str], re.Pattern[str]]:
    """What denies an arrangement, and what before and after makes it something else."""
    words = vocabulary()["wheels"]
    article = one_of(words["articles"])
    # "not a", "not really a": a word further on is denied itself, as in "no box".
    negated = rf"{one_of(words['not'])}\s+(?:(?:[\w'-]+\s+){{0,2}}{article}\s+)?$"
    numbered = rf"(?<!\w){one_of(words['numbered'], whole=False)}[\s.:]*(?:is\s+)?$"
    phone = rf"{one_of(words['phone'])}[\s.:()\d+-]*$"
    sign = r"(?:[€$£#№+]|\b\d\s*x)\s*$"
    unit = rf"\s*(?:\+|{one_of(words['units'], whole=False)}(?!\w))"
    return re.compile(negated), re.compile(f"{numbered}|{phone}|{sign}"), re.compile(unit)


@cache
def _gauge_words() -> tuple[re.Pattern[str], re.Pattern[str]]:
    """A word for a gauge, and one whose gauge stands before it, as in "0 gauge 0-6-0"."""
    gauge, units = vocabulary()["gauge"], one_of(vocabulary()["wheels"]["units"], whole=False)
    announced = rf"(?<!\w){one_of(gauge['words'], whole=False)}[\s.:]*$"
    names = one_of([*gauge["named"], *(name.lower() for g in GAUGES for name in g.names)])
    measure = rf"\d(?:[:/.]\d+|\s*{units})"
    return re.compile(announced), re.compile(rf"(?:{names}|{measure})[\s-]*{announced}")
