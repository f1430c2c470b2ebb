"""Another engine in the picture, and whose tender stands there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.locate.finder import MIN_WIDTH_PX, Glimpse, find_in, nearer
from vision.locate.poser import posed
from vision.network import Networks
from vision.records import Box, Photo, Sighting

# The finder has learnt to pass over all but one engine of a picture; of the others it leaves
# hints, no surer than those of wagons. The surest that is clear of the dated engine is looked
# at from nearer; an engine is seen there as surely as any. Of 1,619 drawn pictures without a
# second engine in sight none was said to have one, and of 36 with one that stands clear 13 were.
_PLAIN, _ENGINE = 0.6, 0.9  # least score from nearer, of the finder and of the poser
_LIKE = 0.3  # least overlap of what is seen from nearer with what was seen from afar
_COVER = 0.25  # share of the smaller of two boxes up to which they are clear of each other
# What is coupled to the dated engine is no engine of its own to a glance: it lies on the line
# of that engine, to within the first share of its box's height, and no further from the box or
# the tender's than the second. By eye on drawn pictures of two engines.
_IN_LINE, _COUPLING = 0.35, 0.3


def another_engine(
    photo: Photo, sighting: Sighting, glimpse: Glimpse, networks: Networks
) -> Box | None:
    """Another engine, clear of the one that is dated; None where none is surely seen.

    Parameters
    ----------
    photo : Photo
    sighting : Sighting
        Of the engine that is dated, and its tender.
    glimpse : Glimpse
        What the finder saw in the whole photo; its hints are used.
    networks : Networks
        "finder" and "poser" are used, where there is a hint.

    Returns
    -------
    Box or None
        In pixels of the upright full-size photo.
    """
    own = [sighting.locomotive, *([] if sighting.tender is None else [sighting.tender])]

    def clear(box: Box) -> bool:
        apart = all(_cover(box, part) <= _COVER for part in own)
        return apart and box.width >= MIN_WIDTH_PX and box.height > 0

    hint = next(filter(clear, glimpse.hints), None)
    if hint is None:
        return None
    near = find_in(nearer(photo, hint, networks["finder"].size), photo, networks)
    box = near.locomotive
    if near.score < _PLAIN or box.intersection_over_union(hint) < _LIKE:
        return None
    if not clear(box) or _coupled(box, sighting, own):
        return None
    engine = float(posed(photo, box, networks)[1]["engine"][0])
    return box if engine >= _ENGINE else None


def with_own_tender(sighting: Sighting) -> Sighting:
    """The sighting without its tender where that stands closer to another engine."""
    tender, another = sighting.tender, sighting.another
    if tender is None or another is None:
        return sighting
    strange = max(tender.gaps_to(another)) < max(tender.gaps_to(sighting.locomotive))
    return replace(sighting, tender=None) if strange else sighting


def _cover(one: Box, two: Box) -> float:
    """Area that two boxes share over the area of the smaller."""
    smaller = min(one.area, two.area)
    return one.shared_with(two) / smaller if smaller else 0.0


def _coupled(box: Box, sighting: Sighting, own: list[Box]) -> bool:
    """Whether a box goes on where the dated engine or its tender ends, on the same line."""
    corners = np.array(list(sighting.regions.values()))
    front, rear = corners[:, [0, 3]].mean((0, 1)), corners[:, [1, 2]].mean((0, 1))
    along, offset = rear - front, np.array(box.centre) - front
    aside = abs(along[0] * offset[1] - along[1] * offset[0]) / max(float(np.hypot(*along)), 1e-6)
    gap = min(max(box.gaps_to(part)) for part in own)
    height = sighting.locomotive.height
    return bool(aside < _IN_LINE * height and gap < _COUPLING * height)
