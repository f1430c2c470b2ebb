"""What a posterior comes to: years with their mass, and every variation, likeliest first."""

from __future__ import annotations

import math
from collections.abc import Mapping

from vision.estimate.argument import FLOOR, by_variation
from vision.estimate.factors import OTHER
from vision.guide import Guide, write_years
from vision.records import YEAR_UNKNOWN, Candidate

# Share of the posterior that the stated years hold.
YEARS_MASS = 0.9
# Years whose probabilities differ by less than this part are equal: the rest is rounding.
_EQUAL = 1e-9


def years_and_mass(posterior: Mapping[str, float]) -> tuple[str, float]:
    """The smallest set of years that holds `YEARS_MASS`, as EDTF, and its mass.

    Years that the evidence cannot tell apart go in together. Where "other" leaves
    less than that to the years, the set holds that share of what it leaves, and the
    mass says how little it is. Where "other" has half or more, no year is said:
    "XXXX", with the probability of "other".
    """
    other = posterior[OTHER]
    if other >= 0.5:
        return YEAR_UNKNOWN, other
    parts: dict[int, list[float]] = {}
    for id, p in posterior.items():
        if id != OTHER:
            parts.setdefault(int(id.rpartition("@")[2]), []).append(p)
    masses = {year: math.fsum(ps) for year, ps in parts.items()}
    wanted = YEARS_MASS if 1.0 - other >= YEARS_MASS else YEARS_MASS * (1.0 - other)
    chosen: list[int] = []
    held = last = 0.0
    for year in sorted(masses, key=lambda y: (-masses[y], y)):
        if held >= wanted and masses[year] < last * (1.0 - _EQUAL):
            break
        chosen.append(year)
        last = masses[year]
        held = math.fsum(masses[y] for y in chosen)
    return write_years(tuple(chosen)), min(held, 1.0 - FLOOR)


def candidates(guide: Guide, posterior: Mapping[str, float]) -> tuple[Candidate, ...]:
    """Every variation and "other", likeliest first."""
    summed = by_variation(posterior)
    years = {v.id: v.edtf for v in guide.variations} | {OTHER: YEAR_UNKNOWN}
    ids = sorted(summed, key=lambda id: -summed[id])
    return tuple(Candidate(id, years[id], min(summed[id], 1.0 - FLOOR)) for id in ids)
