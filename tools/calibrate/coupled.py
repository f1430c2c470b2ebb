"""How far the finder's score of a tender tells that one is coupled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tools.calibrate.limits import tender_must_be_found
from tools.calibrate.logistic import fit
from tools.looks import FOUND_IOU, Look, engine_stated

_SCORE = "tender_score"
# What the score means to whoever has fitted nothing: even odds at a half.
PLAIN: Mapping[str, Any] = {"terms": [[_SCORE, 0.5, 0.25, 2.0]], "bias": 0.0}
_ENOUGH = 20  # of either kind


def coupled_model(
    looks: Sequence[Look], locate: Mapping[str, float], *, sure_at_least: float
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Fit it at even odds on engines boxed well, with a tender in sight or with none.

    Parameters
    ----------
    looks : sequence of Look
    locate : mapping
        The limits from which on an engine is stated.
    sure_at_least : float
        Probability from which on a tender is stated.

    Returns
    -------
    model, report : dict
        `PLAIN` where too few of either kind were looked at; the report says so.
    """
    kept = [
        k
        for k in looks
        if k.must_find and k.overlap >= FOUND_IOU and engine_stated(k.seen, locate) and _clear(k)
    ]
    there = np.array([k.label.get("tender") is not None for k in kept], dtype=bool)
    if min(there.sum(), (~there).sum()) < _ENOUGH:
        note = {"note": "not fitted: too few with or without a tender"}
        return {**PLAIN, "sure_at_least": sure_at_least}, note
    rows = [{_SCORE: float(k.seen[_SCORE])} for k in kept]
    found = fit(rows, there, [k.name.scene for k in kept], [_SCORE])
    return {**found.model, "sure_at_least": sure_at_least}, found.report


def _clear(look: Look) -> bool:
    return look.label.get("tender") is None or tender_must_be_found(look)
