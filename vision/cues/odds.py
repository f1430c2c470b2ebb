"""Probabilities as log odds, and back."""

from __future__ import annotations

import math


def logit(p: float) -> float:
    """Log odds of a probability, finite for 0 and 1."""
    p = min(max(p, 1e-6), 1 - 1e-6)
    return math.log(p / (1 - p))


def sigmoid(x: float) -> float:
    """Logistic function, safe for large arguments."""
    if x >= 0:
        return 1.0 / (1.0 + math.exp(-x))
    return math.exp(x) / (1.0 + math.exp(x))
