"""The model of a lever that is looked for where a guide says that it stands."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np

from tools.calibrate.limits import seen_limit
from tools.calibrate.logistic import PLACED_TERMS, as_stated, fit, predict
from tools.looks import Look, clearly_unseen
from vision.cues.fuse import heat_at
from vision.pipeline.placing import LEVER, SURE
from vision.records import REGION_OF_CUE

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
    """Fit P(present | heat at the place where this casting has its lever).

    Of an engine with a lever its own place is taken, of one without any place along the
    boiler top, the same for every fit.

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
        None where there are too few looks, or looks that kept no heat along the region.
    report : dict
    """
    visible = [k for k in visible if _place(k) is not None]
    truth = np.array([k.label["cues"][LEVER]["state"] == "present" for k in visible], dtype=bool)
    if len(visible) < _FEWEST or truth.all() or not truth.any():
        return None, {"note": "not fitted: too few looks"}
    fitted = fit([_row(k) for k in visible], truth, [k.scene for k in visible], PLACED_TERMS)
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
    return {**values, "heat_here": heat_at(values, place)}


def _place(look: Look) -> float | None:
    """Share of the boiler top's length at which the lever stands, or is looked for."""
    truth = look.label.get("cues", {}).get(LEVER)
    if truth is None or "heat_00" not in look.seen.get("cues", {}).get(LEVER, {}):
        return None
    if truth["state"] != "present":
        rng = np.random.default_rng(zlib.crc32(look.file.encode()))
        return float(rng.uniform(0.08, 0.95))
    if truth["where"] is None:
        return None
    left, top, right, bottom = truth["where"]
    return share_along(
        look.label["regions"][REGION_OF_CUE[LEVER]], ((left + right) / 2, (top + bottom) / 2)
    )


def share_along(region: Sequence[Sequence[float]], point: tuple[float, float]) -> float:
    """How far along a region, straightened, a point of the picture lies, 0 to 1."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(np.asarray(region, dtype=np.float32), square)
    x, _, w = matrix @ (*point, 1.0)
    return float(np.clip(x / w, 0.0, 1.0))
