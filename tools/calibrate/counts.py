"""Temperatures and thresholds of what is counted: driving axles, a tender's axles and lamps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tools.calibrate.limits import Flags, Numbers, seen_limit
from tools.looks import FOUND_IOU, Look, axles_judged, axles_shown
from vision.cues.counting import FLOOR
from vision.cues.driving import DRIVING_AXLES, RODS, named
from vision.cues.tender import AXLE_COUNTS, LAMP_COUNTS

_TEMPERATURES = np.geomspace(0.4, 5.0, 80)
COUNTS = {
    "axles": ("tender_axles", "axles_visible", AXLE_COUNTS, 0),
    "lamps": ("tender_lamps", "lamps_visible", LAMP_COUNTS, 1),
}


def tender_models(
    looks: Sequence[Look],
    limit: float,
    *,
    stated_at_most: Mapping[str, float],
    sure_at_least: float,
) -> dict[str, dict[str, Any]]:
    """Temperatures and thresholds of the tender's counts.

    The temperature is that of C. Guo et al., "On calibration of modern neural networks",
    ICML 2017, section 4.2: the one of least log loss where the count can be made out.
    """
    kept = [
        k
        for k in looks
        if "counts" in k.seen and k.has_engine and float(k.seen["tender_score"]) >= limit
    ]
    return {
        head: _tender_model(
            kept, head, stated_at_most=stated_at_most[head], sure_at_least=sure_at_least
        )
        for head in COUNTS
    }


def _tender_model(
    looks: Sequence[Look], head: str, *, stated_at_most: float, sure_at_least: float
) -> dict[str, Any]:
    truth, flag, labels, place = COUNTS[head]
    visible = np.array([countable(k, truth, flag, labels) for k in looks], dtype=bool)
    raw = np.array([k.seen["counts"][head] for k in looks])
    known = [labels.index(k.label[truth]) for k, v in zip(looks, visible, strict=True) if v]
    seen = np.array([float(k.seen["counts"]["countable"][place]) for k in looks])
    limits = {"stated_at_most": stated_at_most, "sure_at_least": sure_at_least}
    return _count_model(raw, known, visible, seen, **limits)


def axle_model(
    looks: Sequence[Look], *, stated_at_most: float, sure_at_least: float
) -> dict[str, Any]:
    """Temperature and thresholds of the driving axles, as those of the tender's counts."""
    kept = [k for k in looks if k.has_engine and axles_judged(k)]
    values = [k.seen["cues"][RODS] for k in kept]
    shown = [axles_shown(k) for k in kept]
    visible = np.array([count is not None for count in shown], dtype=bool)
    raw = np.array([[each[named(count)] for count in DRIVING_AXLES] for each in values])
    known = [DRIVING_AXLES.index(count) for count in shown if count is not None]
    seen = np.array([float(each["axles_countable"]) for each in values])
    limits = {"stated_at_most": stated_at_most, "sure_at_least": sure_at_least}
    return _count_model(raw, known, visible, seen, **limits)


def _count_model(
    raw: Numbers,
    known: Sequence[int],
    visible: Flags,
    seen: Numbers,
    *,
    stated_at_most: float,
    sure_at_least: float,
) -> dict[str, Any]:
    """Of probabilities (n, classes), true classes of the visible ones, and "countable" (n,)."""
    if visible.sum() < 20:
        note = {"note": "not fitted: too few to count"}
        return {"temperature": 1.0, "seen_at_least": 0.5, "sure_at_least": sure_at_least} | note
    raw = np.maximum(raw, FLOOR)
    losses = [_count_loss(raw[visible], known, t) for t in _TEMPERATURES]
    temperature = round(float(_TEMPERATURES[int(np.argmin(losses))]), 4)
    sure = sharpened(raw, temperature).max(axis=1) >= sure_at_least
    seen_at_least, report = seen_limit(seen, sure, visible, stated_at_most=stated_at_most)
    return {
        "temperature": temperature,
        "seen_at_least": seen_at_least,
        "sure_at_least": sure_at_least,
        "log_loss": round(min(losses), 5),
        **report,
    }


def countable(look: Look, truth: str, flag: str, labels: Sequence[int]) -> bool:
    """Whether the label holds a count that the picture shows, of the tender that was boxed."""
    shown = bool(look.label.get(flag)) and look.label.get(truth) in labels
    return shown and look.tender_overlap >= FOUND_IOU


def _count_loss(raw: Numbers, known: Sequence[int], temperature: float) -> float:
    chosen = sharpened(raw, temperature)[np.arange(len(known)), known]
    return float(-np.log(chosen).mean())


def sharpened(raw: Numbers, temperature: float) -> Numbers:
    """Probabilities raised to the inverse of the temperature, summing to 1 again."""
    powers = raw ** (1.0 / temperature)
    shares: Numbers = powers / powers.sum(axis=1, keepdims=True)
    return shares
