"""Whether photos that were put together show one engine at all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from vision.estimate import prior
from vision.estimate.argument import gather
from vision.estimate.strength import percent
from vision.guide import Guide
from vision.records import COUPLED, DRIVING, PERHAPS_SEVERAL, SEVERAL_ENGINES, Conflict, Cue

# Share of photos put together, by hand or in one folder, that show several engines; chosen.
SEVERAL = 0.05
# What an engine keeps from photo to photo: where photos of one differ in it, one is misread,
# at the rate that `vision.estimate.reading` states (`BLUNDER`, beside the doubt of the cue).
# A tender behind a tank engine is weighed by what the axles leave open, so it goes with them.
# Other parts get lost and tenders swapped between two photos: there each speaks for itself.
KEPT = (DRIVING, COUPLED, "cab_number")
_LIKELY = 0.5
_WORTH_SAYING = 0.1  # from which it is said that they may; chosen

Logs = Mapping[str, float]


def several_engines(guide: Guide, views: Sequence[Sequence[Cue]]) -> float:
    """Probability that photos show more than one engine.

    Against one engine, which all photos must fit, stand an engine to each photo, and one
    photo that strayed in among those of another engine; by Bayes' rule, each photo's cues
    weighed as the argument weighs them, and those of what one engine keeps (`KEPT`) together
    for all photos of it. A photo that shows nothing says nothing.

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
    changing = [_logs(guide, [cue for cue in cues if cue.name not in KEPT]) for cues in telling]
    kept = [[cue for cue in cues if cue.name in KEPT] for cues in telling]
    numbers = range(len(telling))

    def of_one(photos: Sequence[int]) -> float:
        """Log evidence of photos of one engine, whichever it is."""
        steady = _logs(guide, [cue for k in photos for cue in kept[k]])
        return _log_sum(
            p + steady[id] + math.fsum(changing[k][id] for k in photos) for id, p in before.items()
        )

    alone = [of_one([k]) for k in numbers]
    apart = [math.fsum(alone)]
    if len(telling) > 2:
        apart += [alone[k] + of_one([j for j in numbers if j != k]) for k in numbers]
    # Both ways of being several are as likely before; each photo strays as easily.
    ways = [0.5, *[0.5 / len(alone)] * len(alone)] if len(apart) > 1 else [1.0]
    several = _log_sum(math.log(w) + log for w, log in zip(ways, apart, strict=True))
    odds = math.log(SEVERAL / (1.0 - SEVERAL)) + several - of_one(numbers)
    return 1.0 / (1.0 + math.exp(-min(max(odds, -50.0), 50.0)))


def one_or_several(
    guide: Guide, views: Sequence[Sequence[Cue]], said: Sequence[Cue], disputed: Iterable[str]
) -> tuple[Conflict, ...]:
    """A conflict where photos seem to show several engines, or may; it names what is disputed.

    What a person said stands in place of what the photos show of the same name.
    """
    settled = {cue.name for cue in said}
    left = [[cue for cue in cues if cue.name not in settled] for cues in views]
    p = several_engines(guide, left)
    names = tuple(dict.fromkeys(disputed))
    if p < _LIKELY:
        if p < _WORTH_SAYING or not names:
            return ()
        text = (
            f"the photos may show more than one engine ({percent(p)}); "
            "all that is said of it takes them for one"
        )
        return (Conflict(PERHAPS_SEVERAL, names, text),)
    text = (
        f"the photos seem to show more than one engine ({percent(min(p, 0.99))}): "
        "date the photos of each by themselves"
    )
    return (Conflict(SEVERAL_ENGINES, names, text),)


def _logs(guide: Guide, cues: Sequence[Cue]) -> Logs:
    read = [item for item in gather(guide, cues) if item.speaks]
    return {
        id: math.fsum(math.log(item.likelihood(id.rpartition("@")[0] or id)) for item in read)
        for id in prior(guide)
    }


def _log_sum(logs: Iterable[float]) -> float:
    values = list(logs)
    most = max(values)
    return most + math.log(math.fsum(math.exp(value - most) for value in values))
