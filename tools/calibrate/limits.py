"""Thresholds with a stated rule each, chosen on looks that training did not see."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.looks import FOUND_IOU, MIN_WIDTH_PX, Look, clearly_unseen

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]


def locate_limits(
    looks: Sequence[Look], *, false_at_most: float, lost_at_most: float
) -> tuple[dict[str, float], dict[str, Any]]:
    """Thresholds of `vision.locate` and what they cost.

    "engine" is the lowest score that lets at most `false_at_most` of the pictures without
    an engine pass; where that loses more than `lost_at_most` of the engines that were
    boxed well, the highest score that loses no more than that. The lower of the two keeps
    photographs that look unlike renders. "finder" is its square: the score is the
    geometric mean of finder and second look, so nothing below could pass, and the second
    look is spared. "tender" splits true from false tenders best (Youden's index).

    Raises
    ------
    ValueError
        No picture with, or none without an engine.
    """
    placed = [k for k in looks if k.must_find and k.overlap >= FOUND_IOU]
    empty = [k for k in looks if not k.has_engine]
    if not placed or not empty:
        raise ValueError(
            "looks: pictures with and without an engine expected, got "
            f"{len(placed)} with one boxed well and {len(empty)} without"
        )
    true, false = (np.array([_score(k) for k in group]) for group in (placed, empty))
    engine = min(_passed_by(false, false_at_most), _losing(true, lost_at_most))
    engine = math.floor(min(max(engine, 0.01), 0.99) * 1e4) / 1e4
    tender, costs = _tender_limit(looks)
    report = {
        "engines_boxed_well": len(placed),
        "engines_lost": int((true < engine).sum()),
        "pictures_without_engine": len(empty),
        "false_finds": int((false >= engine).sum()),
        **costs,
    }
    limits = {"finder": math.floor(engine**2 * 1e4) / 1e4, "engine": engine, "tender": tender}
    return limits, report


def _score(look: Look) -> float:
    """Score of the engine; 0 where its box is too narrow to be reported."""
    if "finder" not in look.seen:
        return 0.0
    left, _, right, _ = look.seen["glimpse"]
    return float(look.seen["score"]) if right - left >= MIN_WIDTH_PX else 0.0


def _passed_by(scores: Numbers, share: float) -> float:
    """Lowest limit that at most this share of the scores reaches."""
    allowed = math.floor(share * len(scores))
    if allowed >= len(scores):
        return 0.0
    return float(np.nextafter(np.sort(scores)[::-1][allowed], np.inf)) + 1e-4


def _losing(scores: Numbers, share: float) -> float:
    """Highest limit below which at most this share of the scores lies."""
    return float(np.sort(scores)[math.floor(share * len(scores))])


def _tender_limit(looks: Sequence[Look]) -> tuple[float, dict[str, int]]:
    engines = [k for k in looks if k.must_find and "finder" in k.seen]
    true = np.array([_tender_score(k) for k in engines if tender_must_be_found(k)])
    false = np.array([_tender_score(k) for k in engines if k.label.get("tender") is None])
    counts = {"tenders": len(true), "engines_without_tender": len(false)}
    if not len(true) or not len(false):
        return 0.5, counts
    ends = np.unique(np.concatenate([true, false]))
    middles = np.concatenate([(ends[1:] + ends[:-1]) / 2.0, ends[-1:]])
    index = [(true >= t).mean() + (false < t).mean() for t in middles]
    limit = round(float(middles[int(np.argmax(index))]), 4)
    lost, wrong = int((true < limit).sum()), int((false >= limit).sum())
    return limit, counts | {"tenders_lost": lost, "false_tenders": wrong}


def tender_must_be_found(look: Look) -> bool:
    """An engine's tender of which enough is in sight."""
    share = float(look.label.get("tender_share", 0.0))
    return look.must_find and look.label.get("tender") is not None and share >= 0.6


def _tender_score(look: Look) -> float:
    """The tender's score; a box in the wrong place finds no tender."""
    wrong_place = look.label.get("tender") is not None and look.tender_overlap < FOUND_IOU
    return 0.0 if wrong_place else float(look.seen["tender_score"])


def seen_limit(
    seen: Numbers,
    sure: Flags,
    visible: Flags,
    *,
    stated_at_most: float,
    hidden: Flags | None = None,
    hidden_at_most: float = 0.0,
    least: float = 0.05,
) -> tuple[float, dict[str, Any]]:
    """Lowest "seen" probability at which few cues that cannot be seen are stated.

    The count of cues stated though not visible must stay one standard error (of a Poisson
    count) below `stated_at_most` of those not visible, so that the share holds on other
    pictures too.

    Parameters
    ----------
    seen : ndarray of float, shape (n,)
        Out-of-fold probability that the part could be seen; 0 where it was not judged.
    sure : ndarray of bool, shape (n,)
        Whether the state is sure enough to be stated at all.
    visible : ndarray of bool, shape (n,)
        The truth.
    stated_at_most : float
        Share of those not visible.
    hidden : ndarray of bool, shape (n,), optional
        Those hidden beyond dispute, of which the share `hidden_at_most` must hold as well,
        without an error taken off: there are too few of them for that.
    least : float
        The limit is no lower than this.

    Returns
    -------
    limit : float
    report : dict
        Counts of both kinds, and of those stated at that limit.
    """
    most = (~visible).sum() * stated_at_most
    limit = _letting_pass(seen[~visible & sure], most - math.sqrt(most))
    if hidden is not None:
        limit = max(limit, _letting_pass(seen[hidden & sure], hidden.sum() * hidden_at_most))
    # Rounded up, past the first one that may not be stated.
    limit = min(max((math.floor(limit * 1e5) + 1) / 1e5, least), 0.99999)
    stated = sure & (seen >= limit)
    report = {
        "not_visible": int((~visible).sum()),
        "stated_though_not_visible": int((stated & ~visible).sum()),
        "visible": int(visible.sum()),
        "stated_of_visible": int((stated & visible).sum()),
    }
    return limit, report


def _letting_pass(rivals: Numbers, most: float) -> float:
    """The highest rival that may not pass, where `most` of them may."""
    allowed = math.floor(max(0.0, most))
    return 0.0 if allowed >= len(rivals) else float(np.sort(rivals)[::-1][allowed])


def stated_limit(
    looks: Sequence[Look],
    cue: str,
    p_seen: Numbers,
    p_present: Numbers,
    *,
    sure_at_least: float,
    stated_at_most: float,
    hidden_at_most: float,
    least: float,
) -> tuple[float, dict[str, Any]]:
    """`seen_limit` of one cue of some looks, and how often it is stated then, and rightly.

    Parameters
    ----------
    looks : sequence of Look
    cue : str
    p_seen, p_present : ndarray, shape (len(looks),)
    sure_at_least : float
        Probability of a state from which on it is stated.
    stated_at_most, hidden_at_most, least : float
        As `seen_limit` takes them.
    """
    truth = [k.label["cues"][cue] for k in looks]
    sure = np.maximum(p_present, 1 - p_present) >= sure_at_least
    visible = np.array([each["visible"] for each in truth], dtype=bool)
    limit, report = seen_limit(
        p_seen,
        sure,
        visible,
        stated_at_most=stated_at_most,
        hidden=np.array([clearly_unseen(k.label, cue) for k in looks], dtype=bool),
        hidden_at_most=hidden_at_most,
        least=least,
    )
    there = np.array([each["state"] == "present" for each in truth], dtype=bool)
    stated = sure & (p_seen >= limit) & visible
    return limit, report | _skill(stated, p_present >= 0.5, visible, there)


def _skill(stated: Flags, said: Flags, visible: Flags, there: Flags) -> dict[str, int]:
    """How often a visible part and a visible lack of it are stated, and stated rightly.

    All of shape (n,), bool: stated at all, said to be present, visible, truly present.
    """
    return {
        "stated_of_present": int((stated & visible & there).sum()),
        "right_of_present": int((stated & visible & there & said).sum()),
        "stated_of_absent": int((stated & visible & ~there).sum()),
        "right_of_absent": int((stated & visible & ~there & ~said).sum()),
    }
