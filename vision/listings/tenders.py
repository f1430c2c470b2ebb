"""What a clause says of the tender: whether there is one, its axles, lamps and kind."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from vision.listings.negation import part_state
from vision.listings.parts import Lexicon, Statement
from vision.listings.plain import one_of, vocabulary
from vision.listings.values import Claim, Kind


@cache
def _counted() -> tuple[re.Pattern[str], dict[str, str]]:
    words = vocabulary()
    names = {word: count for count, names in words["counts"].items() for word in names}
    count = rf"(?P<count>\d{{1,2}}|{one_of(names, whole=False)})"
    what = "|".join(
        f"(?P<{k}>{one_of(words['tender'][k], whole=False)})" for k in ("axles", "wheels", "lamps")
    )
    # The last figure of "4-6-2 wheel arrangement" counts nothing of a tender.
    return re.compile(rf"(?<![\w'.,])(?<!\d-)(?<!\d - ){count}[\s-]*(?:{what})(?!\w)"), names


def tender_claims(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    """Every claim about the tender in a clause that names one."""
    clause = statement.clause
    tenders = list(lexicon.parts["tender"].finditer(clause))
    if not tenders or statement.elsewhere(tenders[0].start()):
        return
    first = tenders[0]
    said = part_state(clause, first.start(), first.end())
    if said is None:
        return
    state, start, end = said
    kinds = list(_kinds(statement, lexicon))
    if state == "absent":
        yield statement.claim(Kind.PART, "tender", state, start, end)
        return
    counts = list(_counts(statement))
    yield from counts
    yield from kinds
    if not counts and not kinds:
        yield statement.claim(Kind.PART, "tender", state, start, end)


def _counts(statement: Statement) -> Iterator[Claim]:
    pattern, names = _counted()
    for match in pattern.finditer(statement.clause):
        text = match["count"]
        count = int(text) if text.isdigit() else int(names[text])
        if match["wheels"]:
            if count % 2:
                continue
            count //= 2
        kind, about = (
            (Kind.LAMPS, "tender_lamps") if match["lamps"] else (Kind.AXLES, "tender_axles")
        )
        yield statement.claim(kind, about, str(count), match.start(), match.end())


def _kinds(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    for tender in lexicon.guide.tenders:
        name = re.escape(tender.id.lower())
        types = one_of(vocabulary()["tender"]["type"], whole=False)
        word = lexicon.parts["tender"].pattern
        # One letter alone is the name of a tender only where "tender" is beside it.
        pattern = "|".join(
            (
                rf"{word}\s+(?:{types}\s+)?{name}(?!\w)",
                rf"(?<![\w']){name}[\s-]{word}",
                rf"(?<!\w){types}\s+{name}[\s-]{word}",
            )
        )
        for match in re.finditer(pattern, statement.clause):
            yield statement.claim(Kind.TENDER, "tender", tender.id, match.start(), match.end())
