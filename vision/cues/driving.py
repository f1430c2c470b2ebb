"""Counting the driving axles at the side rods."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.cues.counting import sharpened
from vision.records import Box, Cue, State

DRIVING_AXLES = (1, 2, 3, 4, 5, 6)
NAME = "driving_axles"
# That all wheels show: below this probability nothing is said of them; chosen.
_PERHAPS = 0.5
_HIDDEN = "the driving wheels cannot be counted in this picture"


def said_of_axles(out: Mapping[str, NDArray[np.float32]]) -> dict[str, float]:
    """What the judge of the rods says of the axles, as named numbers: probabilities."""
    said = {named(count): float(p) for count, p in zip(DRIVING_AXLES, out["axles"], strict=True)}
    return said | {"axles_countable": float(out["countable"][0])}


def named(count: int) -> str:
    """Name of the probability of a count among the evidence on the side linkage."""
    return f"axles_{count}"


def weigh_axles(values: Mapping[str, float], where: Box | None, fusion: Mapping[str, Any]) -> Cue:
    """The cue `driving_axles` from what was gathered on the side linkage.

    Parameters
    ----------
    values : mapping of str to float
        On the side linkage: one straightened region shows both.
    where : Box or None
        The side rods, pixels of the upright photo.
    fusion : mapping
        `fusion.json`; "driving_axles" holds a temperature (probabilities are raised to its
        inverse), "seen_at_least" and "sure_at_least".

    Returns
    -------
    Cue
        Where the count is unclear it tells what it leans to, as far as the wheels show.
    """
    if "axles_countable" not in values:
        return Cue(NAME, State.UNSEEN, where=where, because=_HIDDEN)
    model, countable = fusion[NAME], values["axles_countable"]
    if countable < _PERHAPS:
        return Cue(NAME, State.UNSEEN, where=where, because=_HIDDEN)
    shares = sharpened([values[named(n)] for n in DRIVING_AXLES], float(model["temperature"]))
    told = _by_count(shares)
    best = max(told, key=lambda count: told[count])
    clear = countable >= float(model["seen_at_least"])
    if not clear or told[best] < float(model["sure_at_least"]):
        # As far as some may be hidden, any number is as likely.
        leaning = _by_count([countable * p + (1.0 - countable) / len(shares) for p in shares])
        because = "the count is unclear in this picture"
        return Cue(NAME, State.UNSEEN, where=where, because=because, values=leaning, in_sight=True)
    because = f"{best} driving {'axle' if best == '1' else 'axles'} counted at the side rods"
    return Cue(
        NAME,
        State.PRESENT,
        value=best,
        confidence=told[best],
        where=where,
        because=because,
        values=told,
    )


def _by_count(shares: list[float]) -> Mapping[str, float]:
    return MappingProxyType({str(n): p for n, p in zip(DRIVING_AXLES, shares, strict=True)})
