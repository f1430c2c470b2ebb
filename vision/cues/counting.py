"""Probabilities of counts, as far as they are believed."""

from __future__ import annotations

from collections.abc import Sequence

# Probabilities are kept this far from 0 and 1: no photo rules a count out.
FLOOR = 1e-4


def sharpened(raw: Sequence[float], temperature: float) -> list[float]:
    """Probabilities raised to the inverse of a temperature, their sum 1."""
    raised = [max(p, FLOOR) ** (1.0 / temperature) for p in raw]
    total = sum(raised)
    return [p / total for p in raised]
