"""The model of a lever that is looked for where a guide says that it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tools.calibrate.limits import stated_limit
from tools.calibrate.logistic import (
    NEAR_SEEN_TERMS,
    NEAR_TERMS,
    PLACED_TERMS,
    Fit,
    as_stated,
    fit,
    predict,
)
from tools.looks import FOUND_IOU, Look, place_told
from vision.cues.fuse import said_at
from vision.cues.loupe import clear_name, places_in, same_place
from vision.pipeline.placing import LEVER, SURE

# The lever's judge says more than it sees: where no place is stated it has to be this sure,
# and the boiler top this surely in sight. Chosen.
SURE_ANYWHERE, SEEN_AT_LEAST = 0.85, 0.7
_FEWEST = 60  # looks that a fit needs


def placed_model(
    visible: Sequence[Look],
    weighed: Sequence[Look],
    p_seen: np.ndarray,
    *,
    limits: Mapping[str, float],
    share: float,
) -> tuple[dict[str, Any] | None, dict[str, Any]]:
    """Fit P(present | what the judge says of the place where this casting has its lever).

    Each is looked for where its casting has, or would have, its lever. What the loupe says of
    that place is fitted beside it ("near"), and P(visible | what it says) with that ("seen").

    Parameters
    ----------
    visible : sequence of Look
        Boxed well, with a boiler top that can be judged.
    weighed : sequence of Look
        Those and others, for the limit below which nothing is stated.
    p_seen : ndarray, shape (len(weighed),)
        Probability that the region of each can be judged.
    limits : mapping
        `stated_at_most` and `hidden_at_most` of the calibration's rules.
    share : float
        Of the fitted log odds that counts.

    Returns
    -------
    model : dict or None
        None where there are too few looks, or looks that kept no answers along the region.
    report : dict
    """
    visible = [k for k in visible if _place(k) is not None]
    fitted = _fitted(visible, PLACED_TERMS)
    if fitted is None:
        return None, {"note": "not fitted: too few looks"}
    judged = [k for k in weighed if _place(k) is not None]
    looked = [k for k in judged if "near_here" in _row(k)]
    inner = _probabilities(fitted, visible, judged)
    closely = [k for k in visible if "near_here" in _row(k)]
    near = _fitted(closely, NEAR_TERMS)
    if near is not None:  # what was looked at closely is stated by that
        inner |= _probabilities(near, closely, looked)
    model: dict[str, Any] = dict(fitted.model)
    model["seen_at_least"], stated = _limit(weighed, p_seen, inner, share=share, limits=limits)
    report = {**fitted.report, "stated": stated}
    boxed = [k for k in looked if k.overlap >= FOUND_IOU]
    clear = _fitted(boxed, NEAR_SEEN_TERMS, "visible", sparing=True)
    if near is None or clear is None:
        return model, report
    told = _probabilities(clear, boxed, looked)
    p_clear = np.array([told[id(k)] for k in looked])
    limit, stated = _limit(looked, p_clear, inner, share=share, limits=limits)
    model["near"] = {**near.model, "seen": {**clear.model, "seen_at_least": limit}}
    report["near"] = {**near.report, "seen": clear.report, "stated": stated}
    return model, report


def _limit(
    looks: Sequence[Look],
    p_seen: np.ndarray,
    p_present: Mapping[int, float],
    *,
    share: float,
    limits: Mapping[str, float],
) -> tuple[float, dict[str, Any]]:
    """Probability of being seen below which nothing is stated, and what is stated then."""
    p = np.array([as_stated(p_present.get(id(k), 0.5), share) for k in looks])
    return stated_limit(looks, LEVER, p_seen, p, sure_at_least=SURE, least=SEEN_AT_LEAST, **limits)


def _fitted(
    looks: Sequence[Look], terms: Sequence[str], asked: str = "present", *, sparing: bool = False
) -> Fit | None:
    """The fit of what is "present", or "visible", in some looks; None of too few."""
    cues = [k.label["cues"][LEVER] for k in looks]
    truth = [cue["visible"] if asked == "visible" else cue["state"] == asked for cue in cues]
    if len(looks) < _FEWEST or all(truth) or not any(truth):
        return None
    scenes = [k.name.scene for k in looks]
    return fit([_row(k) for k in looks], np.array(truth, bool), scenes, terms, sparing=sparing)


def _probabilities(fitted: Fit, used: Sequence[Look], looks: Sequence[Look]) -> dict[int, float]:
    """By the look's id: out of fold of those used in a fit, by the model of all others."""
    out = dict(zip(map(id, used), fitted.out_of_fold, strict=True))
    others = [k for k in looks if id(k) not in out]
    if others:
        outer = predict(fitted.model, [_row(k) for k in others])
        out |= dict(zip(map(id, others), outer, strict=True))
    return out


def _row(look: Look) -> dict[str, float]:
    values = look.seen["cues"][LEVER]
    place = _place(look)
    assert place is not None
    row = {**values, "said_here": said_at(values, place)}
    for name, looked_at in places_in(values).items():
        # Looks of before the loupe said whether it can see are no looks from near by.
        if same_place(looked_at, place) and clear_name(name) in values:
            row |= {"near_here": values[name], "clear_here": values[clear_name(name)]}
    return row


def _place(look: Look) -> float | None:
    """Share of the boiler top's length at which the lever stands, or would; None if not judged."""
    if "said_00" not in look.seen.get("cues", {}).get(LEVER, {}):
        return None
    return place_told(look.label)
