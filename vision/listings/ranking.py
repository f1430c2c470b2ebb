"""Which listings are worth opening first: the expected value of each to a collector."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields

from vision.estimate.argument import by_variation, gather, prior, replay
from vision.estimate.conflicts import altered
from vision.estimate.factors import OTHER, TENDER
from vision.guide import Guide
from vision.records import BINARY_CUES, Answer, State

# What an engine is worth of which nothing is known but that it is wanted, and what a
# tender that belongs to it, parts that can be seen to be there, and a price below the
# others' add to that. Chosen; `--weight` changes them.
DEFAULT_WANTED, DEFAULT_TOGETHER, DEFAULT_COMPLETE, DEFAULT_CHEAP = 1.0, 0.5, 0.5, 0.3


@dataclass(frozen=True, slots=True)
class Weights:
    """What each quality of a wanted engine adds to its value; 0 or more."""

    wanted: float = DEFAULT_WANTED
    together: float = DEFAULT_TOGETHER
    complete: float = DEFAULT_COMPLETE
    cheap: float = DEFAULT_CHEAP

    def __post_init__(self) -> None:
        for name, weight in self.as_dict().items():
            if not (math.isfinite(weight) and weight >= 0):
                raise ValueError(f"weight {name}: 0 or more expected, got {weight}")
        if not sum(self.as_dict().values()):
            raise ValueError("weights: at least one above 0 expected")

    def as_dict(self) -> dict[str, float]:
        """Names and weights."""
        return {f.name: getattr(self, f.name) for f in fields(self)}


def qualities(answer: Answer | None, guide: Guide) -> tuple[float, float]:
    """Whether engine and tender belong together, and how complete the photos show it.

    Returns
    -------
    together : float
        Probability that the tender is one that the engine was sold with; 0.5 where
        nothing is known of it.
    complete : float
        Expected share of the parts that it was made with which the photos show; 0
        without photos.
    """
    if answer is None or answer.estimate is None:
        return 0.5, 0.0
    posterior = by_variation(replay(guide, answer.estimate.steps))
    evidence = {item.factor.name: item for item in gather(guide, answer.cues)}
    together = 0.5
    tender = evidence.get(TENDER)
    if tender is not None and any(c.state is not State.UNSEEN for c in tender.cues):
        inside = {id: p for id, p in posterior.items() if id != OTHER}
        total = math.fsum(inside.values())
        together = 1.0 - math.fsum(p * altered(tender, id) for id, p in inside.items()) / total
    return together, _complete(answer, guide, posterior)


def wanted_share(shares: Mapping[str, float], guide: Guide, wants: Collection[str]) -> float:
    """Probability that an engine is one of the wanted variations.

    Parameters
    ----------
    shares : mapping of variation id to float
        From the answer; empty without one, and then the guide's own shares stand: not
        to have seen says nothing.
    guide : Guide
    wants : collection of str
        Empty for all of the guide.
    """
    wanted = set(wants) or {v.id for v in guide.variations}
    known = shares or by_variation(prior(guide))
    return math.fsum(p for id, p in known.items() if id in wanted)


def _complete(answer: Answer, guide: Guide, posterior: Mapping[str, float]) -> float:
    """Expected share, over variations, of the parts it was made with that the photos show."""
    shown = {c.name: c.p_present or 0.0 for c in answer.cues if c.state is not State.UNSEEN}
    if any(s for s in answer.sightings if getattr(s, "tender", None) is not None):
        shown[TENDER] = 1.0
    total = mass = 0.0
    for variation in guide.variations:
        parts = [n for n in BINARY_CUES if variation.expects.get(n) is State.PRESENT]
        parts += [TENDER] if variation.tenders else []
        if parts:
            share = math.fsum(shown.get(part, 0.0) for part in parts) / len(parts)
            total += posterior[variation.id] * share
            mass += posterior[variation.id]
    return total / mass if mass else 0.0


def cheapness(prices: Sequence[tuple[float | None, str]]) -> list[float]:
    """Share of the listings of the same currency that ask more, ties counted by half.

    Currencies are never converted. A listing without a price or a currency, and the only
    one of its currency, has 0.5.

    Examples
    --------
    >>> cheapness([(10, "EUR"), (20, "EUR"), (30, "EUR"), (5, "GBP"), (None, "EUR")])
    [1.0, 0.5, 0.0, 0.5, 0.5]
    """
    by_currency: dict[str, list[float]] = {}
    for price, currency in prices:
        if price is not None and currency:
            by_currency.setdefault(currency, []).append(price)
    for known in by_currency.values():
        known.sort()
    shares = []
    for price, currency in prices:
        known = by_currency.get(currency, [])
        if price is None or not currency or len(known) < 2:
            shares.append(0.5)
            continue
        dearer = len(known) - bisect_right(known, price)
        same = bisect_right(known, price) - bisect_left(known, price) - 1
        shares.append((dearer + same / 2) / (len(known) - 1))
    return shares


def value(parts: Mapping[str, float], weights: Weights) -> float:
    """Expected value, 0 to 1: an engine that is not wanted has none, however cheap.

    P(wanted) times the weighted mean of 1 (it is wanted), `together`, `complete` and
    `cheap`.

    Examples
    --------
    >>> value({"wanted": 0.5, "together": 1, "complete": 1, "cheap": 1}, Weights())
    0.5
    """
    own = weights.as_dict()
    gained = own.pop("wanted")
    total = gained + math.fsum(own.values())
    return parts["wanted"] * (gained + math.fsum(w * parts[n] for n, w in own.items())) / total
