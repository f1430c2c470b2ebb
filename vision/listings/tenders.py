"""What a clause says of the tender: whether there is one, its axles, lamps, kind and origin."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from vision.listings.negation import part_state
from vision.listings.parts import Lexicon, Statement
from vision.listings.plain import one_of, vocabulary
from vision.listings.values import Claim, Kind

# Characters before the words in which a denial speaks of them. Chosen.
DENIED_WITHIN = 15


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
    original = list(original_claims(statement, lexicon))
    yield from original
    if not counts and not kinds and not original:
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


def original_claims(statement: Statement, lexicon: Lexicon) -> Iterator[Claim]:
    """Claims that the tender left the works with the engine; none where that is denied."""
    pattern, denied = _original(lexicon.parts["tender"].pattern)
    for match in pattern.finditer(statement.clause):
        # "Not the original tender", "tender that belongs to another engine".
        around = statement.clause[max(0, match.start() - DENIED_WITHIN) : match.end()]
        after = " ".join(statement.clause[match.end() :].split()[:3])
        if not denied.search(around) and not denied.search(after):
            span = match.start(), match.end()
            yield statement.claim(Kind.ORIGINAL, "tender", "original", *span)


@cache
def _original(tender: str) -> tuple[re.Pattern[str], re.Pattern[str]]:
    words = vocabulary()["original"]
    said = one_of(words["words"])
    colours = [word for names in vocabulary()["colours"].values() for word in names]
    counts = [word for names in vocabulary()["counts"].values() for word in names]
    passed = one_of([*words["words"], *words["between"], *colours, *counts])
    linking = one_of(vocabulary()["negation"]["linking"])
    goes_on = rf"(?=\s*$|\s+{one_of(words['goes_on'])})"
    patterns = (
        rf"{said}[\s-]+(?:(?:{passed}|\w*\d[\w-]*|\w+-\w+)[\s-]+){{0,3}}{tender}",
        rf"{tender}\s+(?:{linking}\s+){{0,2}}{said}{goes_on}",
        rf"{tender}\s+(?:[\w'-]+\s+){{0,3}}?{one_of(words['belongs'])}",
        one_of(words["phrases"]),
    )
    return re.compile("|".join(patterns)), re.compile(one_of(words["denied"]))


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
