"""Counting the driving axles at the side rods."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.cues.counting import by_count, count_cue, sharpened
from vision.records import DRIVING, Box, Cue, State

RODS = "side_linkage"  # whose judge counts the driving axles, too
DRIVING_AXLES = (1, 2, 3, 4, 5, 6)
# That all wheels show: below this probability nothing is said of them; chosen.
_PERHAPS = 0.5
_SEEN = (
    "driving axle counted at the side rods",
    "driving axles counted at the side rods",
)
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
    countable = values.get("axles_countable", 0.0)
    if countable < _PERHAPS:
        return Cue(DRIVING, State.UNSEEN, where=where, because=_HIDDEN)
    model = fusion[DRIVING]
    shares = sharpened([values[named(n)] for n in DRIVING_AXLES], float(model["temperature"]))
    # As far as some may be hidden, any number is as likely.
    leaning = [countable * p + (1.0 - countable) / len(shares) for p in shares]
    return count_cue(
        DRIVING,
        by_count(DRIVING_AXLES, shares),
        sure_at_least=float(model["sure_at_least"]),
        where=where,
        words=_SEEN,
        clear=countable >= float(model["seen_at_least"]),
        leaning=by_count(DRIVING_AXLES, leaning),
    )
