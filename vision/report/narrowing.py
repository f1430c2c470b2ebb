"""Whether an answer tells one variation from another at all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from vision.records import Estimate

# What the estimate calls the hypothesis that an engine is none of the guide's, and
# the years of such an engine (EDTF: no figure known).
NOT_IN_GUIDE = "other"
YEAR_UNKNOWN = "XXXX"
# How often more probable the evidence must be under one variation than under another to
# favour it: "weak support" begins here (ENFSI Guideline 2015, from memory).
FAVOURED = 2.0


def tells_nothing(estimate: Estimate) -> bool:
    """Whether no evidence favours any variation over another twofold.

    The stated years are then the guide's own, whatever is in the picture, and "very
    likely" would be said of an engine that was hardly seen. An engine that is in no
    variation is told from all of them.
    """
    return _is_even(estimate.years, (step.likelihoods for step in estimate.steps))


def tells_nothing_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return _is_even(estimate["years"], (step["likelihoods"] for step in estimate["steps"]))


def by_candidate(likelihoods: Mapping[str, float]) -> dict[str, float]:
    """Likelihood of each variation: the same for all its years ("W1@1931")."""
    return {id.partition("@")[0]: p for id, p in likelihoods.items()}


def _is_even(years: str, steps: Iterable[Mapping[str, float]]) -> bool:
    total: dict[str, float] = {}
    for likelihoods in steps:
        for id, p in by_candidate(likelihoods).items():
            if id != NOT_IN_GUIDE:
                total[id] = total.get(id, 0.0) + math.log(max(p, 1e-300))
    # A guide of a single variation has nothing to tell it from.
    if years == YEAR_UNKNOWN or len(total) < 2:
        return False
    return max(total.values()) - min(total.values()) < math.log(FAVOURED)
