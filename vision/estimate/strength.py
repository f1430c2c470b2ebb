"""Likelihood ratios and probabilities in words.

The cuts and words are those of the ENFSI Guideline for Evaluative Reporting in
Forensic Science (2015), appendix on the verbal scale; from memory. The Association of
Forensic Science Providers (Science & Justice 49, 2009) sets the same cuts from 10
upwards but calls everything above 1 already weak; here ENFSI's lowest cut, 2, is used,
and a ratio below it is no support either way.
"""

from __future__ import annotations

# (least likelihood ratio, words), highest first.
SCALE = (
    (1_000_000.0, "extremely strong support"),
    (10_000.0, "very strong support"),
    (1_000.0, "strong support"),
    (100.0, "moderately strong support"),
    (10.0, "moderate support"),
    (2.0, "weak support"),
)
NO_SUPPORT = "no support either way"
# How far a probability that rests on estimates is kept from 0 and 1. Anything that rounds
# to less than half a percent reads the same.
_SHORT_OF_SURE = 1e-6
# The least that is written as a number: as far from 0 as the argument keeps (its floor).
_LEAST_WRITTEN = 1e-12


def strength_words(ratio: float) -> str:
    """Words for a likelihood ratio; below 1/2 with "against".

    Parameters
    ----------
    ratio : float
        P(evidence | one hypothesis) / P(evidence | the others), more than 0.

    Raises
    ------
    ValueError
        Not more than 0.

    Examples
    --------
    >>> strength_words(20.0), strength_words(1.2), strength_words(0.02)
    ('moderate support', 'no support either way', 'moderate support against')
    """
    words = support(ratio)
    return f"{words} against" if ratio < 1 and words != NO_SUPPORT else words


def support(ratio: float) -> str:
    """Words for how strong a likelihood ratio is, whichever way it points.

    Parameters
    ----------
    ratio : float
        As of `strength_words`.

    Raises
    ------
    ValueError
        Not more than 0.
    """
    if not ratio > 0:
        raise ValueError(f"ratio: more than 0 expected, got {ratio}")
    size = max(ratio, 1.0 / ratio)
    return next((words for least, words in SCALE if size >= least), NO_SUPPORT)


def percent(p: float) -> str:
    """Write a probability in whole percent, never rounded to a certainty it is not.

    Examples
    --------
    >>> percent(0.934), percent(0.9991), percent(0.0004)
    ('93 %', 'over 99 %', 'under 1 %')
    """
    if 0.995 <= p < 1.0:
        return "over 99 %"
    if 0.0 < p <= 0.005:
        return "under 1 %"
    return f"{100 * p:.0f} %"


def estimated_percent(p: float) -> str:
    """Write a probability that rests on estimates, so that it is never certain or impossible.

    Examples
    --------
    >>> estimated_percent(1.0), estimated_percent(0.93), estimated_percent(0.0)
    ('over 99 %', '93 %', 'under 1 %')
    """
    return percent(min(max(p, _SHORT_OF_SURE), 1.0 - _SHORT_OF_SURE))


def six_digits(p: float) -> float:
    """Round a probability for other programs to read: six significant digits, never 0 or 1.

    Examples
    --------
    >>> six_digits(0.93412345), six_digits(0.0000123456789), six_digits(0.9999999)
    (0.934123, 1.23457e-05, 0.999999)
    """
    return min(max(float(f"{p:.6g}"), _LEAST_WRITTEN), 1.0 - _SHORT_OF_SURE)
