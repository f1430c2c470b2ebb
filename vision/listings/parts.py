"""A clause of a listing, and the words that a guide gives it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from vision.guide import Guide
from vision.listings.plain import one_of, vocabulary
from vision.listings.values import Claim, Kind, Span


@dataclass(frozen=True, slots=True)
class Statement:
    """One clause of one text, plain, with the original beside it."""

    field: str
    original: str
    text: str
    start: int
    end: int
    hedged: bool

    @property
    def clause(self) -> str:
        """The plain text of the clause."""
        return self.text[self.start : self.end]

    def claim(self, kind: Kind, about: str, value: str, start: int, end: int) -> Claim:
        """Make a claim of a stretch of the clause, its blanks left out."""
        words = self.clause[start:end]
        start += len(words) - len(words.lstrip())
        end -= len(words) - len(words.rstrip())
        first, last = self.start + start, self.start + end
        span = Span(self.field, first, last)
        return Claim(kind, about, value, span, self.original[first:last], self.hedged)

    def elsewhere(self, start: int) -> bool:
        """Whether the words before a place turn the talk to another engine."""
        return bool(re.search(_elsewhere(), self.clause[:start]))


@cache
def _elsewhere() -> re.Pattern[str]:
    return re.compile(one_of(vocabulary()["other_engine"]["words"]))


@dataclass(frozen=True, slots=True)
class Lexicon:
    """What the words of a listing may mean under one guide.

    Attributes
    ----------
    guide : Guide
    parts : mapping of cue, check or "tender" to pattern
    checks : frozenset of str
        Names in `parts` that only a hand can check.
    colours : mapping of colour to pattern
    variations : pattern or None
        Ids long enough not to be other words.
    variation_ids : mapping of plain id to id
    """

    guide: Guide
    parts: Mapping[str, re.Pattern[str]]
    checks: frozenset[str]
    colours: Mapping[str, re.Pattern[str]]
    variations: re.Pattern[str] | None
    variation_ids: Mapping[str, str]

    def colour_beside(self, clause: str, start: int, end: int) -> tuple[str, int, int] | None:
        """Return the colour right before or after a stretch, and where it stands."""
        for colour, pattern in self.colours.items():
            for match in pattern.finditer(clause):
                gap = (
                    clause[match.end() : start]
                    if match.end() <= start
                    else clause[end : match.start()]
                )
                if re.fullmatch(r"\s*|-|(?:\s+(?:painted|in|is|of|gemalt\w*)){1,2}\s+", gap) and (
                    match.end() <= start or match.start() >= end
                ):
                    return colour, match.start(), match.end()
        return None

    def colour_denied(self, clause: str, end: int) -> tuple[str, int, int] | None:
        """Return the colour that is denied right after a place, and where that stands."""
        denial = _denial().match(clause, end)
        if denial is None:
            return None
        for colour, pattern in self.colours.items():
            match = pattern.match(clause, denial.end())
            if match:
                return colour, denial.start(), match.end()
        return None


@cache
def _denial() -> re.Pattern[str]:
    linking = one_of(vocabulary()["negation"]["linking"])
    denied = one_of(vocabulary()["wheels"]["not"])
    article = one_of(vocabulary()["wheels"]["articles"])
    return re.compile(rf"\s+(?:{linking}\s+)?{denied}\s+(?:{article}\s+)?")


def lexicon_of(guide: Guide) -> Lexicon:
    """Join the word lists with a guide's own checks, colours and ids."""
    words = vocabulary()
    parts = {name: list(synonyms) for name, synonyms in words["parts"].items()}
    for check in guide.checks:
        parts.setdefault(check.id, []).append(check.id.replace("_", " "))
    colours = {name: list(synonyms) for name, synonyms in words["colours"].items()}
    for colour in guide.stripe_colours:
        known = colours.setdefault(colour, [])
        if colour.lower() not in known:
            known.append(colour.lower())
    ids = {
        v.id.lower(): v.id
        for v in guide.variations
        if re.search(r"[a-z].*\d|\d.*[a-z]", v.id.lower())
    }
    return Lexicon(
        guide=guide,
        parts={name: re.compile(one_of(synonyms)) for name, synonyms in parts.items()},
        checks=frozenset(guide.check_names),
        colours={name: re.compile(one_of(synonyms)) for name, synonyms in colours.items()},
        variations=re.compile(one_of(ids)) if ids else None,
        variation_ids=ids,
    )
