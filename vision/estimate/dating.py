"""One engine, from its cues to the whole estimate."""

from __future__ import annotations

from collections.abc import Sequence

from vision.estimate.argument import replay, take_steps
from vision.estimate.conflicts import find_conflicts
from vision.estimate.look import rank_looks
from vision.estimate.outcome import candidates, years_and_mass
from vision.guide import Guide
from vision.records import Cue, Estimate


def estimate(guide: Guide, cues: Sequence[Cue]) -> Estimate:
    """Date one engine.

    Parameters
    ----------
    guide : Guide
        The collector's table.
    cues : sequence of Cue
        In any order. Several readings of one cue are taken as independent given the
        true state: fuse photos that show the same thing in the same light first. A
        person's word replaces what photos say of the same cue.

    Returns
    -------
    Estimate
        `replay(guide, steps)` gives the posterior that everything else is read from.
        `years` is "XXXX" where the engine is more probably in no variation of the
        guide, and `confidence` then the probability of that.

    Raises
    ------
    EvidenceError
        A cue that is neither a photo cue nor a check of the guide.
    """
    steps, evidence = take_steps(guide, cues)
    posterior = replay(guide, steps)
    years, confidence = years_and_mass(posterior)
    return Estimate(
        years=years,
        confidence=confidence,
        variations=candidates(guide, posterior),
        steps=steps,
        conflicts=find_conflicts(guide, evidence, posterior),
        look_next=rank_looks(guide, evidence, posterior),
    )
