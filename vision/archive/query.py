"""What to find, in words: "stripe present and 1935..1937"."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vision.archive.record import CUES, Record
from vision.records import VALUED_CUES, ArchiveError, did_you_mean, nearest
from vision.report.narrowing import NOT_IN_GUIDE

Test = Callable[[Record], bool]

# Axles alone are the tender's, as they were before any others were counted.
_CALLED: Mapping[str, str] = MappingProxyType(
    {name: name.rpartition("_")[2] for name in CUES} | {"driving_axles": "driving axles"}
)
_SHORT: Mapping[str, str] = MappingProxyType(
    {called: name for name, called in _CALLED.items()} | {name: name for name in CUES}
)
_STATES = ("present", "absent", "unseen")
# What a value can look like; a number as guides may have it, ? for what could not be read.
_VALUES: Mapping[str, re.Pattern[str]] = MappingProxyType(
    {name: re.compile(r"\d{1,2}") for name in VALUED_CUES}
    | {"cab_number": re.compile(r"[0-9a-z?]{1,8}")}
)
# What people write for what can be asked.
_COUNTS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_MEANT: Mapping[str, str] = MappingProxyType(
    {word: str(count) for count, word in enumerate(_COUNTS, 1)}
    | {"yes": "present", "there": "present", "no": "absent", "none": "absent", "missing": "absent"}
    | {word: word for word in _STATES}
)
# Likeness, 0 to 1, from which letters alone after "number" are a state that is mistyped and
# no number; chosen: "presnt" and "absnt" are 0.9 alike, and no number is near.
_MISTYPED = 0.8
# Brackets and nots inside each other; beyond it a query is no person's. Chosen, well below
# what Python's own stack holds.
_DEEPEST = 50
_TERMS = ("variation", "sure", "in", "engine", "narrowed", "outside", "several", "mismatched")
# 1935..1937 as here, 1935–1937 as answers write it, or what is typed for that.
_YEARS = re.compile(r"(\d{4})(?:(?:\.\.|-|–|/)(\d{4}))?")
_SHARE = re.compile(r"(\d{1,3})\s*%?")
# As answers write it. One word less would ask for part of a path, and find nearly all.
_NOT_IN_GUIDE = ("not", "in", "this", "guide")
_OUTSIDE_HINT = '; for what is not in the guide ask for "outside"'
HELP = (
    "words: lever|linkage|stripe|coupled|lettering present|absent|unseen, "
    "driving axles|axles|lamps|number VALUE, YEAR, YEAR..YEAR, variation ID, sure PERCENT, "
    "in TEXT, engine present|absent, narrowed, outside, several, mismatched; "
    "joined by and, or, not and brackets"
)


@dataclass(frozen=True, slots=True)
class Query:
    """A test of one record, and what it asks for.

    Attributes
    ----------
    test : callable
        Takes a record, and says whether it is found.
    cues : tuple of str
        Names of the cues that the query speaks of, each once.
    variations : tuple of str
        Ids of the variations, likewise, as they were typed.
    """

    test: Test
    cues: tuple[str, ...] = ()
    variations: tuple[str, ...] = ()

    def __call__(self, record: Record) -> bool:
        """Whether a record is found."""
        return self.test(record)


def parse_query(text: str) -> Query:
    """Turn a query into a test of one record.

    Parameters
    ----------
    text : str
        Terms joined by "and" (which may be left out), "or" (which binds less), "not"
        and brackets. A term is a cue with a state or value, a year or years (the
        answer's years and these share one), "variation" with an id, "sure" with the
        least percentage, "in" with part of a photo's path, "engine" with present or
        absent, "narrowed" for what is narrowed down, to a variation and years or to none of
        the guide's, "outside" for engines of no variation, "several" for photos put
        together that seem to show more than one engine, or "mismatched". Empty finds everything.

    Raises
    ------
    ArchiveError
        A word that is not understood, or a state or value that no photo can have; the
        message names it, and what is near to it.
    """
    try:
        lexer = shlex.shlex(text, posix=True, punctuation_chars="()")
        lexer.whitespace_split = True
        lexer.commenters = ""
        words = _words(lexer)
    except ValueError as error:
        raise ArchiveError(f"query: {error}") from None
    if not words:
        return Query(lambda record: True)
    parser = _Parser(words)
    test = parser.any()
    parser.finish()
    return Query(test, tuple(dict.fromkeys(parser.cues)), tuple(dict.fromkeys(parser.variations)))


def _words(lexer: Iterable[str]) -> list[str]:
    """Words and single brackets, where shlex gives brackets that touch as one word."""
    words: list[str] = []
    for word in lexer:
        brackets = word and not word.strip("()")
        # After "in" they are part of a path.
        after_in = words and words[-1].lower() == "in"
        words += word if brackets and not after_in else [word]
    return words


class _Parser:
    def __init__(self, words: list[str]) -> None:
        self._words, self._at, self._depth = words, 0, 0
        self.cues: list[str] = []
        self.variations: list[str] = []

    def any(self) -> Test:
        tests = [self._all()]
        while self._took("or"):
            tests.append(self._all())
        return tests[0] if len(tests) == 1 else lambda record: any(t(record) for t in tests)

    def finish(self) -> None:
        if self._peek():
            raise ArchiveError(f'query: "{self._peek()}" is not expected here')

    def _all(self) -> Test:
        tests = [self._one()]
        while self._took("and") or self._peek().lower() not in ("", "or", ")"):
            tests.append(self._one())
        return tests[0] if len(tests) == 1 else lambda record: all(t(record) for t in tests)

    def _one(self) -> Test:
        self._depth += 1
        if self._depth > _DEEPEST:
            raise ArchiveError(f"query: more than {_DEEPEST} brackets and nots inside each other")
        test = self._inner()
        self._depth -= 1
        return test

    def _inner(self) -> Test:
        if self._ahead(_NOT_IN_GUIDE):
            self._at += len(_NOT_IN_GUIDE)
            return _is_outside
        if self._ahead(("not", "in", "guide")):
            raise ArchiveError(
                'query: "not in guide" may mean a path without "guide", which is '
                f'"not (in guide)"{_OUTSIDE_HINT}'
            )
        if self._took("not"):
            test = self._one()
            return lambda record: not test(record)
        if self._took("("):
            test = self.any()
            if not self._took(")"):
                raise ArchiveError("query: a bracket is not closed")
            return test
        return self._term()

    def _term(self) -> Test:
        word = self._next("a term")
        lower = word.lower()
        if years := _YEARS.fullmatch(word):
            return _years(int(years[1]), int(years[2] or years[1]))
        # "edge stripe", as answers and keywords write it.
        if (name := f"{lower}_{self._peek().lower()}") in CUES:
            self._at += 1
            return self._cue(name, name.replace("_", " "))
        if lower in _SHORT:
            return self._cue(_SHORT[lower], word)
        if lower == "variation":
            id = self._next("an id after variation")
            self.variations.append(id)
            return lambda record: record.variation.lower() == id.lower()
        if lower == "sure":
            return _sure(self._next("a percentage after sure"))
        if lower == "in":
            part = self._next("part of a path after in")
            return lambda record: part in record.photo
        if lower == "engine":
            return _engine(self._next("present or absent after engine"))
        if lower == "narrowed":
            return lambda record: record.narrowed
        if lower == "outside":
            return _is_outside
        if lower == "several":
            return lambda record: record.several
        if lower == "mismatched":
            return lambda record: record.mismatched
        if lower in ("and", "or", ")"):
            raise ArchiveError(f'query: a term expected before "{word}" ({HELP})')
        near = _OUTSIDE_HINT
        if lower != "guide":
            near = did_you_mean(word, (*_SHORT, *_TERMS, "and", "or", "not"))
        raise ArchiveError(f'query: "{word}" is not understood{near} ({HELP})')

    def _cue(self, name: str, called: str) -> Test:
        self.cues.append(name)
        return _cue(name, self._next(f"present, absent or a value after {called}"))

    def _ahead(self, words: tuple[str, ...]) -> bool:
        coming = self._words[self._at : self._at + len(words)]
        return tuple(word.lower() for word in coming) == words

    def _peek(self) -> str:
        return self._words[self._at] if self._at < len(self._words) else ""

    def _next(self, wanted: str) -> str:
        if not self._peek():
            raise ArchiveError(f"query: {wanted} expected at the end ({HELP})")
        self._at += 1
        return self._words[self._at - 1]

    def _took(self, word: str) -> bool:
        if self._peek().lower() != word:
            return False
        self._at += 1
        return True


def _is_outside(record: Record) -> bool:
    """Whether the listing says "not in this guide" of it."""
    return record.narrowed and (not record.covered or record.variation == NOT_IN_GUIDE)


def _years(first: int, last: int) -> Test:
    if last < first:
        raise ArchiveError(f"query: {first}..{last} runs backwards")
    return lambda record: any(first <= year <= last for year in record.covered)


def _cue(name: str, wanted: str) -> Test:
    word = wanted.lower()
    if word in _STATES:
        unseen = ("unseen", None, 0.0)
        return lambda record: record.cues.get(name, unseen)[0] == word
    pattern = _VALUES.get(name)
    mistyped = nearest(word, _STATES, least=_MISTYPED)
    if pattern is None or not pattern.fullmatch(word) or mistyped:
        raise ArchiveError(_no_such(name, wanted))
    return lambda record: (record.cues.get(name, ("", None, 0.0))[1] or "").lower() == word


def _no_such(name: str, wanted: str) -> str:
    what = _CALLED[name]
    value = {"cab_number": ", or a number such as 322"}.get(name, ", or a count such as 6")
    asked = f"{', '.join(_STATES)}{value if name in VALUED_CUES else ''}"
    # A state takes no figure: "lever six" is not nearly "lever 6".
    words = {k: v for k, v in _MEANT.items() if v in _STATES or name in VALUED_CUES}
    near = did_you_mean(wanted, words)
    also = ""
    if name == "edge_stripe" and not near:
        also = "; of a stripe no colour is kept"
    return (
        f'query: "{what} {wanted}" is nothing that can be found; ask for {what} with '
        f"{asked}{also}{near}"
    )


def _sure(word: str) -> Test:
    share = _SHARE.fullmatch(word)
    if share is None or int(share[1]) > 100:
        raise ArchiveError(f'query: "{word}" is no percentage from 0 to 100')
    least = int(share[1]) / 100
    return lambda record: (record.confidence or 0.0) >= least


def _engine(word: str) -> Test:
    if word.lower() not in ("present", "absent"):
        near = did_you_mean(word, {k: v for k, v in _MEANT.items() if v in _STATES[:2]})
        raise ArchiveError(f'query: "engine {word}"; present or absent expected{near}')
    wanted = word.lower() == "present"
    return lambda record: record.found is wanted
