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
    if not ratio > 0:
        raise ValueError(f"ratio: more than 0 expected, got {ratio}")
    size = max(ratio, 1.0 / ratio)
    for least, words in SCALE:
        if size >= least:
            return words if ratio > 1 else f"{words} against"
    return NO_SUPPORT


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
