"""Counts of wheels and lamps: how far they are believed, and what is said of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from vision.records import Box, Cue, State

# Probabilities are kept this far from 0 and 1: no photo rules a count out.
FLOOR = 1e-4
_UNCLEAR = "the count is unclear in this picture"


def sharpened(raw: Sequence[float], temperature: float) -> list[float]:
    """Probabilities raised to the inverse of a temperature, their sum 1."""
    raised = [max(p, FLOOR) ** (1.0 / temperature) for p in raw]
    total = sum(raised)
    return [p / total for p in raised]


def by_count(labels: Sequence[int], shares: Sequence[float]) -> Mapping[str, float]:
    """Probabilities by the counts that they are of."""
    return MappingProxyType({str(k): p for k, p in zip(labels, shares, strict=True)})


def count_cue(
    name: str,
    shares: Mapping[str, float],
    *,
    sure_at_least: float,
    where: Box | None,
    words: tuple[str, str],
    clear: bool = True,
    leaning: Mapping[str, float] | None = None,
) -> Cue:
    """The likeliest count, stated where it is sure; otherwise what it leans to.

    Parameters
    ----------
    name : str
    shares : mapping of str to float
        Probability of each count.
    sure_at_least : float
        Probability from which on a count is stated.
    where : Box or None
        Pixels of the upright photo.
    words : (str, str)
        What was counted, of one and of several.
    clear : bool
        Whether a count may be stated at all.
    leaning : mapping of str to float, optional
        What it leans to where none is stated, in place of `shares`.
    """
    best = max(shares, key=lambda count: shares[count])
    if not clear or shares[best] < sure_at_least:
        values = shares if leaning is None else leaning
        return Cue(name, State.UNSEEN, where=where, because=_UNCLEAR, values=values, in_sight=True)
    return Cue(
        name,
        State.PRESENT,
        value=best,
        confidence=shares[best],
        where=where,
        because=f"{best} {words[best != '1']}",
        values=shares,
    )
