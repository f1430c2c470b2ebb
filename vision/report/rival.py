"""What a step does between the likeliest variation and the one that comes nearest to it.

`Step.strength` weighs the likeliest against all the others together, where one that is
already far behind counts as much as the one that is still in question.
"""

from __future__ import annotations

import math

from vision.estimate.strength import NO_SUPPORT, support
from vision.records import Candidate, Estimate, Step
from vision.report.narrowing import NOT_IN_GUIDE, by_candidate

# Variations that a step leaves equally likely but for rounding are not decided by it.
_ROUNDING = 1e-9


def rival_words(step: Step, estimate: Estimate) -> str:
    """What a step does between the first variation and its nearest rival.

    Parameters
    ----------
    step : Step
    estimate : Estimate
        Of which `step` is a part.

    Returns
    -------
    str
        That it decides between the two, where without it the rival would be the
        likelier; else how strongly it speaks for one of them over the other. Empty
        where it hardly tells them apart, where `step.strength` is empty or says as much
        already, or where no variation of the guide comes first.
    """
    ratio = _ratio(step, estimate)
    size = support(ratio)
    pair = _pair(estimate)
    if pair is None or step.ratio is None or size == NO_SUPPORT:
        return ""
    first, rival = pair
    if ratio > 1.0 and first.p < rival.p * ratio * (1.0 - _ROUNDING):
        return f"decides between {first.id} and {rival.id} ({size})"
    alike = support(step.ratio) == size and (step.ratio > 1.0) == (ratio > 1.0)
    if alike and step.leader == first.id:
        return ""
    ahead, behind = (first, rival) if ratio > 1.0 else (rival, first)
    return f"{size} for {ahead.id} over {behind.id}"


def rival_bearing(step: Step, estimate: Estimate) -> str:
    """Whether a step speaks for the first variation against its nearest rival."""
    if not rival_words(step, estimate):
        return "neutral"
    return "for" if _ratio(step, estimate) > 1.0 else "against"


def _pair(estimate: Estimate) -> tuple[Candidate, Candidate] | None:
    """The likeliest variation, and the likeliest of the others in the guide."""
    if not estimate.variations or estimate.variations[0].id == NOT_IN_GUIDE:
        return None
    first, *others = (c for c in estimate.variations if c.id != NOT_IN_GUIDE)
    return (first, others[0]) if others else None


def _ratio(step: Step, estimate: Estimate) -> float:
    """P(what was read | first) / P(what was read | rival); 1 without a rival."""
    pair = _pair(estimate)
    likelihoods = by_candidate(step.likelihoods)
    if pair is None or any(c.id not in likelihoods for c in pair):
        return 1.0
    first, rival = (math.log(max(likelihoods[c.id], 1e-300)) for c in pair)
    return math.exp(min(max(first - rival, -300.0), 300.0))
