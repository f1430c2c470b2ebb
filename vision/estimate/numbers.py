"""How a cab number gets misread: a channel from the number painted to the text read.

Each painted character may be worn away, be read as itself, as a look-alike or as
anything; between characters something that is none may be read. The model gives a
probability to every text, and these sum to 1 for each number.
"""

from __future__ import annotations

from functools import cache

from vision.records import ILLEGIBLE, MOST_FIGURES

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

# Figures and letters that resemble each other on a cab side: trade knowledge, common
# practice, no source.
LOOK_ALIKES = (
    frozenset("38"),
    frozenset("68"),
    frozenset("56"),
    frozenset("89"),
    frozenset("35"),
    frozenset("17"),
    frozenset("27"),
    frozenset("49"),
    frozenset("0OQD"),
    frozenset("1IL"),
    frozenset("2Z"),
    frozenset("5S"),
    frozenset("8B"),
    frozenset("6G"),
)

# Shares of characters worn away, or misread beyond the doubt that a reader states of its own.
# Chosen.
WORN_AWAY = 0.03
READ_EXTRA = 0.01
READ_AS_LOOK_ALIKE = 0.06
READ_AS_ANYTHING = 0.01


@cache
def character_likelihood(read: str, painted: str) -> float:
    """P(character read | character painted, not worn away)."""
    if read == ILLEGIBLE:
        return 1.0
    alike = {c for group in LOOK_ALIKES if painted in group for c in group} - {painted}
    likelihood = READ_AS_ANYTHING / len(ALPHABET)
    as_look_alike = READ_AS_LOOK_ALIKE if alike else 0.0
    if read == painted:
        likelihood += 1.0 - as_look_alike - READ_AS_ANYTHING
    elif read in alike:
        likelihood += as_look_alike / len(alike)
    return likelihood


@cache
def reading_likelihood(read: str, painted: str) -> float:
    """P(text read | number painted), summed over every way to align the two.

    Parameters
    ----------
    read : str
        Characters of `ALPHABET`; "?" stands for any one character.
    painted : str
        The whole number on the engine.

    Returns
    -------
    float
        In [0, 1]; sums to 1 over all texts without "?".
    """
    # ways[j]: probability of having read j characters before the next painted one.
    ways = [1.0] + [0.0] * len(read)
    for painted_character in (*painted, None):
        for j, character in enumerate(read):
            extra = 1.0 if character == ILLEGIBLE else 1.0 / len(ALPHABET)
            ways[j + 1] += ways[j] * READ_EXTRA * extra
        ways = [way * (1.0 - READ_EXTRA) for way in ways]
        if painted_character is not None:
            kept = 1.0 - WORN_AWAY
            seen = [character_likelihood(character, painted_character) for character in read]
            moved = [0.0] + [way * kept * s for way, s in zip(ways, seen, strict=False)]
            ways = [way * WORN_AWAY + step for way, step in zip(ways, moved, strict=True)]
    return ways[-1]


def unlisted_likelihood(read: str) -> float:
    """P(text read | a number that is in no list): any of one to `MOST_FIGURES` figures.

    A letter counts as one of the whole alphabet. Cab numbers of more than five
    figures are not used on models (common practice, no source).
    """
    likelihood = 1.0 / MOST_FIGURES
    for character in read:
        if character != ILLEGIBLE:
            likelihood *= 0.1 if character.isdigit() else 1.0 / len(ALPHABET)
    return likelihood
