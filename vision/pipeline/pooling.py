"""What several partly dependent witnesses say of one part, joined."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

# Weight of a further witness beside the best: 1 would be independence, 0 would be one
# witness told twice. The first was chosen: another side of the same engine shows another
# slope of the same lever, but in the same room, by the same camera, read by the same
# network. The second is for another shot of one side: on the castings of the calibration
# the log loss of lever and linkage was least with 0.2 to 0.5 (any of these for the stripe);
# the least is taken, since people move less between two shots than the studio's cameras.
WITNESS_WEIGHT, SAME_SIDE_WEIGHT = 0.5, 0.2
# No view rules anything out, as no single photo does.
LEAST_SHARE = 1e-4

Shares = Mapping[str, float]


def pool(witnesses: Sequence[Shares], sides: Sequence[int] | None = None) -> dict[str, float]:
    """Join what several partly dependent witnesses say of one part.

    For each state, the logarithm of its share over an even share is a witness's word for
    it (positive) or against it (negative). Of the words for it the loudest counts in
    full, every other by `WITNESS_WEIGHT` or, where a louder one is of the same side of
    the engine, by `SAME_SIDE_WEIGHT`; so do those against it, and the two are added. So a
    second witness that agrees adds less than an independent one would, never takes
    anything away, and two that contradict each other equally leave the matter open.

    Parameters
    ----------
    witnesses : sequence of mapping of str to float
        Shares of the same states, each summing to 1.
    sides : sequence of int, optional
        The engine's side that each has seen; by default each another one.

    Returns
    -------
    dict of str to float
        Sums to 1; the shares themselves for one witness, up to `LEAST_SHARE`.

    Notes
    -----
    A tempered product (logarithmic opinion pool) of likelihoods. C. Genest and J. V.
    Zidek, Combining probability distributions: a critique and an annotated bibliography,
    Statistical Science 1 (1), 1986; from memory.

    Examples
    --------
    >>> pool([{"present": 0.9, "absent": 0.1}, {"present": 0.1, "absent": 0.9}])
    {'present': 0.5, 'absent': 0.5}
    """
    states = list(witnesses[0])
    sides = range(len(witnesses)) if sides is None else sides
    scores = []
    for state in states:
        words = [math.log(max(w[state], LEAST_SHARE) * len(states)) for w in witnesses]
        said = list(zip(words, sides, strict=True))
        spoken_for = _tempered([(word, side) for word, side in said if word > 0])
        scores.append(spoken_for + _tempered([(word, side) for word, side in said if word < 0]))
    top = max(scores)
    weights = [math.exp(score - top) for score in scores]
    total = math.fsum(weights)
    return {state: weight / total for state, weight in zip(states, weights, strict=True)}


def _tempered(said: Sequence[tuple[float, int]]) -> float:
    """Words of one sign, each with its side, added by their weights."""
    heard: set[int] = set()
    parts = []
    for word, side in sorted(said, key=lambda one: -abs(one[0])):
        weight = SAME_SIDE_WEIGHT if side in heard else WITNESS_WEIGHT
        parts.append(word * (weight if heard else 1.0))
        heard.add(side)
    return math.fsum(parts)
