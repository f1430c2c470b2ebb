"""Engines as they survive: drawn from a guide's own prior and rates."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from vision.estimate.argument import prior
from vision.estimate.factors import (
    ABSENT,
    OTHER,
    PRESENT,
    TENDER,
    UNLISTED,
    Factor,
    beside,
    factors_of,
)
from vision.estimate.reading import counts_possible, lamps_shown, lettered_today
from vision.guide import Guide
from vision.records import COUPLED, DRIVING, LETTERING, MOST_FIGURES


@dataclass(frozen=True, slots=True)
class Survivor:
    """One engine of today, with the truth about it.

    Attributes
    ----------
    variation : str
        Id of the variation, or "other".
    year : int | None
        Year of make; None for an engine of no variation.
    parts : mapping of str to str
        What a perfect eye would read of every cue and check: a state, a colour of the
        stripe or "absent", a number, a count. Cues that the guide knows nothing of are
        missing.
    as_made : bool
        Whether every part still is as the works delivered it; False for "other".
    """

    variation: str
    year: int | None
    parts: Mapping[str, str]
    as_made: bool


def draw_survivors(guide: Guide, items: int, rng: np.random.Generator) -> Iterator[Survivor]:
    """Draw engines as the guide says they survive.

    Variation and year come from the prior, then each part from the guide's rates: lost,
    added, recoloured, renumbered, with another's tender. An engine of no variation has
    each part or not, evenly, as the dating itself supposes.

    Parameters
    ----------
    guide : Guide
    items : int
        How many.
    rng : numpy.random.Generator
    """
    before = prior(guide)
    ids = list(before)
    factors = factors_of(guide)
    for index in rng.choice(len(ids), size=items, p=list(before.values())):
        variation, _, year = ids[index].rpartition("@")
        variation = variation or OTHER
        states = _states(guide, factors, variation, rng)
        # What is coupled behind a tank engine is no part of it.
        own = [factor for factor in factors if factor.name != COUPLED]
        as_made = variation != OTHER and all(
            states[f.name] in f.made.get(variation, {states[f.name]}) for f in own
        )
        parts = {name: state for name, state in states.items() if name != TENDER}
        if not guide.numbers:
            del parts["cab_number"]
        elif parts["cab_number"] == UNLISTED:
            parts["cab_number"] = _unlisted_number(guide, rng)
        if guide.tenders:
            shown, unharmed = _tender_shown(guide, states[TENDER], rng)
            parts |= shown
            as_made = as_made and unharmed
            if guide.tells_lettering:
                parts[LETTERING], unharmed = _lettering_shown(guide, states[TENDER], rng)
                as_made = as_made and unharmed
        known_year = int(year) if variation != OTHER else None
        yield Survivor(variation, known_year, MappingProxyType(parts), as_made)


def _states(
    guide: Guide, factors: Sequence[Factor], variation: str, rng: np.random.Generator
) -> dict[str, str]:
    """Draw a state of every part; of a tender behind a tank engine by the axles drawn before."""
    states: dict[str, str] = {}
    for factor in factors:
        for axles in (f for f in factors if (f.name, factor.name) == (DRIVING, COUPLED)):
            known = tuple(float(state == states[DRIVING]) for state in axles.states)
            factor = beside(guide, factor, axles, known)
        states[factor.name] = _draw(factor, variation, rng)
    return states


def _draw(factor: Factor, variation: str, rng: np.random.Generator) -> str:
    row = np.array(factor.history[variation])
    return factor.states[int(rng.choice(len(row), p=row / row.sum()))]


def _unlisted_number(guide: Guide, rng: np.random.Generator) -> str:
    while True:
        # As long as `numbers.unlisted_likelihood` has it.
        figures = rng.integers(0, 10, size=int(rng.integers(1, MOST_FIGURES + 1)))
        number = "".join(map(str, figures))
        if number not in guide.numbers:
            return number


def _tender_shown(
    guide: Guide, tender: str, rng: np.random.Generator
) -> tuple[dict[str, str], bool]:
    """Axles and lamps of a tender as it is today, and whether no lamp was lost or added."""
    axles, lamps = (counts_possible(guide, name) for name in ("tender_axles", "tender_lamps"))
    if tender == OTHER:
        any_of = {"tender_axles": _one_of(axles, rng), "tender_lamps": _one_of(lamps, rng)}
        return any_of, True
    made = next(t for t in guide.tenders if t.id == tender)
    shown = lamps_shown(made.lamps, guide.rates.of("tender_lamps"), lamps)
    chances = np.array([max(0.0, shown.get(count, 0.0)) for count in lamps])
    lamp = lamps[int(rng.choice(len(lamps), p=chances / chances.sum()))]
    return {"tender_axles": str(made.axles), "tender_lamps": lamp}, lamp == str(made.lamps)


def _lettering_shown(guide: Guide, tender: str, rng: np.random.Generator) -> tuple[str, bool]:
    """Whether a tender is lettered today, and whether that is as it was made."""
    made = next((t for t in guide.tenders if t.id == tender), None)
    there = bool(rng.random() < (0.5 if made is None else lettered_today(guide, made)))
    as_made = made is None or made.lettering in (None, there)
    return (PRESENT if there else ABSENT), as_made


def _one_of(values: Sequence[str], rng: np.random.Generator) -> str:
    return values[int(rng.integers(len(values)))]
