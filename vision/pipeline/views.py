"""One cue per name out of several photos of one engine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from types import MappingProxyType

from vision.features import named_colours
from vision.pipeline.placing import SURE
from vision.pipeline.pooling import Shares, pool
from vision.records import ILLEGIBLE, VALUED_CUES, Conflict, Cue, State

# What a reader leaves unsaid of a number may be any of many; chosen.
_ANY_NUMBER = 10
_ALIKE = 0.05  # probability that two photos have in common of a part's colours; chosen


def fuse_views(
    views: Sequence[Sequence[Cue]],
    sides: Sequence[int] | None = None,
    shots: Sequence[int] | None = None,
) -> tuple[tuple[Cue, ...], tuple[Conflict, ...]]:
    """One cue per name out of several photos of one engine.

    Of the copies of one picture the view that was read with the greatest confidence
    counts alone. Views are joined by `pool`, those too that show the place but not
    clearly enough to call it alone: what several of them lean to may be called together,
    from `placing.SURE` on (numbers and counts only where no view tells one). Views of one
    side show the same part in the same light and fail together, so three photos of one
    dome are not three witnesses for a lever: a further one adds little, but what speaks
    against the others counts in full. Views that contradict each other are reported as a
    conflict too, since they may show two engines.

    Parameters
    ----------
    views : sequence of sequence of Cue
        The cues of each photo, in the order of the photos.
    sides, shots : sequence of int, optional
        Which side each photo shows, and which are copies, from `witnesses`. By default
        all are of one side, and those of one side are copies.

    Returns
    -------
    cues : tuple of Cue
        In the order in which their names first occur. `photo`, `where` and `because`
        are those of the best view; `because` says what became of the others.
    conflicts : tuple of Conflict
        One for each cue on which two photos disagree.
    """
    sides = [0] * len(views) if sides is None else sides
    shots = sides if shots is None else shots
    by_name: dict[str, list[Cue]] = {}
    for index, cues in enumerate(views):
        for cue in cues:
            by_name.setdefault(cue.name, []).append(replace(cue, photo=index))
    fused = []
    conflicts = []
    for name, same in by_name.items():
        speaking = [cue for cue in same if cue.speaks]
        if not speaking:
            fused.append(max(same, key=lambda cue: (cue.in_sight, cue.confidence)))
            continue
        best = _best_of_each(speaking, shots)
        joint = _joined(best, [sides[cue.photo] for cue in best])
        seen = [cue for cue in same if cue.state is not State.UNSEEN]
        if not seen:
            fused.append(joint)
            continue
        others = [cue for cue in seen if cue.photo != joint.photo]
        own = next((cue for cue in seen if cue.photo == joint.photo), joint)
        because = _with_others(joint, own, others, best, sides)
        fused.append(replace(joint, because=because))
        against = [cue for cue in others if not agree(_reading(cue), _reading(joint))]
        if against:
            readings = [f"photo {c.photo + 1} reads {_reading(c)}" for c in (own, *against)]
            text = f"{name}: {', '.join(readings)}; one is wrong, or they show two engines"
            conflicts.append(Conflict("views", (name,), text))
    return tuple(fused), tuple(conflicts)


def _best_of_each(speaking: Sequence[Cue], shots: Sequence[int]) -> list[Cue]:
    """The best view of each shot, the best of all first; unclear ones after all others."""
    best: dict[int, Cue] = {}
    for cue in sorted(speaking, key=lambda c: (-c.confidence, -_telling(c))):
        best.setdefault(shots[cue.photo], cue)
    return list(best.values())


def _joined(best: Sequence[Cue], sides: Sequence[int]) -> Cue:
    """What all views say, shown in the best one that says the same."""
    if len(best) == 1:
        return best[0]
    if best[0].name in VALUED_CUES:
        return _value_of(best, sides)
    said = [{"present": _presence(cue), "absent": 1.0 - _presence(cue)} for cue in best]
    p = pool(said, sides)["present"]
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    confidence = max(p, 1.0 - p)
    if best[0].state is State.UNSEEN:
        return (
            _leant(best, state, p)
            if confidence >= SURE
            else replace(best[0], p_present=p, clear=1.0)
        )
    shown = next((cue for cue in best if cue.state is state), best[0])
    joint = replace(shown, state=state, p_present=p, confidence=confidence)
    every = zip(best, sides, strict=True)
    return _with_colour(joint, [(cue, side) for cue, side in every if cue.state is State.PRESENT])


def _value_of(best: Sequence[Cue], sides: Sequence[int]) -> Cue:
    """The value that all views tell which state one; without any, what the unclear ones may."""
    told = [(cue, side) for cue, side in zip(best, sides, strict=True) if not cue.may_be]
    unclear = not told
    told = told or list(zip(best, sides, strict=True))
    unnamed = _ANY_NUMBER if best[0].name == "cab_number" else 1
    values = _pool_values([_values(cue) for cue, _ in told], [s for _, s in told], unnamed)
    value = max(values, key=lambda v: values[v])
    shown = next((cue for cue, _ in told if (cue.likeliest or _reading(cue)) == value), best[0])
    joint = replace(shown, values=MappingProxyType(values))
    if unclear and values[value] < SURE:
        return joint
    because = f"{len(told)} photos read {value}, each too unclear alone"
    return replace(
        joint,
        state=State.PRESENT,
        value=value,
        confidence=values[value],
        because=because if unclear else shown.because,
        in_sight=False,
    )


def _leant(best: Sequence[Cue], state: State, p: float) -> Cue:
    """What several unclear views lean to, shown in the one that leans most that way."""
    shown = max(best, key=lambda cue: _presence(cue) if state is State.PRESENT else -_presence(cue))
    because = f"{len(best)} photos lean to {state.value}, each too unclear to call alone"
    confidence = max(p, 1.0 - p)
    return replace(
        shown, state=state, p_present=p, confidence=confidence, because=because, in_sight=False
    )


def _with_colour(joint: Cue, present: Sequence[tuple[Cue, int]]) -> Cue:
    """Add the colour, where the views that show the part, each of a side, name one."""
    said = [cue.values for cue, _ in present if cue.values]
    sides = [side for cue, side in present if cue.values]
    if joint.state is not State.PRESENT or not said:
        return joint
    return replace(joint, values=MappingProxyType(_pool_values(said, sides)))


def _pool_values(
    witnesses: Sequence[Shares], sides: Sequence[int], unnamed: int = 1
) -> dict[str, float]:
    """Pool shares of values that not every witness names; what is left stays unsaid.

    What is unsaid is shared out among so many values that nobody names, too.
    """
    named = sorted({value for shares in witnesses for value in shares})
    filled = []
    for shares in witnesses:
        # What a witness leaves unsaid may be any value that only others name, or none.
        silent = [value for value in named if value not in shares]
        each = max(0.0, 1.0 - math.fsum(shares.values())) / (len(silent) + unnamed)
        others = {" " * k: each for k in range(unnamed)}
        filled.append({value: shares.get(value, each) for value in named} | others)
    return {value: share for value, share in pool(filled, sides).items() if value.strip()}


def _values(cue: Cue) -> dict[str, float]:
    if cue.values:
        total = max(1.0, math.fsum(cue.values.values()))
        return {value: p / total for value, p in cue.values.items()}
    return {} if cue.value is None else {cue.value: cue.confidence}


def _telling(cue: Cue) -> float:
    """How far an unclear view is from telling nothing."""
    if cue.may_be:
        return max(cue.may_be.values())
    return abs(_presence(cue) - 0.5)


def _presence(cue: Cue) -> float:
    if cue.leaning is not None:
        return cue.leaning
    if cue.p_present is not None:
        return cue.p_present
    return cue.confidence if cue.state is State.PRESENT else 1.0 - cue.confidence


def _other_colour(cue: Cue, shown: Cue) -> str:
    """The colour of a part in one photo, where it is another one than in the one shown."""
    if cue.value is not None or not (cue.values and shown.values):
        return ""
    alike = sum(min(p, shown.values.get(colour, 0.0)) for colour, p in cue.values.items())
    return named_colours(cue.values) if alike < _ALIKE else ""


def _reading(cue: Cue) -> str:
    return cue.value if cue.value is not None else cue.state.value


def agree(one: str, other: str) -> bool:
    """Whether two readings may be of one thing: a figure left open is any figure."""
    return len(one) == len(other) and all(
        a == b or ILLEGIBLE in (a, b) for a, b in zip(one, other, strict=True)
    )


def _with_others(
    joint: Cue, own: Cue, others: Sequence[Cue], best: Sequence[Cue], sides: Sequence[int]
) -> str:
    counted: dict[int, str] = {}
    heard = {sides[joint.photo]}
    for cue in best:
        if cue.photo != joint.photo and agree(_reading(cue), _reading(joint)):
            same = sides[cue.photo] in heard
            counted[cue.photo] = (
                "but shows no new side and counts little"
                if same
                else "from another side, and counts in part"
            )
            heard.add(sides[cue.photo])
    parts = [joint.because] if joint.because else []
    for cue in others:
        if not agree(_reading(cue), _reading(joint)):
            parts.append(f"photo {cue.photo + 1} reads {_reading(cue)}")
        elif colour := _other_colour(cue, own):
            parts.append(f"photo {cue.photo + 1} has it too, but {colour}")
        else:
            told = counted.get(cue.photo, "but shows nothing new and counts no more")
            parts.append(f"photo {cue.photo + 1} agrees, {told}")
    return "; ".join(parts)
