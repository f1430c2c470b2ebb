"""What stands right under the years, because the years alone would mislead."""

from __future__ import annotations

from vision.records import YEAR_UNKNOWN, Answer
from vision.report.narrowing import shows_several

# What a year alone would hide: it is the engine's, and the tender is of another.
STRANGE_TENDER = "engine and tender do not fit together"
BY_ENGINE = "dated by the engine"


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
