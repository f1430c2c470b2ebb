"""What stands beside the years, and right under them, because alone they would mislead."""

from __future__ import annotations

from vision.records import YEAR_UNKNOWN, Answer
from vision.report.names import one_line
from vision.report.narrowing import shows_several

# What a year alone would hide: it is the engine's, and the tender is of another.
STRANGE_TENDER = "engine and tender do not fit together"
BY_ENGINE = "dated by the engine"
# Said of the guide that is taken where nobody names one: it fits no real engine.
EXAMPLE = "an invented example"


def guide_words(answer: Answer) -> str:
    """Say by which guide the years are, and that it is an example where none was named.

    Empty where no engine was found, and so nothing dated.
    """
    if answer.estimate is None:
        return ""
    named = f"by the guide {one_line(answer.versions['guide'])}"
    return f"{named}, {EXAMPLE}" if answer.by_default else named


def under_years(answer: Answer) -> str:
    """Say in one line that engine and tender do not fit together; empty where they may.

    Of photos that seem to show several engines it is not said: whose tender is whose is open.
    """
    estimate = answer.estimate
    if estimate is None or shows_several(estimate):
        return ""
    if all(conflict.kind != "engine_tender" for conflict in estimate.conflicts):
        return ""
    dated = estimate.years != YEAR_UNKNOWN
    return f"{STRANGE_TENDER}; {BY_ENGINE}" if dated else STRANGE_TENDER
