"""The model of a lever that is looked for where a guide says that it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tools.calibrate.limits import seen_limit
from tools.calibrate.logistic import PLACED_TERMS, as_stated, fit, predict
from tools.looks import Look, clearly_unseen, place_told
from vision.cues.evidence import PARTS_ALONG, at_share
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

    Each is looked for where its casting has, or would have, its lever.

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
    truth = np.array([k.label["cues"][LEVER]["state"] == "present" for k in visible], dtype=bool)
    if len(visible) < _FEWEST or truth.all() or not truth.any():
        return None, {"note": "not fitted: too few looks"}
    rows, scenes = [_row(k) for k in visible], [k.scene for k in visible]
    fitted = fit(rows, truth, scenes, PLACED_TERMS, sparing=False)
    inner = {id(k): p for k, p in zip(visible, fitted.out_of_fold, strict=True)}
    rest = [k for k in weighed if id(k) not in inner and _place(k) is not None]
    if rest:
        outer = predict(fitted.model, [_row(k) for k in rest])
        inner |= {id(k): p for k, p in zip(rest, outer, strict=True)}
    p = np.array([as_stated(inner.get(id(k), 0.5), share) for k in weighed])
    limit, stated = seen_limit(
        p_seen,
        np.maximum(p, 1 - p) >= SURE,
        np.array([bool(k.label["cues"][LEVER]["visible"]) for k in weighed]),
        stated_at_most=limits["stated_at_most"],
        hidden=np.array([clearly_unseen(k.label, LEVER) for k in weighed]),
        hidden_at_most=limits["hidden_at_most"],
        least=SEEN_AT_LEAST,
    )
    return {**fitted.model, "seen_at_least": limit}, {**fitted.report, "stated": stated}


def _row(look: Look) -> dict[str, float]:
    values = look.seen["cues"][LEVER]
    place = _place(look)
    assert place is not None
    said = [values[f"said_{part:02d}"] for part in range(PARTS_ALONG)]
    return {**values, "said_here": float(at_share(said, place))}


def _place(look: Look) -> float | None:
    """Share of the boiler top's length at which the lever stands, or would; None if not judged."""
    if "said_00" not in look.seen.get("cues", {}).get(LEVER, {}):
        return None
    return place_told(look.label)
