"""The figures against scikit-learn, SciPy, statsmodels and uncertainty-calibration.

uncertainty-calibration is the library of A. Kumar, P. Liang and T. Ma, "Verified
uncertainty calibration", NeurIPS 2019; it has the calibration error over equal-mass bins
and the area under the accuracy-coverage curve.
"""

from __future__ import annotations

import math

import calibration as kumar
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import mannwhitneyu
from sklearn.calibration import calibration_curve
from sklearn.metrics import (
    balanced_accuracy_score,
    brier_score_loss,
    roc_auc_score,
    zero_one_loss,
)
from sklearn.metrics import log_loss as sklearn_log_loss
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from tools import metrics


def sample(n: int = 1500, seed: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities without ties, and outcomes that are somewhat rarer than they say."""
    rng = np.random.default_rng(seed)
    p = rng.beta(0.4, 0.5, n)
    return p, rng.random(n) < p**1.3


def test_balanced_accuracy_equals_scikit_learn() -> None:
    p, y = sample()
    expected = balanced_accuracy_score(y, p > 0.4)
    assert metrics.balanced_accuracy(y, p > 0.4) == pytest.approx(expected, abs=1e-12)


def test_balanced_accuracy_needs_both_classes() -> None:
    assert math.isnan(metrics.balanced_accuracy([True, True], [True, False]))


def test_calibration_error_equals_the_equal_mass_one_of_kumar_et_al() -> None:
    for n in (150, 1500, 1507):
        p, y = sample(n)
        expected = kumar.get_ece_em(p, y.astype(int), num_bins=15)
        got = metrics.expected_calibration_error(p, y)
        assert got == pytest.approx(expected, abs=1e-12), n
        assert got > 0.01


def test_even_odds_are_moved_to_a_share_as_bayes_rule_says() -> None:
    """The screening problem, D. Eddy 1982: 1 % ill, 80 % and 9.6 % test positive; from memory."""
    even = 0.8 / (0.8 + 0.096)
    assert metrics.at_share(even, 0.01) == pytest.approx(0.0776, abs=1e-4)
    assert metrics.at_share([0.2, 0.5, 0.9], 0.5) == pytest.approx([0.2, 0.5, 0.9])


def test_bins_equal_scikit_learns_quantile_bins() -> None:
    p, y = sample(1500)
    observed, predicted = calibration_curve(y, p, n_bins=15, strategy="quantile")
    bins = metrics.reliability_bins(p, y)
    np.testing.assert_allclose(bins.observed, observed, atol=1e-12)
    np.testing.assert_allclose(bins.predicted, predicted, atol=1e-12)
    assert set(bins.count) == {100}


def test_brier_score_log_loss_and_auc_equal_scikit_learn() -> None:
    p, y = sample()
    assert metrics.brier_score(p, y) == pytest.approx(brier_score_loss(y, p), abs=1e-12)
    assert metrics.log_loss(p, y) == pytest.approx(sklearn_log_loss(y, p), abs=1e-9)
    coarse = p.round(1)
    assert metrics.area_under_roc(coarse, y) == pytest.approx(roc_auc_score(y, coarse), abs=1e-12)


def test_auc_equals_scipys_rank_sum_statistic() -> None:
    p, y = sample(300)
    statistic = mannwhitneyu(p[y], p[~y]).statistic
    assert metrics.area_under_roc(p, y) == pytest.approx(statistic / (y.sum() * (~y).sum()))


def test_risk_equals_scikit_learns_zero_one_loss_of_the_surest_rows() -> None:
    p, y = sample(200)
    sure, guess = np.maximum(p, 1 - p), p >= 0.5
    surest = np.argsort(-sure)
    expected = [zero_one_loss(y[surest[:k]], guess[surest[:k]]) for k in range(1, 201)]
    coverage, risk = metrics.risk_coverage(sure, guess != y)
    np.testing.assert_allclose(risk, expected, atol=1e-12)
    assert coverage[159] == pytest.approx(0.8)
    assert metrics.selective_risk(sure, guess != y) == pytest.approx(expected[159])
    assert expected[159] > 0


def test_area_under_risk_coverage_complements_the_accuracy_area_of_kumar_et_al() -> None:
    p, y = sample(500)
    sure, right = np.maximum(p, 1 - p), (p >= 0.5) == y
    area, _ = kumar.get_selective_stats(sure, right)
    got = metrics.area_under_risk_coverage(sure, ~right)
    assert got == pytest.approx(1 - area, abs=1e-12)


@pytest.mark.parametrize(("count", "n"), [(0, 10), (1, 10), (97, 100), (100, 100), (4990, 5000)])
def test_wilson_interval_equals_statsmodels(count: int, n: int) -> None:
    expected = proportion_confint(count, n, method="wilson")
    np.testing.assert_allclose(metrics.wilson_interval(count, n), expected, atol=1e-9)


def test_wilson_interval_of_the_worked_example_of_newcombe() -> None:
    # R. G. Newcombe, "Two-sided confidence intervals for the single proportion",
    # Statistics in Medicine 17 (1998) 857-872, table I, method 3: 81 of 263.
    low, high = metrics.wilson_interval(81, 263)
    assert (round(low, 4), round(high, 4)) == (0.2553, 0.3662)


def test_balanced_accuracy_interval_equals_statsmodels_newcombe_interval() -> None:
    p, y = sample(400)
    guess = p >= 0.5
    # Half of 1 + (hits - false alarms): their difference has Newcombe's interval.
    low, high = confint_proportions_2indep(
        (guess & y).sum(), y.sum(), (guess & ~y).sum(), (~y).sum(), method="newcomb"
    )
    got = metrics.balanced_accuracy_interval(y, guess)
    np.testing.assert_allclose(got, ((1 + low) / 2, (1 + high) / 2), atol=1e-9)


def test_overlaps_count_what_reaches_the_limit() -> None:
    found = metrics.overlaps([0.0, 0.5, 0.9, 1.0])
    assert (found.n, found.enough, found.share) == (4, 3, 0.75)
    assert found.mean == pytest.approx(0.6)
    assert found.median == pytest.approx(0.7)


def test_noise_of_calibrated_probabilities_covers_them_and_not_others() -> None:
    rng = np.random.default_rng(8)
    p = rng.beta(0.5, 0.5, 3000)
    limit = metrics.calibration_noise(rng, p)
    assert 0.005 < limit < 0.03
    true = rng.random(3000) < p
    assert metrics.expected_calibration_error(p, true) < limit
    bold = np.clip(p * 1.15, 0, 1)
    assert metrics.expected_calibration_error(bold, true) > limit


@given(st.lists(st.tuples(st.sampled_from([0.0, 0.25, 0.5, 1.0]), st.booleans()), min_size=1))
def test_no_order_of_the_rows_changes_a_figure(rows: list[tuple[float, bool]]) -> None:
    p, y = (np.array(column) for column in zip(*rows, strict=True))
    for figure in (
        metrics.expected_calibration_error,
        metrics.selective_risk,
        metrics.area_under_risk_coverage,
    ):
        assert figure(p, y) == pytest.approx(figure(p[::-1], y[::-1]), abs=1e-12)


def test_rows_of_two_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="one length"):
        metrics.brier_score([0.1, 0.2], [1])
