"""Figures of merit on plain arrays. Knows nothing of engines, files or thresholds.

Outcomes are 0 or 1 (False or True), probabilities lie in [0, 1]. Nothing here depends on
the order of the rows: rows of equal probability or confidence share their outcomes evenly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Numbers = NDArray[np.float64]
BINS = 15


@dataclass(frozen=True, slots=True)
class Overlaps:
    """Intersection over union of many boxes: how many, how good, and the share that suffices."""

    n: int
    mean: float
    median: float
    enough: int

    @property
    def share(self) -> float:
        return self.enough / self.n if self.n else math.nan


@dataclass(frozen=True, slots=True)
class Bins:
    """Reliability bins. Arrays have one entry a bin, in rising order of probability.

    Attributes
    ----------
    count : ndarray of int
        Rows in the bin.
    predicted : ndarray of float
        Mean predicted probability.
    observed : ndarray of float
        Share of rows whose outcome is 1.
    """

    count: NDArray[np.int64]
    predicted: Numbers
    observed: Numbers


def balanced_accuracy(truth: ArrayLike, predicted: ArrayLike) -> float:
    """Mean of the shares of positives and of negatives that are predicted right.

    Parameters
    ----------
    truth, predicted : array_like of bool, shape (n,)

    Returns
    -------
    float
        0 to 1; nan where `truth` lacks one of the two classes.
    """
    true, guess = _pair(truth, predicted, bool)
    if true.all() or not true.any():
        return math.nan
    return float((guess[true].mean() + (~guess[~true]).mean()) / 2.0)


def balanced_accuracy_interval(
    truth: ArrayLike, predicted: ArrayLike, *, level: float = 0.95
) -> tuple[float, float]:
    """Interval of the balanced accuracy from the Wilson intervals of its two halves.

    The square-and-add rule of R. G. Newcombe, "Interval estimation for the difference
    between independent proportions", Statistics in Medicine 17 (1998) 873-890, method 10,
    for half the sum of two proportions.
    """
    true, guess = _pair(truth, predicted, bool)
    if true.all() or not true.any():
        return (math.nan, math.nan)
    right = ((guess & true).sum(), (~guess & ~true).sum())
    sizes = (true.sum(), (~true).sum())
    shares = [k / n for k, n in zip(right, sizes, strict=True)]
    ends = [wilson_interval(int(k), int(n), level=level) for k, n in zip(right, sizes, strict=True)]
    below = math.hypot(*(p - low for p, (low, _) in zip(shares, ends, strict=True)))
    above = math.hypot(*(high - p for p, (_, high) in zip(shares, ends, strict=True)))
    middle = sum(shares) / 2.0
    return (middle - below / 2.0, middle + above / 2.0)


def overlaps(values: ArrayLike, *, at_least: float = 0.5) -> Overlaps:
    """Summary of intersection-over-union values, each 0 to 1."""
    iou = np.asarray(values, dtype=np.float64)
    if not iou.size:
        return Overlaps(0, math.nan, math.nan, 0)
    enough = int((iou >= at_least).sum())
    return Overlaps(len(iou), float(iou.mean()), float(np.median(iou)), enough)


def wilson_interval(count: int, n: int, *, level: float = 0.95) -> tuple[float, float]:
    """Score interval of a proportion.

    E. B. Wilson, "Probable inference, the law of succession, and statistical inference",
    Journal of the American Statistical Association 22 (1927) 209-212.

    Parameters
    ----------
    count, n : int
        Successes, of so many trials taken as independent.
    level : float
        Coverage, 0 to 1.

    Raises
    ------
    ValueError
        `count` is not within 0 to `n`.
    """
    if not 0 <= count <= n:
        raise ValueError(f"count: 0 to {n} expected, got {count}")
    if n == 0:
        return (0.0, 1.0)
    z = NormalDist().inv_cdf(0.5 + level / 2.0)
    share = count / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    low = 0.0 if count == 0 else max(0.0, middle - half)
    high = 1.0 if count == n else min(1.0, middle + half)
    return (low, high)


def reliability_bins(p: ArrayLike, outcome: ArrayLike, *, bins: int = BINS) -> Bins:
    """Equal-mass bins of predicted probabilities.

    Rows are sorted by probability and cut into `bins` runs whose lengths differ by one at
    most, the longer runs first. Rows of one probability may fall into two bins; each then
    carries the mean outcome of all rows of that probability, so that no order of the rows
    changes the result. With fewer rows than `bins`, each row is a bin.

    Parameters
    ----------
    p : array_like of float, shape (n,)
    outcome : array_like of bool, shape (n,)
    """
    chance, true = _pair(p, outcome, float)
    if not chance.size:
        return Bins(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    order = np.argsort(chance, kind="stable")
    shared = _shared(chance, true)[order]
    parts = np.array_split(np.arange(len(order)), min(bins, len(order)))
    chance = chance[order]
    return Bins(
        np.array([len(part) for part in parts]),
        np.array([chance[part].mean() for part in parts]),
        np.array([shared[part].mean() for part in parts]),
    )


def expected_calibration_error(p: ArrayLike, outcome: ArrayLike, *, bins: int = BINS) -> float:
    """Mean gap between predicted and observed over `reliability_bins`, weighted by rows.

    The sum over bins of (rows in bin / rows) * abs(observed share - mean probability).
    nan without rows. It is never negative, so that chance alone lifts it above 0:
    `calibration_noise` says how far.
    """
    found = reliability_bins(p, outcome, bins=bins)
    total = found.count.sum()
    if not total:
        return math.nan
    gaps = np.abs(found.observed - found.predicted)
    return float((found.count * gaps).sum() / total)


def at_share(p: ArrayLike, share: float) -> NDArray[np.float64]:
    """Probabilities stated at even odds, moved by Bayes' rule to a share of outcomes."""
    even = np.asarray(p, dtype=np.float64)
    moved: NDArray[np.float64] = even * share / (even * share + (1 - even) * (1 - share))
    return moved


def calibration_noise(
    rng: np.random.Generator, p: ArrayLike, *, draws: int = 200, level: float = 0.95
) -> float:
    """Calibration error that perfectly calibrated probabilities stay below, by chance.

    Outcomes are drawn from the probabilities themselves: the consistency resampling of
    J. Brocker and L. A. Smith, "Increasing the reliability of reliability diagrams",
    Weather and Forecasting 22 (2007) 651-661.
    """
    chance = np.asarray(p, dtype=np.float64)
    if not chance.size:
        return math.nan
    errors = [
        expected_calibration_error(chance, rng.random(len(chance)) < chance) for _ in range(draws)
    ]
    return float(np.quantile(errors, level))


def brier_score(p: ArrayLike, outcome: ArrayLike) -> float:
    """Mean squared distance of probability and outcome, 0 to 1; nan without rows."""
    chance, true = _pair(p, outcome, float)
    return float(((chance - true) ** 2).mean()) if chance.size else math.nan


def log_loss(p: ArrayLike, outcome: ArrayLike, weight: ArrayLike | None = None) -> float:
    """Mean negative log likelihood in nats, weighted; probabilities kept 1e-12 off 0 and 1."""
    chance, true = _pair(p, outcome, float)
    chance = np.clip(chance, 1e-12, 1 - 1e-12)
    losses = -(true * np.log(chance) + (1 - true) * np.log1p(-chance))
    return float(np.average(losses, weights=weight)) if losses.size else math.nan


def area_under_roc(score: ArrayLike, outcome: ArrayLike) -> float:
    """Chance that a positive scores above a negative, ties counting half; nan with one class."""
    value, true = _pair(score, outcome, float)
    positive = true > 0.5
    n, m = int(positive.sum()), int((~positive).sum())
    if not n or not m:
        return math.nan
    _, inverse, counts = np.unique(value, return_inverse=True, return_counts=True)
    # Mean rank of each tied group, ranks from 1.
    ranks = (np.cumsum(counts) - (counts - 1) / 2.0)[inverse]
    return float((ranks[positive].sum() - n * (n + 1) / 2.0) / (n * m))


def risk_coverage(confidence: ArrayLike, wrong: ArrayLike) -> tuple[Numbers, Numbers]:
    """Share of errors among the k most confident rows, for every k.

    Y. Geifman and R. El-Yaniv, "Selective classification for deep neural networks",
    NeurIPS 2017, arXiv:1705.08500.

    Parameters
    ----------
    confidence : array_like of float, shape (n,)
    wrong : array_like of bool, shape (n,)

    Returns
    -------
    coverage, risk : ndarray, shape (n,)
        Coverage k / n, and the errors among those k divided by k. Within rows of one
        confidence the errors count as spread evenly.
    """
    sure, errors = _pair(confidence, wrong, float)
    order = np.argsort(-sure, kind="stable")
    shared = _shared(sure, errors)[order]
    k = np.arange(1, len(order) + 1)
    return k / max(len(order), 1), np.cumsum(shared) / k


def selective_risk(confidence: ArrayLike, wrong: ArrayLike, *, coverage: float = 0.8) -> float:
    """Share of errors among the most confident rows that make up `coverage`, rounded up."""
    _, risk = risk_coverage(confidence, wrong)
    return float(risk[covered(len(risk), coverage) - 1]) if risk.size else math.nan


def covered(n: int, coverage: float) -> int:
    """How many of n rows make up a coverage: the smallest whole number that reaches it."""
    return min(n, max(1, math.ceil(coverage * n - 1e-9)))


def area_under_risk_coverage(confidence: ArrayLike, wrong: ArrayLike) -> float:
    """Mean selective risk over all coverages k / n; nan without rows."""
    _, risk = risk_coverage(confidence, wrong)
    return float(risk.mean()) if risk.size else math.nan


def _shared(key: Numbers, values: Numbers) -> Numbers:
    """Each value replaced by the mean over all rows of the same key."""
    _, inverse, counts = np.unique(key, return_inverse=True, return_counts=True)
    sums = np.bincount(inverse, weights=values, minlength=len(counts))
    means: Numbers = (sums / counts)[inverse]
    return means


def _pair(one: ArrayLike, two: ArrayLike, kind: type) -> tuple[NDArray, NDArray]:
    first, second = np.asarray(one).astype(kind), np.asarray(two).astype(kind)
    if first.ndim != 1 or first.shape != second.shape:
        raise ValueError(f"two rows of one length expected, got {first.shape} and {second.shape}")
    if kind is float and not (np.isfinite(first).all() and np.isfinite(second).all()):
        raise ValueError("finite numbers expected")
    return first, second
