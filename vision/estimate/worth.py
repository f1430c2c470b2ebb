"""What a guide is worth: engines drawn from it, looked at, dated, and compared."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np

from vision.estimate.dating import estimate
from vision.estimate.eyes import Eyesight, as_cue, look_at
from vision.estimate.saw import saw
from vision.estimate.survivors import Survivor, draw_survivors
from vision.guide import Guide, covered_years
from vision.records import BINARY_CUES, COUPLED, DRIVING, Cue, Estimate

PHOTO = "photo alone"
# Read of one photo alone, before its number and tender.
AT_A_GLANCE = (*BINARY_CUES, DRIVING, COUPLED)
WITH_CHECK = "with the first suggested check answered"


@dataclass(slots=True)
class Tally:
    """Outcomes at one stage of looking.

    Attributes
    ----------
    stage : str
    items, right, held : int
        Engines; those whose variation (or "other") was named first; those whose year
        lay in the stated set (for "other": for which no year was stated).
    stated : float
        Sum of the confidence in the stated sets: what `held` should come to.
    made, made_right : int
        Engines that still are as made, and those of them named right.
    dated, years : int
        Engines for which years were stated, and the years of all these sets together.
    held_of : Counter
        `held` for each true variation.
    named : mapping of variation to Counter
        For each true variation, what was named first, and how often.
    """

    stage: str
    items: int = 0
    right: int = 0
    held: int = 0
    stated: float = 0.0
    made: int = 0
    made_right: int = 0
    dated: int = 0
    years: int = 0
    held_of: Counter[str] = field(default_factory=Counter)
    named: dict[str, Counter[str]] = field(default_factory=dict)

    def add(self, engine: Survivor, found: Estimate) -> None:
        """Count one engine."""
        first = found.variations[0].id
        right = first == engine.variation
        years = frozenset(covered_years(found.years))
        self.items += 1
        self.right += right
        held = engine.year in years if engine.year is not None else not years
        self.held += held
        self.held_of[engine.variation] += held
        self.stated += found.confidence
        self.made += engine.as_made
        self.made_right += engine.as_made and right
        self.dated += bool(years)
        self.years += len(years)
        self.named.setdefault(engine.variation, Counter())[first] += 1


def simulate(
    guide: Guide, sight: Eyesight, items: int, rng: np.random.Generator
) -> tuple[Tally, ...]:
    """Date `items` engines drawn from a guide with an eye of stated skill.

    Parameters
    ----------
    guide : Guide
    sight : Eyesight
    items : int
    rng : numpy.random.Generator
        The same state gives the same figures.

    Returns
    -------
    tuple of Tally
        "photo alone"; then, where the guide has numbers or tenders, with those; then,
        where it has checks, with the hands-on check that the answer suggested first.
    """
    stages = [PHOTO]
    also = ["number"] if guide.numbers else []
    also += ["tender"] if guide.tenders else []
    stages += [f"with {' and '.join(also)}"] if also else []
    stages += [WITH_CHECK] if guide.checks else []
    tallies = tuple(Tally(stage) for stage in stages)
    # Streams apart, so that every eye of one seed looks at the same engines.
    engines, looks = rng.spawn(2)
    known: dict[tuple[tuple[str, str], ...], Estimate] = {}
    for engine in draw_survivors(guide, items, engines):
        seen = look_at(engine, guide, sight, looks)
        answers = looks.random(len(guide.checks)) < sight.check
        checks = dict(zip(guide.check_names, answers, strict=True))
        told: dict[str, str] = {}
        for tally in tallies:
            if tally.stage == PHOTO:
                told = {name: read for name, read in seen.items() if name in AT_A_GLANCE}
            elif tally.stage == WITH_CHECK:
                told = told | _first_check(engine, known[_key(told)], checks)
            else:
                told = dict(seen)
            if _key(told) not in known:
                known[_key(told)] = estimate(guide, _cues(guide, told, sight))
            tally.add(engine, known[_key(told)])
    return tallies


def wilson(count: int, n: int, *, level: float = 0.95) -> tuple[float, float]:
    """Score interval for a share.

    Parameters
    ----------
    count, n : int
        `count` of `n`, n at least 1.
    level : float
        Confidence level.

    Notes
    -----
    E. B. Wilson, Probable inference, the law of succession, and statistical inference,
    Journal of the American Statistical Association 22 (1927), 209-212.
    """
    z = NormalDist().inv_cdf((1.0 + level) / 2.0)
    share = count / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)


def _key(told: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(told.items()))


def _cues(guide: Guide, told: Mapping[str, str], sight: Eyesight) -> Sequence[Cue]:
    return [
        saw(guide, f"{name}={read}") if name in guide.check_names else as_cue(name, read, sight)
        for name, read in told.items()
    ]


def _first_check(engine: Survivor, found: Estimate, checks: Mapping[str, bool]) -> dict[str, str]:
    """Answer to the check suggested first, wrong where the person's draw says so."""
    first = next(look.name for look in found.look_next if look.hands_on)
    state = engine.parts[first]
    wrong = {"present": "absent", "absent": "present"}[state]
    return {first: state if checks[first] else wrong}
