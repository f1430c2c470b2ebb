"""What an engine of no variation may be, as stories with their probabilities."""

from __future__ import annotations

import math
from collections.abc import Sequence

from vision.estimate.argument import Evidence
from vision.estimate.factors import PRESENT, elsewhere, outside_shares, weighed
from vision.guide import Guide
from vision.records import COUPLED, DRIVING


def outside_stories(
    guide: Guide, other: float, casting: Sequence[Evidence] = ()
) -> list[tuple[str, float]]:
    """Split the probability of "other" as the guide's rates do, and what tells its casting.

    Where driving axles were counted or a tender was told (`casting`), engines of another
    casting are told apart from a variation that the guide lacks.
    """
    another, lacking, reproduction = outside_shares(guide)
    told = []
    if not casting:
        lacking += another
    else:
        own = math.prod(item.likelihood(guide.variations[0].id) for item in casting)
        another *= math.prod(weighed(elsewhere(e.factor), e.reading) for e in casting)
        lacking, reproduction = lacking * own, reproduction * own
        total = another + lacking + reproduction
        another, lacking, reproduction = another / total, lacking / total, reproduction / total
        told.append((_another_engine(guide, casting), other * another))
    return [
        *told,
        ("a variation that the guide lacks", other * lacking),
        ("a reproduction, or put together from several engines", other * reproduction),
    ]


def _another_engine(guide: Guide, casting: Sequence[Evidence]) -> str:
    """Tell it with what of the guide's engine the readings speak against."""
    read = {item.factor.name: _likeliest(item) for item in casting}
    own = guide.driving_axles
    axles = f"{own} driving axle{'' if own == 1 else 's'}"
    axles = axles if read.get(DRIVING, str(own)) != str(own) else ""
    if read.get(COUPLED) == PRESENT:
        has = f", which is a tank engine{f' with {axles}' if axles else ''}"
    else:
        has = f", which has {axles}" if axles else ""
    return f"another engine than this guide's{has}"


def _likeliest(item: Evidence) -> str:
    return item.factor.states[max(range(len(item.reading)), key=lambda i: item.reading[i])]


def of_the_casting(engine: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """Evidence on what the casting settles: driving axles and a tender, where they were told."""
    return tuple(e for e in engine if e.factor.name in (DRIVING, COUPLED) and e.speaks)
