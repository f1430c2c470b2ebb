"""What a listing claims: every statement that photos could bear out or not, with its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

from vision.listings.negation import denial, part_state
from vision.listings.numbers import number_claims, tentative_where_several
from vision.listings.parts import Lexicon, Statement
from vision.listings.plain import clauses, one_of, plain, vocabulary
from vision.listings.tenders import original_claims, tender_claims
from vision.listings.values import NOT, Claim, Kind, Listing
from vision.listings.wheels import wheel_claims, without_several
from vision.listings.years import YearWords, find_years

Reader = Callable[[Statement, Lexicon], Iterator[Claim]]

# Words between a word such as "restored" and the year that it speaks of. Chosen.
REACH = 3
# Of one text; nobody describes an engine in more. Chosen.
MOST_CHARACTERS = 20_000


def find_claims(listing: Listing, lexicon: Lexicon) -> tuple[Claim, ...]:
    """Every claim of a listing's title and description, in the order of the text.

    The same claim made twice counts once, where it stands first; a claim and its
    opposite both count, but of several wheel arrangements none does.
    """
    claims: list[Claim] = []
    for field in ("title", "description"):
        original = getattr(listing, field)
        text = plain(original[:MOST_CHARACTERS])
        for start, end in clauses(text):
            statement = Statement(field, original, text, start, end, _hedged(text, start, end))
            for read in READERS:
                claims += read(statement, lexicon)
    unique: dict[tuple[object, ...], Claim] = {}
    claims = tentative_where_several(without_several(claims))
    for claim in sorted(claims, key=lambda c: (c.span.field != "title", c.span.start)):
        key = (claim.kind, claim.about, claim.value)
        if key not in unique or _reserve(claim) < _reserve(unique[key]):
            unique[key] = claim
    return tuple(unique.values())


def _reserve(claim: Claim) -> int:
    """How little its words commit the seller."""
    return claim.hedged + claim.tentative


def _hedged(text: str, start: int, end: int) -> bool:
    asked = text[end : end + 1] == "?"
    return asked or bool(re.search(_any_of("hedge", "words"), text[start:end]))


def _years(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    for found in find_years(statement.clause):
        before = statement.clause[: found.start]
        words = " ".join(before.split()[-REACH - 1 :])
        if re.search(_any_of("years", "not_made"), words) or statement.elsewhere(found.start):
            continue
        if _is_a_number(found, before, lexicon):
            continue
        if found.denied:
            continue  # "not from 1934" claims nothing of the year that it is
        claim = statement.claim(Kind.YEAR, "", found.edtf, found.start, found.end)
        hedged = claim.hedged and "?" not in statement.clause[found.start : found.end]
        yield replace(claim, years=found.years, leeway=found.leeway, hedged=hedged)


def _is_a_number(found: YearWords, before: str, lexicon: Lexicon) -> bool:
    """A cab number of the guide that could be a year, with a sign of a number before it."""
    return bool(re.search(_before_a_number(), before)) or found.edtf in lexicon.guide.numbers


@cache
def _before_a_number() -> str:
    words = vocabulary()["numbers"]
    signs = (*words["any"], *words["cab"], *words["marked"], "loco", "lok", "engine")
    return rf"(?<!\w){one_of(signs, whole=False)}[.:\s]*$"


@cache
def _any_of(section: str, key: str) -> str:
    """Regular expression for any of the words of one list; made once, texts are long."""
    return one_of(vocabulary()[section][key])


def _parts(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    for name, pattern in lexicon.parts.items():
        for match in pattern.finditer(statement.clause):
            if statement.elsewhere(match.start()):
                continue
            said = part_state(statement.clause, match.start(), match.end())
            if name == "tender" or said is None:
                continue  # the tender is read by `tender_claims`, with its kind
            state, start, end = said
            kind = Kind.CHECK if name in lexicon.checks else Kind.PART
            if name == "edge_stripe":
                colour = lexicon.colour_beside(statement.clause, match.start(), match.end())
                word = match.group().strip()
                denied = state == "absent" and colour is not None
                if state == "present" and colour is None:
                    colour = lexicon.colour_denied(statement.clause, match.end())
                    denied = colour is not None
                if colour is None and word in ("edge", "filet"):
                    continue  # "rust on one edge" is no stripe
                if colour is not None:
                    start, end = min(start, colour[1]), max(end, colour[2])
                    value = f"{NOT}{colour[0]}" if denied else colour[0]
                    yield statement.claim(Kind.COLOUR, name, value, start, end)
                if denied:
                    # "No red stripe" may mean one of another colour.
                    continue
            yield statement.claim(kind, name, state, start, end)


def _variations(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    if lexicon.variations is None:
        return
    denied = -1
    for match in lexicon.variations.finditer(statement.clause):
        if denial(statement.clause, match.start(), denied) >= 0:
            # "Not a W3" claims nothing of which one it is.
            denied = match.end()
        elif not statement.elsewhere(match.start()):
            id = lexicon.variation_ids[match.group().strip()]
            yield statement.claim(Kind.VARIATION, "", id, match.start(), match.end())


def _condition(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    for match in re.finditer(_any_of("condition", "words"), statement.clause):
        said = part_state(statement.clause, match.start(), match.end())
        if said is not None:
            value = match.group() if said[0] == "present" else f"not {match.group()}"
            yield statement.claim(Kind.CONDITION, "", value, said[1], said[2])


def _original(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    """Claims that the whole engine is as made; those of the tender are read with it."""
    for match in re.finditer(_any_of("original", "all"), statement.clause):
        said = part_state(statement.clause, match.start(), match.end())
        if said is not None and said[0] == "present" and not statement.elsewhere(match.start()):
            yield statement.claim(Kind.ORIGINAL, "", "original", match.start(), match.end())
    if not lexicon.parts["tender"].search(statement.clause):
        yield from original_claims(statement, lexicon)  # "Originaltender"


READERS: tuple[Reader, ...] = (
    _years,
    number_claims,
    wheel_claims,
    tender_claims,
    _parts,
    _variations,
    _original,
    _condition,
)
