"""Regions and measurements to cues, each PRESENT, ABSENT or UNSEEN, with probabilities.

Learned and classical evidence are gathered per cue (`evidence`) and fused by a small
fitted model whose coefficients stand in `models/fusion.json` (`fuse`).
"""

from __future__ import annotations

from vision.cues.evidence import Evidence, gather
from vision.cues.fuse import weigh
from vision.network import Networks
from vision.records import BINARY_CUES, VALUED_CUES, Cue, Photo, Sighting, State

__all__ = ["Evidence", "gather", "read_cues", "weigh"]


def read_cues(photo: Photo, sighting: Sighting, networks: Networks) -> tuple[Cue, ...]:
    """Judge every cue on one photo.

    Parameters
    ----------
    photo : Photo
    sighting : Sighting
        Where the engine is, from `locate`.
    networks : Networks
        One judge per region, and the fitted coefficients.

    Returns
    -------
    tuple of Cue
        One for each cue name, in the order of BINARY_CUES and then VALUED_CUES.
    """
    binary = tuple(
        weigh(gather(photo, sighting, networks, name), networks.fusion) for name in BINARY_CUES
    )
    return binary + tuple(_unread(name, sighting) for name in VALUED_CUES)


def _unread(name: str, sighting: Sighting) -> Cue:
    if name.startswith("tender") and sighting.tender is None:
        because = "no tender is in the picture"
    else:
        because = "not read from photos yet; look and say it with --saw"
    where = sighting.tender if name.startswith("tender") else None
    return Cue(name, State.UNSEEN, where=where, because=because)
