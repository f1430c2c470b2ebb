"""Cab numbers in a clause: those of the guide, and others where the words leave no doubt."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from vision.listings.parts import Lexicon, Statement
from vision.listings.plain import one_of, vocabulary
from vision.listings.values import Claim, Kind

# A number of fewer figures stands for too much else to be taken without a sign. Chosen.
LEAST_BARE = 3
# A figure over a dash from another is of an arrangement: other dashes between blanks part
# clauses.
_NUMBER = re.compile(r"(?<![\w.,/$€£'-])(?<!\d - )[a-z]?\d{1,8}[a-z]?(?![\w]|[.,/-]\d|'| - \d)")


@cache
def _patterns() -> tuple[re.Pattern[str], ...]:
    words = dict(vocabulary()["numbers"])
    words["none"] = [*words["none"], *vocabulary()["gauge"]["words"]]
    lead = r"[\s.:]*(?:is\s+)?$"
    return tuple(
        re.compile(rf"(?<!\w){one_of(words[k], whole=False)}(?:\s*(?:no|nr|number|nummer))?{lead}")
        for k in ("cab", "any", "none")
    ) + (re.compile(rf"\s*-?(?:{one_of(words['units'], whole=False)})(?!\w)"),)


def number_claims(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    """Every claim of a cab number in a clause.

    Without a word such as "cab number" a number counts only if the guide has it, if it
    is no amount, size or weight, and if it is long enough not to be a count.
    """
    cab, any_sign, none, unit = _patterns()
    guide = {number.lower(): number for number in lexicon.guide.numbers}
    clause = statement.clause
    for match in _NUMBER.finditer(clause):
        text, before, after = match.group(), clause[: match.start()], clause[match.end() :]
        if none.search(before) or unit.match(after) or re.match(r"\s*[€£$%]", after):
            continue
        if statement.elsewhere(match.start()) or re.search(r"[€£$]\s*$|\bx\s*$", before):
            continue
        named = cab.search(before)
        if text not in guide and not named:
            continue
        sign = any_sign.search(before)
        if len(text) < LEAST_BARE and not (named or sign):
            continue
        if re.search(r"\b(?:not|nicht)\s+$", before):
            continue
        lead = named or sign
        start = lead.start() if lead else match.start()
        yield statement.claim(Kind.NUMBER, "cab_number", guide.get(text, text), start, match.end())
