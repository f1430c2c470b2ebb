"""Cab numbers in a clause, and which of them the words leave no doubt of.

A wrong reproach is the worst that can come of a listing. So a number counts without
reserve only beside a word for a cab's number, or after "No." where nothing but the engine
is spoken of before. Any other is tentative: photos may bear it out, never contradict it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

from vision.listings.negation import part_state
from vision.listings.parts import Lexicon, Statement
from vision.listings.plain import one_of, vocabulary
from vision.listings.values import Claim, Kind

# A number of fewer figures stands for too much else to be taken without a sign. Chosen.
LEAST_BARE = 3
# Characters before a clause that are looked at where a colon, a bracket or the point of an
# abbreviation hangs it on to what stands there, and before a number. Chosen.
REACH = 60
# A figure over a dash from another is of an arrangement: other dashes between blanks part
# clauses.
_NUMBER = re.compile(
    r"(?:(?<![\w.,/$€£'-])|(?<=\bno\.)|(?<=\bnr\.))(?<!\d - )"
    r"[a-z]?\d{1,8}[a-z]?(?![\w]|[.,/-]\d|'| - \d)"
)
_HANGS_ON = re.compile(r"[^;!?\n.]*(?:[:(\[]|(?<!\w)[^\W\d_]{1,4}\.)\s*$")
_FIGURES_BEFORE = re.compile(r"\d[\s./()+-]*$")
_FIGURES_AFTER = re.compile(
    r"\s*[./()+-]*\s*(?!(?:19|20)\d\d(?![\d-])|[0-9]-\d{1,2}-\d(?![\d-]))\d"
)
_MONEY_OR_TIMES = re.compile(r"[€£$]\s*$|\bx\s*$")
_LEAD = r"[\s.:]*(?:(?:is|ist|est|es|è)\s+)?$"


@dataclass(frozen=True, slots=True)
class _Words:
    """Patterns for what stands before a number, and after it."""

    cab: re.Pattern[str]
    marked: re.Pattern[str]
    any: re.Pattern[str]
    none: re.Pattern[str]
    engine: re.Pattern[str]
    subject: re.Pattern[str]
    others: re.Pattern[str]
    denied: re.Pattern[str]
    elsewhere: re.Pattern[str]
    hedge: re.Pattern[str]
    noise: re.Pattern[str]
    unit: re.Pattern[str]
    counts: re.Pattern[str]
    of: re.Pattern[str]
    on_cab: re.Pattern[str]
    named: re.Pattern[str]
    another: re.Pattern[str]


@cache
def _words(guide: str) -> _Words:
    words = vocabulary()["numbers"]
    engine = one_of([*words["engine"], guide.lower()])
    subject = one_of([*words["subject"], *words["engine"], guide.lower()])
    # A year or a wheel arrangement tells nothing of whose number follows.
    passed = rf"(?:{one_of(words['between'])}|(?:19|20)\d\d|\d-\d{{1,2}}-\d\w{{0,2}})"
    article = one_of(vocabulary()["wheels"]["articles"])
    none = [*words["none"], *vocabulary()["gauge"]["words"]]

    def sign(names: Iterable[str]) -> re.Pattern[str]:
        body = one_of(names, whole=False)
        return re.compile(rf"(?<!\w){body}(?:\s*(?:no|nr|number|nummer))?{_LEAD}")

    joins = {*vocabulary()["years"]["or"], *vocabulary()["years"]["to"]}
    denial = [*vocabulary()["wheels"]["not"], *vocabulary()["negation"]["before"]]
    return _Words(
        cab=sign(words["cab"]),
        marked=sign(words["marked"]),
        any=sign(words["any"]),
        none=sign(none),
        engine=re.compile(rf"{engine}\s+$"),
        subject=re.compile(rf"(?:^|{subject})(?:[\s\"'-]*{passed})*[\s\"'(:.-]*$"),
        others=re.compile(rf"{one_of(words['others'])}\s+(?:{article}\s+)?$"),
        denied=re.compile(rf"{one_of(denial)}\s+(?:{article}\s+)?(?:[\w'-]+\s+)?$"),
        elsewhere=re.compile(one_of(vocabulary()["other_engine"]["words"])),
        hedge=re.compile(one_of(vocabulary()["hedge"]["words"])),
        noise=re.compile(one_of(none)),
        unit=re.compile(rf"\s*-?(?:{one_of(words['units'], whole=False)})(?!\w)|\s*[€£$%]"),
        counts=re.compile(rf"\s*(?:/|{one_of(words['of'])})\s*(?!(?:19|20)\d\d(?!\d))\d"),
        of=re.compile(rf"\s*{one_of(words['of'])}(?!\s+(?:19|20)\d\d(?!\d))"),
        on_cab=re.compile(
            rf"\s+(?:{one_of(words['painted'])}\s+)?{one_of(words['on'])}\s+(?:[\w']+\s+){{0,2}}{one_of(words['cabs'])}"
        ),
        named=re.compile(rf"\s+{engine}"),
        another=re.compile(rf"\s*(?:[,/&+]|{one_of(joins)})\s*(?P<number>[a-z]?\d+[a-z]?)(?!\w)"),
    )


def number_claims(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    """Every claim of a cab number in a clause, those that may mean something else marked.

    Without a word such as "cab number" a number counts only if the guide has it. Without
    any sign it counts only right beside a word for the engine, as in "Wayfarer 322", which
    sellers write of the number and of what else they like.
    """
    words = _words(lexicon.guide.name)
    guide = {number.lower(): number for number in lexicon.guide.numbers}
    numbers = list(_NUMBER.finditer(statement.clause))
    hung = _hung(statement) if numbers else ""
    for match in numbers:
        text, after = match.group(), statement.clause[match.end() :]
        before = hung + statement.clause[: match.start()]
        found = _sign(words, before, text, after, in_guide=text in guide)
        if found is None:
            continue
        at, tentative = found
        later = statement.text[statement.start + match.end() :][:REACH]
        another = words.another.match(later)
        if another and another["number"] in guide:
            tentative = True  # "No. 310, 316 or 322"
        if at == 0 and _begins_a_row(statement, match.start() - len(before), later):
            tentative = True
        said = part_state(before + text, at, len(before) + len(text))
        if said is None or said[0] == "absent":
            continue
        start = max(0, match.start() - (len(before) - at))
        end = match.end()
        on_cab = words.on_cab.match(after)
        claim = statement.claim(
            Kind.NUMBER,
            "cab_number",
            guide.get(text, text),
            start,
            end + (on_cab.end() if on_cab else 0),
        )
        hedged = claim.hedged or bool(words.hedge.search(before))
        yield replace(claim, hedged=hedged, tentative=tentative)


def _hung(statement: Statement) -> str:
    """Text before a clause that a colon, a bracket or a short word's point hangs it on."""
    earlier = statement.text[max(0, statement.start - REACH - 1) : statement.start]
    # What parts the clauses is in neither of them.
    hung = _HANGS_ON.search(earlier)
    return hung.group().lstrip() if hung else ""


def _sign(
    words: _Words, before: str, text: str, after: str, *, in_guide: bool
) -> tuple[int, bool] | None:
    """Where the words begin that make a number a cab number, and whether they leave doubt.

    None where it is none: an amount, a count, a telephone number, a lot.
    """
    near = before[-REACH:]
    cab, marked = words.cab.search(near), words.marked.search(near)
    if not (in_guide or cab or marked):
        return None
    if _FIGURES_BEFORE.search(near) or _FIGURES_AFTER.match(after):
        return None
    if _MONEY_OR_TIMES.search(near) or words.counts.match(after):
        return None
    if words.none.search(near) or words.elsewhere.search(before):
        return None
    sign = cab or marked or words.any.search(near)
    on_cab = words.on_cab.match(after) if in_guide else None
    if not cab and not on_cab and words.unit.match(after):
        return None
    at = len(before) - (len(near) - sign.start() if sign else 0)
    lead = before[:at]
    near = lead[-REACH:]
    if words.none.search(near) or words.denied.search(near):
        return None
    doubt = bool(words.others.search(near) or (words.of.match(after) and not on_cab))
    if cab:
        return at, doubt
    if on_cab:
        # "No 322 on the cab" is a number, or there is none; "12 on the cab" may be rivets.
        unclear = len(text) < LEAST_BARE or (sign is not None and sign.group().strip() == "no")
        return at, doubt or unclear
    if sign is None:
        first = not before.strip() and len(text) >= LEAST_BARE
        beside = words.engine.search(near) or (first and words.named.match(after))
        return (at, True) if beside else None
    noise = words.noise.search(lead) or words.noise.search(after)
    doubt = doubt or bool(noise) or not words.subject.search(lead)
    if doubt and not in_guide:
        return None
    return at, doubt


def _begins_a_row(statement: Statement, start: int, later: str) -> bool:
    """Whether a number at the head of a line has a stop after it, as lots in a list have."""
    line = statement.text[: max(0, statement.start + start)].rpartition("\n")[2]
    return not line.strip() and bool(re.match(r"\s*(?:[):]|\.\s+\S|-+\s)", later))


def tentative_where_several(claims: Iterable[Claim]) -> list[Claim]:
    """Claims of a listing, those of cab numbers marked where it names several numbers.

    Such a listing tells of several engines; which of them the photos show, nobody says.
    """
    found = list(claims)
    if len({claim.value for claim in found if claim.kind is Kind.NUMBER}) < 2:
        return found
    return [replace(c, tentative=True) if c.kind is Kind.NUMBER else c for c in found]
