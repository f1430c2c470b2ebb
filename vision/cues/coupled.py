"""That a tender is coupled behind an engine, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vision.cues.fuse import linear
from vision.cues.odds import sigmoid
from vision.records import COUPLED, Cue, Sighting, State

# Of the log odds fitted on renders so much counts: on photographs tenders are seen less
# surely, and more often than on renders something else is taken for one. Chosen.
_TRUSTED = 0.5


def weigh_coupled(sighting: Sighting, fusion: Mapping[str, Any]) -> Cue:
    """The cue `tender_coupled` of an engine with a tender.

    Parameters
    ----------
    sighting : Sighting
        With a tender.
    fusion : mapping
        `fusion.json`; "tender_coupled" is a logistic model of the finder's score of the
        tender, with the limit "sure_at_least" (J. Platt, "Probabilistic outputs for support
        vector machines", 1999, fits a score so; from memory).

    Returns
    -------
    Cue
        A photo never tells that there is none: it may be out of the picture.
    """
    model = fusion[COUPLED]
    score = {"tender_score": sighting.tender_score or 0.0}
    p = sigmoid(_TRUSTED * linear(model, score))
    if p < float(model["sure_at_least"]):
        because = "what is coupled behind the engine may be a tender"
        return Cue(
            COUPLED,
            State.UNSEEN,
            p_present=p,
            where=sighting.tender,
            because=because,
            in_sight=True,
            clear=1.0,
        )
    return Cue(
        COUPLED,
        State.PRESENT,
        p_present=p,
        confidence=p,
        where=sighting.tender,
        because="a tender is coupled behind the engine",
    )
