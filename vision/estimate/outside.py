"""What an engine of no variation may be, as stories with their probabilities."""

from __future__ import annotations

import math
from collections.abc import Sequence

from vision.estimate.argument import Evidence
from vision.estimate.factors import DRIVING, driving_elsewhere, outside_shares
from vision.guide import Guide


def outside_stories(
    guide: Guide, other: float, axles: Evidence | None = None
) -> list[tuple[str, float]]:
    """Split the probability of "other" as the guide's rates do, and the driving axles.

    Where these were counted (`axles`), engines of another casting are told apart from a
    variation that the guide lacks.
    """
    another, lacking, reproduction = outside_shares(guide)
    told = []
    if axles is None:
        lacking += another
    else:
        states, of_casting = axles.factor.states, axles.likelihood(guide.variations[0].id)
        anywhere = zip(driving_elsewhere(states), axles.reading, strict=True)
        another *= math.fsum(p * r for p, r in anywhere)
        lacking, reproduction = lacking * of_casting, reproduction * of_casting
        total = another + lacking + reproduction
        another, lacking, reproduction = another / total, lacking / total, reproduction / total
        counted = states[max(range(len(states)), key=lambda i: axles.reading[i])]
        told.append((_another_engine(guide, counted), other * another))
    return [
        *told,
        ("a variation that the guide lacks", other * lacking),
        ("a reproduction, or put together from several engines", other * reproduction),
    ]


def _another_engine(guide: Guide, counted: str) -> str:
    own = guide.driving_axles
    has = f", which has {own} driving axle{'' if own == 1 else 's'}"
    return f"another engine than this guide's{'' if counted == str(own) else has}"


def counted_axles(engine: Sequence[Evidence]) -> Evidence | None:
    """Evidence on the driving axles, where they were counted."""
    items = (item for item in engine if item.factor.name == DRIVING)
    return next((item for item in items if any(cue.speaks for cue in item.cues)), None)
