"""Regions and measurements to cues, each PRESENT, ABSENT or UNSEEN, with probabilities.

Learned and classical evidence are gathered per cue (`evidence`) and fused by a small
fitted model whose coefficients stand in `models/fusion.json` (`fuse`).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from vision.cues.coupled import weigh_coupled
from vision.cues.driving import RODS, weigh_axles
from vision.cues.evidence import Evidence, gather
from vision.cues.fuse import in_doubt, weigh
from vision.cues.lettering import NO_TENDER, read_lettering
from vision.cues.number import read_number
from vision.cues.tender import count, counted, look_at_tender, weigh_counts
from vision.network import Networks
from vision.photo import closer
from vision.records import (
    BINARY_CUES,
    COUPLED,
    LETTERING,
    REGION_OF_CUE,
    Box,
    Cue,
    Photo,
    Sighting,
    State,
)

__all__ = [
    "ENGINE_WIDTH_PX",
    "Evidence",
    "count",
    "gather",
    "read_cues",
    "read_lettering",
    "read_number",
    "weigh",
    "weigh_axles",
    "weigh_counts",
]


# Decoded pixels. A photo in which the engine is smaller is decoded again, more finely.
# The networks learned from engines about 300 pixels wide, half as much again is kept.
ENGINE_WIDTH_PX = 440.0


def read_cues(
    photo: Photo, sighting: Sighting, networks: Networks, places: Sequence[float] = ()
) -> tuple[Cue, ...]:
    """Judge every cue on one photo, decoded more finely where the engine is small in it.

    Parameters
    ----------
    photo : Photo
    sighting : Sighting
        Where the engine is, from `locate`.
    networks : Networks
        One judge per region, and the fitted coefficients.
    places : sequence of float
        Where to look closely for a lever, shares of the boiler top's length.

    Returns
    -------
    tuple of Cue
        One for each cue name, in the order of PHOTO_CUES.
    """
    photo = closer(photo, ENGINE_WIDTH_PX / max(sighting.locomotive.width, 1.0))
    evidence = {
        name: gather(
            *(photo, sighting, networks, name, places),
            in_doubt=partial(in_doubt, fusion=networks.fusion, cue=name),
        )
        for name in BINARY_CUES
    }
    rods = Box.around(sighting.regions[REGION_OF_CUE[RODS]]).clipped(*photo.size)
    axles = weigh_axles(evidence[RODS].values, rods, networks.fusion)
    tender, number = _tender(photo, sighting, networks), read_number(photo, sighting, networks)
    return (*(weigh(e, networks.fusion) for e in evidence.values()), axles, *tender, number)


def _tender(photo: Photo, sighting: Sighting, networks: Networks) -> tuple[Cue, ...]:
    if sighting.tender is None:
        names = (COUPLED, "tender_axles", "tender_lamps", LETTERING)
        return tuple(Cue(n, State.UNSEEN, because=NO_TENDER) for n in names)
    looks = look_at_tender(photo, sighting.tender, networks)
    counts = weigh_counts(counted(looks), sighting.tender, networks.fusion)
    return (
        weigh_coupled(sighting, networks.fusion),
        *counts,
        read_lettering(photo, sighting.tender, looks, networks),
    )
