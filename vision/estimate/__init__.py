"""Cues and a guide to years, variations, the argument, conflicts and the next look.

Touches no image. Hypothesis ids: "W1@1931" for a variation in a year, and "other".
"""

from vision.estimate.argument import by_variation, prior, replay, take_steps
from vision.estimate.dating import estimate
from vision.estimate.eyes import (
    CHOSEN,
    PERFECT,
    READINGS,
    Eyesight,
    Skill,
    fitted_counts,
    visible_shares,
)
from vision.estimate.reading import PERSON_RELIABILITY
from vision.estimate.saw import saw
from vision.estimate.strength import strength_words
from vision.estimate.worth import Tally, simulate, wilson

__all__ = [
    "CHOSEN",
    "PERFECT",
    "PERSON_RELIABILITY",
    "READINGS",
    "Eyesight",
    "Skill",
    "Tally",
    "by_variation",
    "estimate",
    "fitted_counts",
    "prior",
    "replay",
    "saw",
    "simulate",
    "strength_words",
    "take_steps",
    "visible_shares",
    "wilson",
]
