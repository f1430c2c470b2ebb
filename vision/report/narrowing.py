"""Whether an answer tells one variation, or one year, from another at all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from vision.guide import write_years, years_of
from vision.records import SEVERAL_ENGINES, YEAR_UNKNOWN, Estimate

# What the estimate calls the hypothesis that an engine is none of the guide's.
NOT_IN_GUIDE = "other"
# How often more probable the evidence must be under one variation than under another to
# favour it: "weak support" begins here (ENFSI Guideline 2015, from memory).
FAVOURED = 2.0


def tells_nothing(estimate: Estimate) -> bool:
    """Whether no evidence favours any variation over another twofold.

    The stated years are then the guide's own, whatever is in the picture, and "very
    likely" would be said of an engine that was hardly seen. An engine that is in no
    variation is told from all of them. A guide of a single variation tells that one from an
    engine that is none of the guide's, or tells nothing. Of photos that show several engines
    nothing that is said of one is told either.
    """
    return shows_several(estimate) or _is_even(
        estimate.years, (step.likelihoods for step in estimate.steps)
    )


def tells_nothing_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return shows_several_plain(estimate) or _is_even(
        estimate["years"], (step["likelihoods"] for step in estimate["steps"])
    )


def shows_several(estimate: Estimate | None) -> bool:
    """Whether photos that were put together seem to show more than one engine."""
    conflicts = () if estimate is None else estimate.conflicts
    return any(conflict.kind == SEVERAL_ENGINES for conflict in conflicts)


def shows_several_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return any(conflict["kind"] == SEVERAL_ENGINES for conflict in estimate["conflicts"])


def favours_in_part(estimate: Estimate) -> bool:
    """Whether a single step favours some variation, whatever all steps together tell."""
    return _is_uneven(estimate.years, (step.likelihoods for step in estimate.steps))


def favours_in_part_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return _is_uneven(estimate["years"], (step["likelihoods"] for step in estimate["steps"]))


def all_years_open(estimate: Estimate) -> bool:
    """Whether the stated years are all the years of the guide.

    Some variations may be likelier than others then, but no year is left out, and "very
    likely" would be said of nothing but that the engine is one of the guide's.
    """
    return _is_whole(estimate.years, ((c.id, c.years) for c in estimate.variations))


def all_years_open_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return _is_whole(estimate["years"], ((c["id"], c["years"]) for c in estimate["variations"]))


def names_no_year(estimate: Estimate) -> bool:
    """Whether no year is told from another, for either reason."""
    return tells_nothing(estimate) or all_years_open(estimate)


def names_no_year_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return tells_nothing_plain(estimate) or all_years_open_plain(estimate)


def by_candidate(likelihoods: Mapping[str, float]) -> dict[str, float]:
    """Likelihood of each variation: the same for all its years ("W1@1931")."""
    return {id.partition("@")[0]: p for id, p in likelihoods.items()}


def _is_whole(stated: str, candidates: Iterable[tuple[str, str]]) -> bool:
    spans = [years for id, years in candidates if id != NOT_IN_GUIDE]
    # A guide of a single variation or year has no years to narrow down.
    if len(spans) < 2:
        return False
    years = tuple(sorted({year for span in spans for year in years_of(span)}))
    return len(years) > 1 and stated == write_years(years)


def of_one_variation(estimate: Estimate) -> bool:
    """Whether the guide has no other variation that its one could be told from."""
    return len([c for c in estimate.variations if c.id != NOT_IN_GUIDE]) == 1


def of_one_variation_plain(estimate: Mapping[str, Any]) -> bool:
    """Say the same of an estimate as `answer_json` gives it."""
    return len([c for c in estimate["variations"] if c["id"] != NOT_IN_GUIDE]) == 1


def _is_uneven(years: str, steps: Iterable[Mapping[str, float]]) -> bool:
    return any(not _is_even(years, (step,)) for step in steps)


def _is_even(years: str, steps: Iterable[Mapping[str, float]]) -> bool:
    if years == YEAR_UNKNOWN:
        return False
    total: dict[str, float] = {}
    for likelihoods in steps:
        for id, p in by_candidate(likelihoods).items():
            total[id] = total.get(id, 0.0) + math.log(max(p, 1e-300))
    told = {id: sum_ for id, sum_ in total.items() if id != NOT_IN_GUIDE}
    # A single variation is told from engines of none of the guide's, if from anything.
    weighed = list((told if len(told) > 1 else total).values())
    if not weighed:
        return False
    return max(weighed) - min(weighed) < math.log(FAVOURED)
