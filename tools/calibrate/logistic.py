"""Small logistic models over named evidence, drawn towards the network's own word.

The penalty is quadratic on standardised terms, except that the anchor, the network's own
log odds, is hardly penalised. As the penalty grows the model becomes the plain rescaling
of the anchor (J. Platt, "Probabilistic outputs for support vector machines", 1999), and
whatever the other terms say has to earn its place. The strongest penalty within one
standard error of the best cross-validated loss is taken (T. Hastie, R. Tibshirani,
J. Friedman, "The Elements of Statistical Learning", 2nd ed. 2009, section 7.10), because
measurements that help a little on renders may mislead on photographs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

from tools import metrics
from vision.cues.fuse import trusted
from vision.cues.odds import logit

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Change of the log odds by one standard deviation of a term that is as good as none: such
# terms are left out, and what nothing else needs is then not even measured.
_LEAST_WEIGHT = 0.01
# The shipped model clips standardised values here (vision.cues.fuse.linear), so the fit must.
_CLIP = 4.0
_FOLDS = 5
# How much larger the anchor's column is made: its penalty shrinks by the square.
_ANCHOR_SCALE = 300.0
# Weight of the data against the penalty, as a multiple of the mean loss per row; chosen to
# span from "anchor alone" to "hardly any penalty".
_STRENGTHS = (0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0, 3000.0)
_SIGHT = ("inside", "log_length", "log_slenderness", "log_sharpness")
_LIGHT = ("exposure_clipped", "exposure_near_black", "exposure_contrast")
_LONG = ("long_enough", "judge_visible*long_enough", "sight*long_enough")
SEEN_TERMS = ("judge_visible", "sight", *_SIGHT, *_LIGHT, *_LONG)
_PRESENT = (
    "judge_present",
    "judge_present*log_length",
    "judge_present*sight",
    "judge_present*log_sharpness",
    "judge_visible",
    "heat_peak",
)
PRESENT_TERMS: Mapping[str, tuple[str, ...]] = {
    "switch_lever": (*_PRESENT, "thin_score", "thin_height", "thin_contrast"),
    "side_linkage": (*_PRESENT, "linkage_length", "above_length", "linkage_count"),
    "edge_stripe": (*_PRESENT, "stripe_continuity", "stripe_longest_run", "stripe_contrast"),
}


# Of a part that is looked for at a stated place; "said_here" is the judge's answer there.
PLACED_TERMS = (
    "said_here",
    "said_here*log_length",
    "said_here*log_sharpness",
    "said_here*sight",
    "judge_present",
    "judge_visible",
    "heat_peak",
)


# And of one that was looked at closely there; "near_here" is the loupe's answer.
NEAR_TERMS = (
    "near_here",
    "near_here*log_length",
    "near_here*log_sharpness",
    "near_here*sight",
    *PLACED_TERMS,
)
# Whether it could be seen there; "clear_here" is the loupe's other answer.
NEAR_SEEN_TERMS = ("clear_here", *SEEN_TERMS)


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted model with what cross-validation says of it.

    Attributes
    ----------
    model : dict
        "terms" and "bias", as `vision.cues.fuse.linear` reads them.
    out_of_fold : ndarray, shape (n,)
        Probability of each row by models that saw no picture of its scene.
    report : dict
        n, log losses in nats and calibration error, all out of fold; the losses at even
        odds, the error at the sample's own share of outcomes; "left_out", the terms of
        next to no weight, which the model is fitted without.
    """

    model: dict[str, Any]
    out_of_fold: Numbers
    report: dict[str, Any]


def raw_terms(rows: Sequence[Mapping[str, float]], names: Sequence[str]) -> Numbers:
    """Values of the terms, shape (rows, terms); "a*b" is a product."""
    columns = [[math.prod(row[f] for f in name.split("*")) for row in rows] for name in names]
    return np.array(columns, dtype=np.float64).T.reshape(len(rows), len(names))


def predict(model: Mapping[str, Any], rows: Sequence[Mapping[str, float]]) -> Numbers:
    """Probabilities of a model for many rows, as the shipped eye computes them for one."""
    names, mean, scale, weight = (list(column) for column in zip(*model["terms"], strict=True))
    standard = _standard(raw_terms(rows, names), np.array(mean), np.array(scale))
    return _sigmoid(standard @ np.array(weight) + float(model["bias"]))


def fit(
    rows: Sequence[Mapping[str, float]],
    outcome: Flags,
    groups: Sequence[str],
    names: Sequence[str],
    *,
    sparing: bool = True,
) -> Fit:
    """Fit a model at even odds; the first name is the anchor.

    Both outcomes together weigh the same: the probabilities hold where presence and
    absence are equally common beforehand, so that their odds are the likelihood ratio
    that the argument multiplies in.

    Parameters
    ----------
    rows : sequence of mapping
        Named evidence.
    outcome : ndarray of bool, shape (rows,)
    groups : sequence of str
        Scene of each row; folds never share one.
    names : sequence of str
    sparing : bool
        The strongest penalty within one standard error of the best; otherwise the best.

    Raises
    ------
    ValueError
        Fewer scenes than folds with both outcomes.
    """
    _check(outcome, groups, names)
    raw = raw_terms(rows, names)
    weight = np.where(outcome, 0.5 / outcome.mean(), 0.5 / (1 - outcome.mean()))
    folds = list(GroupKFold(_FOLDS).split(raw, outcome, groups))
    plain = _cross_validate(raw[:, :1], outcome, weight, folds, strength=_STRENGTHS[-1])
    tried = {s: _cross_validate(raw, outcome, weight, folds, strength=s) for s in _STRENGTHS}
    strength = _choose(raw, outcome, weight, tried, names=names, sparing=sparing)
    inner, losses = tried[strength]
    model = _fitted(raw, outcome, weight, strength, names=names)
    idle = [term for term, *_, w in model["terms"][1:] if abs(w) < _LEAST_WEIGHT]
    if idle:  # what is left cannot turn the anchor either, within so little
        kept = [index for index, term in enumerate(names) if term not in idle]
        raw, names = raw[:, kept], [names[index] for index in kept]
        inner, losses = _cross_validate(raw, outcome, weight, folds, strength=strength)
        model = _fitted(raw, outcome, weight, strength, names=names)
    share = float(outcome.mean())
    report = {
        "n": len(rows),
        "scenes": len(set(groups)),
        "share_true": round(share, 4),
        "log_loss": round(float(losses.mean()), 5),
        "log_loss_anchor_alone": round(float(plain[1].mean()), 5),
        "expected_calibration_error": round(
            metrics.expected_calibration_error(metrics.at_share(inner, share), outcome), 5
        ),
        "strength": strength,
        "left_out": idle,
    }
    return Fit(model, inner, report)


def _check(outcome: Flags, groups: Sequence[str], names: Sequence[str]) -> None:
    for value in (True, False):
        scenes = {g for g, o in zip(groups, outcome, strict=True) if bool(o) is value}
        if len(scenes) < _FOLDS:
            raise ValueError(
                f"{names[0]}: at least {_FOLDS} scenes with outcome {value} expected, "
                f"got {len(scenes)}"
            )


def _cross_validate(
    raw: Numbers, outcome: Flags, weight: Numbers, folds: list[Any], *, strength: float
) -> tuple[Numbers, Numbers]:
    """Probabilities out of fold, and the weighted loss of each fold."""
    inner, losses = np.zeros(len(raw)), []
    names = [str(i) for i in range(raw.shape[1])]
    for train, test in folds:
        model = _fitted(raw[train], outcome[train], weight[train], strength, names=names)
        inner[test] = _apply(model, raw[test])
        losses.append(metrics.log_loss(inner[test], outcome[test], weight[test]))
    return inner, np.array(losses)


def _choose(
    raw: Numbers,
    outcome: Flags,
    weight: Numbers,
    tried: Mapping[float, tuple[Numbers, Numbers]],
    *,
    names: Sequence[str],
    sparing: bool,
) -> float:
    """The strongest penalty, within one standard error if sparing, that never turns the anchor."""
    best = min(tried, key=lambda s: float(tried[s][1].mean()))
    losses = tried[best][1]
    limit = losses.mean() + sparing * losses.std(ddof=1) / math.sqrt(len(losses))
    for strength in sorted(tried):
        model = _fitted(raw, outcome, weight, strength, names=names)
        if tried[strength][1].mean() <= limit and lowest_slope(model, raw) > 0:
            return strength
    return min(tried)


def lowest_slope(model: Mapping[str, Any], raw: Numbers) -> float:
    """Smallest change of the log odds per unit of the anchor over the rows.

    It must stay above 0: no measurement may turn the network's word round.
    """
    anchor = raw[:, 0]
    slope = np.zeros(len(raw))
    name = model["terms"][0][0]
    safe = np.where(np.abs(anchor) < 1e-9, 1e-9, anchor)
    for column, (term, _, scale, weight) in zip(raw.T, model["terms"], strict=True):
        if name in term.split("*"):
            factor = np.ones(len(raw)) if term == name else column / safe
            slope += weight / scale * factor
    return float(slope[np.abs(anchor) >= 1e-9].min(initial=math.inf))


def _fitted(
    raw: Numbers, outcome: Flags, weight: Numbers, strength: float, *, names: Sequence[str]
) -> dict[str, Any]:
    mean, scale = raw.mean(axis=0), raw.std(axis=0)
    scale = np.where(scale < 1e-6, 1.0, scale)
    columns = _standard(raw, mean, scale)
    columns[:, 0] *= _ANCHOR_SCALE
    solver = LogisticRegression(C=strength / len(raw), solver="newton-cholesky", max_iter=100)
    solver.fit(columns, outcome, sample_weight=weight)
    weights = solver.coef_[0].copy()
    weights[0] *= _ANCHOR_SCALE
    terms = [
        [n, *(round(float(v), 6) for v in numbers)]
        for n, *numbers in zip(names, mean, scale, weights, strict=True)
    ]
    return {"terms": terms, "bias": round(float(solver.intercept_[0]), 6)}


def _apply(model: Mapping[str, Any], raw: Numbers) -> Numbers:
    mean, scale, weight = (np.array([t[i] for t in model["terms"]]) for i in (1, 2, 3))
    return _sigmoid(_standard(raw, mean, scale) @ weight + model["bias"])


def _standard(raw: Numbers, mean: Numbers, scale: Numbers) -> Numbers:
    clipped: Numbers = np.clip((raw - mean) / scale, -_CLIP, _CLIP)
    return clipped


def _sigmoid(x: Numbers) -> Numbers:
    p: Numbers = 1.0 / (1.0 + np.exp(-np.clip(x, -500, 500)))
    return p


def as_stated(p: float, share: float) -> float:
    """A fitted probability as the eye states it, whose log odds count for `share`."""
    return trusted(logit(p), {"trusted": share})
