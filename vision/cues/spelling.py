"""From the character probabilities of one line to probabilities of whole numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from vision.records import FIGURES, ILLEGIBLE, MOST_FIGURES, Box

BLANK = ""
# Share of "?" before or after two or more figures that is a plate's rim, lining or the
# cab's edge rather than a figure. Chosen.
_RIM_SHARE = 0.7
_BEAMS = 16
_LEAST = 1e-4


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of characters.

    Attributes
    ----------
    text : str
        The most probable characters.
    confidence : float
        Mean probability of those characters, 0 to 1.
    box : Box
        Round the line, pixels of the picture given.
    proportion : float
        Width over height of its characters, their median.
    steps : tuple of mapping of str to float
        From left to right, the probability of each character at each step, `BLANK` for
        none; equal characters at neighbouring steps are one (connectionist temporal
        classification, Graves et al. 2006). Each sums to at most 1; the rest is no figure.
    """

    text: str
    confidence: float
    box: Box
    proportion: float
    steps: tuple[Mapping[str, float], ...]


def spell(reading: Reading) -> dict[str, float]:
    """Probability of each number that a line may show.

    Prefix search over figures, "illegible" and blank (Graves et al. 2006, connectionist
    temporal classification, section 3.2), then only strings that can be a number.

    Parameters
    ----------
    reading : Reading

    Returns
    -------
    dict of str to float
        One to five figures, at most one of them "?", the most probable first; the sum is
        the probability that the line is a number at all.
    """
    beams: dict[str, tuple[float, float]] = {"": (1.0, 0.0)}
    for step in reading.steps:
        beams = _extended(beams, _symbols(step))
    totals: dict[str, float] = {}
    for text, ways in beams.items():
        for shown, share in _without_rims(text):
            if _is_number(shown):
                totals[shown] = totals.get(shown, 0.0) + share * sum(ways)
    ordered = sorted(totals.items(), key=lambda item: (-item[1], item[0]))
    return {text: p for text, p in ordered if p >= _LEAST}


def blend(spellings: Iterable[Mapping[str, float]]) -> dict[str, float]:
    """Mean of several looks at one place, the most probable number first."""
    looks = list(spellings)
    texts = {text for look in looks for text in look}
    means = {text: sum(look.get(text, 0.0) for look in looks) / len(looks) for text in texts}
    return dict(sorted(means.items(), key=lambda item: (-item[1], item[0])))


def _symbols(step: Mapping[str, float]) -> dict[str, float]:
    """A step's probability over blank, figures and "illegible"; sums to 1."""
    blank = step.get(BLANK, 0.0)
    shares: dict[str, float] = {}
    for character, p in step.items():
        if character in FIGURES and character:
            shares[character] = shares.get(character, 0.0) + p
    shares[ILLEGIBLE] = max(0.0, 1.0 - blank - sum(shares.values()))
    shares[BLANK] = blank
    return shares


def _extended(
    beams: Mapping[str, tuple[float, float]], symbols: Mapping[str, float]
) -> dict[str, tuple[float, float]]:
    """Every beam after one more step: ways that end in a blank, and ways that do not."""
    ways: dict[str, list[float]] = {}
    for text, (blank, solid) in beams.items():
        ways.setdefault(text, [0.0, 0.0])[0] += (blank + solid) * symbols[BLANK]
        for symbol, p in symbols.items():
            if symbol == BLANK or p < _LEAST:
                continue
            repeated = text.endswith(symbol)
            if repeated:
                ways[text][1] += solid * p
            longer = ways.setdefault(text + symbol, [0.0, 0.0])
            longer[1] += (blank if repeated else blank + solid) * p
    best = sorted(ways.items(), key=lambda item: -sum(item[1]))[:_BEAMS]
    return {text: (blank, solid) for text, (blank, solid) in best}


def _without_rims(text: str) -> tuple[tuple[str, float], ...]:
    inner = text.strip(ILLEGIBLE)
    if inner == text or len(inner) < 2:
        return ((text, 1.0),)
    return ((inner, _RIM_SHARE), (text, 1.0 - _RIM_SHARE))


def _is_number(text: str) -> bool:
    if not 1 <= len(text) <= MOST_FIGURES:
        return False
    illegible = text.count(ILLEGIBLE)
    return illegible == 0 or (illegible == 1 and len(text) >= 3)
