"""Whether photos that were put together show one engine at all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from vision.estimate import prior, take_steps
from vision.estimate.strength import percent
from vision.guide import Guide
from vision.records import SEVERAL_ENGINES, Conflict, Cue

# Share of photos put together, by hand or in one folder, that show several engines; chosen.
SEVERAL = 0.05
_LIKELY = 0.5

Logs = Mapping[str, float]


def several_engines(guide: Guide, views: Sequence[Sequence[Cue]]) -> float:
    """Probability that photos show more than one engine.

    Against one engine, which all photos must fit, stand an engine to each photo, and one
    photo that strayed in among those of another engine; by Bayes' rule, each photo's cues
    weighed as the argument weighs them. A photo that shows nothing says nothing.

    Parameters
    ----------
    guide : Guide
    views : sequence of sequence of Cue
        The cues of each photo.
    """
    telling = [cues for cues in views if any(cue.speaks for cue in cues)]
    if len(telling) < 2:  # nearly every call: nothing is weighed for a photo by itself
        return 0.0
    before = {id: math.log(p) for id, p in prior(guide).items()}
    logs = [_logs(guide, cues) for cues in telling]
    one = {id: p + math.fsum(log[id] for log in logs) for id, p in before.items()}
    alone = [_log_sum(p + log[id] for id, p in before.items()) for log in logs]
    apart = [math.fsum(alone)]
    if len(logs) > 2:
        rest = (_log_sum(p - log[id] for id, p in one.items()) for log in logs)
        apart += [a + others for a, others in zip(alone, rest, strict=True)]
    # Both ways of being several are as likely before; each photo strays as easily.
    ways = [0.5, *[0.5 / len(logs)] * len(logs)] if len(apart) > 1 else [1.0]
    several = _log_sum(math.log(w) + log for w, log in zip(ways, apart, strict=True))
    odds = math.log(SEVERAL / (1.0 - SEVERAL)) + several - _log_sum(one.values())
    return 1.0 / (1.0 + math.exp(-min(max(odds, -50.0), 50.0)))


def one_or_several(
    guide: Guide, views: Sequence[Sequence[Cue]], said: Sequence[Cue], disputed: Iterable[str]
) -> tuple[Conflict, ...]:
    """A conflict where photos seem to show several engines; it names what is disputed.

    What a person said stands in place of what the photos show of the same name.
    """
    settled = {cue.name for cue in said}
    left = [[cue for cue in cues if cue.name not in settled] for cues in views]
    p = several_engines(guide, left)
    if p < _LIKELY:
        return ()
    text = (
        f"the photos seem to show more than one engine ({percent(min(p, 0.99))}): "
        "date the photos of each by themselves"
    )
    return (Conflict(SEVERAL_ENGINES, tuple(dict.fromkeys(disputed)), text),)


def _logs(guide: Guide, cues: Sequence[Cue]) -> Logs:
    steps, _ = take_steps(guide, cues)
    return {id: math.fsum(math.log(step.likelihoods[id]) for step in steps) for id in prior(guide)}


def _log_sum(logs: Iterable[float]) -> float:
    values = list(logs)
    most = max(values)
    return most + math.log(math.fsum(math.exp(value - most) for value in values))
