"""Whether a clause says that a part is there or that it is missing."""

from __future__ import annotations

import re
from functools import cache

from vision.listings.plain import one_of, vocabulary

# Words between a negation and the part that it denies: "no sign of a lever". Chosen.
REACH = 3
# Characters before a part that are looked at. Chosen: a longer text takes no longer.
_NEAR = 120
_WORDS = rf"(?:[\w'-]+\s+){{0,{REACH}}}"


def part_state(clause: str, start: int, end: int) -> tuple[str, int, int] | None:
    """What a plain clause says of the part named in a stretch of it.

    Returns
    -------
    state : str
        "present" or "absent".
    start, end : int
        The stretch with its negation.

    None where the words are about something else, such as a part's slot or paint, a part
    that is there and not the original one, or a version that has the part.

    Examples
    --------
    >>> part_state("no sign of a lever", 13, 18)
    ('absent', 0, 18)
    >>> part_state("no rust on the lever", 15, 20)
    ('present', 15, 20)
    """
    near = clause.rfind(" ", 0, start - _NEAR) + 1 if start > _NEAR else 0
    before, after = clause[near:start], clause[end:]
    if _of_a_kind().search(before):
        return None
    denied = next(reversed(list(_before().finditer(before))), None)
    between = before[denied.end() :] if denied is not None else ""
    if denied is not None and not _aside().search(_signs().sub(" ", between)):
        if _own_things().match(after) or _not_original().search(between):
            return None
        # "not missing its lever", "no missing lever": what is denied is the lack.
        twice = re.search(rf"{_double()}\s+$", before[: denied.start()])
        lack = re.fullmatch(_double(), denied.group().strip())
        turned = re.match(r"pas|nicht|niet", denied.group()) and re.search(
            rf"{_lack()}\s+$", before[: denied.start()]
        )
        if turned:  # "il ne manque pas de levier"
            return "present", near + turned.start(), end
        if twice or (lack and re.search(rf"^{_WORDS}{_lack()}", between.lstrip() + " ")):
            return "present", near + (twice or denied).start(), end
        return "absent", near + denied.start(), end
    gone = _gone().match(after)
    if gone is None:
        return "present", start, end
    if re.search(rf"{_double()}\s+{_lack()}", gone.group()):
        return "present", start, end + gone.end()
    return "absent", start, end + gone.end()


def denial(clause: str, start: int, denied: int = -1) -> int:
    """Where the words begin that deny a year or variation at a place of a plain clause.

    Parameters
    ----------
    clause : str
    start : int
        Where the year or variation stands.
    denied : int
        End of the one before it that is denied, which may deny this one too; -1 without one.

    Returns
    -------
    int
        -1 where nothing denies it.

    Examples
    --------
    >>> denial("definitely not a w3", 17)
    11
    >>> denial("no box from 1934", 12)
    -1
    """
    near = max(0, start - _NEAR)
    found = _toward().search(clause[near:start])
    if found is not None:
        return near + found.start()
    return start if denied >= 0 and _alike().fullmatch(clause[denied:start]) else -1


@cache
def _toward() -> re.Pattern[str]:
    words = vocabulary()["negation"]
    return re.compile(rf"{one_of(words['claims'])}(?:\s+{one_of(words['toward'])})*[\s-]+$")


@cache
def _alike() -> re.Pattern[str]:
    words = vocabulary()["negation"]
    return re.compile(rf"\s+{one_of(words['alike'])}(?:\s+{one_of(words['toward'])})*\s+")


@cache
def _before() -> re.Pattern[str]:
    words = vocabulary()["negation"]
    article = one_of(vocabulary()["wheels"]["articles"])
    colour = one_of(word for names in vocabulary()["colours"].values() for word in names)
    close = rf"{one_of(words['close'])}(?=\s+(?:{article}\s+)?(?:{colour}[\s-]+)?$)"
    return re.compile(rf"{one_of(words['before'])}(?=\s+{_WORDS}(?:[\w'-]*-)?$)|{close}")


@cache
def _of_a_kind() -> re.Pattern[str]:
    """A version that is denied, and of which something is told after that."""
    words = vocabulary()["negation"]
    denied = one_of([*words["before"], *words["close"]])
    return re.compile(
        rf"{denied}\s+{_WORDS}{one_of(words['kinds'])}\s+{one_of(words['of_kinds'])}\s"
    )


@cache
def _gone() -> re.Pattern[str]:
    """What says, right after a part or after a second one joined to it, that it is gone."""
    words = vocabulary()["negation"]
    joined = r"(?:(?:and|or|und|oder|et|e|y|en|&)\s+(?:the\s+|its\s+)?[\w-]+\s+)?"
    linking = rf"(?:{one_of(words['linking'])}\s+){{0,{REACH}}}"
    return re.compile(rf"\s*{joined}{linking}{one_of(words['after'])}")


@cache
def _aside() -> re.Pattern[str]:
    return re.compile(one_of(vocabulary()["negation"]["aside"]))


@cache
def _signs() -> re.Pattern[str]:
    return re.compile(r"\b(?:signs?|traces?|evidence|hint|kind|sort)\s+of\b|\bspur\s+von\b")


@cache
def _own_things() -> re.Pattern[str]:
    return re.compile(rf"[\s-]+{one_of(vocabulary()['negation']['own_things'])}")


@cache
def _not_original() -> re.Pattern[str]:
    return re.compile(one_of(vocabulary()["negation"]["not_original"]))


@cache
def _double() -> str:
    return one_of(vocabulary()["negation"]["double"])


@cache
def _lack() -> str:
    return one_of(
        (
            "missing",
            "lacking",
            "lost",
            "gone",
            "absent",
            "fehlt",
            "fehlende*",
            "manquant*",
            "manque",
        )
    )
