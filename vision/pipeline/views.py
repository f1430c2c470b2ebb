"""One cue per name out of several photos of one engine."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from vision.pipeline.placing import SURE
from vision.records import VALUED_CUES, Conflict, Cue, State

# Weight of a further witness beside the best: 1 would be independence, 0 would be one
# witness told twice. Chosen: another side of the same engine shows another slope of the
# same lever, but in the same room, by the same camera, read by the same network.
WITNESS_WEIGHT = 0.5
# No view rules anything out, as no single photo does.
LEAST_SHARE = 1e-4

Shares = Mapping[str, float]


def fuse_views(
    views: Sequence[Sequence[Cue]], witness: Sequence[int] | None = None
) -> tuple[tuple[Cue, ...], tuple[Conflict, ...]]:
    """One cue per name out of several photos of one engine.

    Of each witness the view that was read with the greatest confidence counts, in full
    and alone: further views of the same side show the same part in the same light and
    fail together, so three photos of one dome are not three witnesses for a lever.
    Witnesses are joined by `pool`, those too who see the place but not clearly enough to
    call it alone: what several of them lean to may be called together, from
    `placing.SURE` on. Views that contradict each other, whichever witness they belong
    to, are reported as a conflict too, since they may show two engines.

    Parameters
    ----------
    views : sequence of sequence of Cue
        The cues of each photo, in the order of the photos.
    witness : sequence of int, optional
        Which witness each photo belongs to, from `witnesses`. All are one by default.

    Returns
    -------
    cues : tuple of Cue
        In the order in which their names first occur. `photo`, `where` and `because`
        are those of the best view; `because` says what became of the others.
    conflicts : tuple of Conflict
        One for each cue on which two photos disagree.
    """
    witness = [0] * len(views) if witness is None else witness
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
        best = _best_of_each(speaking, witness)
        joint = _joined(best)
        seen = [cue for cue in same if cue.state is not State.UNSEEN]
        if not seen:
            fused.append(joint)
            continue
        others = [cue for cue in seen if cue.photo != joint.photo]
        fused.append(replace(joint, because=_with_others(joint, others, best)))
        against = [cue for cue in others if _reading(cue) != _reading(joint)]
        if against:
            readings = [f"photo {c.photo + 1} reads {_reading(c)}" for c in (joint, *against)]
            text = f"{name}: {', '.join(readings)}; one is wrong, or they show two engines"
            conflicts.append(Conflict("views", (name,), text))
    return tuple(fused), tuple(conflicts)


def pool(witnesses: Sequence[Shares]) -> dict[str, float]:
    """Join what several partly dependent witnesses say of one part.

    For each state, the logarithm of its share over an even share is a witness's word for
    it (positive) or against it (negative). Of the words on one side the loudest counts
    in full and every other by `WITNESS_WEIGHT`; the two sides are added. So a second
    witness that agrees adds less than an independent one would, never takes anything
    away, and two that contradict each other equally leave the matter open.

    Parameters
    ----------
    witnesses : sequence of mapping of str to float
        Shares of the same states, each summing to 1.

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
    scores = []
    for state in states:
        words = [math.log(max(w[state], LEAST_SHARE) * len(states)) for w in witnesses]
        scores.append(_tempered(w for w in words if w > 0) + _tempered(w for w in words if w < 0))
    top = max(scores)
    weights = [math.exp(score - top) for score in scores]
    total = math.fsum(weights)
    return {state: weight / total for state, weight in zip(states, weights, strict=True)}


def _tempered(words: Iterable[float]) -> float:
    ranked = sorted(words, key=abs, reverse=True)
    return ranked[0] + WITNESS_WEIGHT * math.fsum(ranked[1:]) if ranked else 0.0


def _best_of_each(speaking: Sequence[Cue], witness: Sequence[int]) -> list[Cue]:
    """The best view of each witness, the best of all first; unclear ones after all others."""
    best: dict[int, Cue] = {}
    for cue in sorted(speaking, key=lambda c: (-c.confidence, -_telling(c))):
        best.setdefault(witness[cue.photo], cue)
    return list(best.values())


def _joined(best: Sequence[Cue]) -> Cue:
    """What all witnesses say, shown in the best view that says the same."""
    if len(best) == 1:
        return best[0]
    if best[0].name in VALUED_CUES:
        values = _pool_values([_values(cue) for cue in best])
        value = max(values, key=lambda v: values[v])
        shown = next((cue for cue in best if _reading(cue) == value), best[0])
        if best[0].state is State.UNSEEN and values[value] < SURE:
            return replace(best[0], values=MappingProxyType(values))
        return replace(
            shown,
            state=State.PRESENT,
            value=value,
            confidence=values[value],
            values=MappingProxyType(values),
            because=shown.because
            if best[0].state is not State.UNSEEN
            else f"{len(best)} photos read {value}, each too unclear alone",
            in_sight=False,
        )
    p = pool([{"present": _presence(c), "absent": 1.0 - _presence(c)} for c in best])["present"]
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
    return _with_colour(joint, [cue for cue in best if cue.state is State.PRESENT])


def _leant(best: Sequence[Cue], state: State, p: float) -> Cue:
    """What several unclear views lean to, shown in the one that leans most that way."""
    shown = max(best, key=lambda cue: _presence(cue) if state is State.PRESENT else -_presence(cue))
    because = f"{len(best)} photos lean to {state.value}, each too unclear to call alone"
    confidence = max(p, 1.0 - p)
    return replace(
        shown, state=state, p_present=p, confidence=confidence, because=because, in_sight=False
    )


def _with_colour(joint: Cue, present: Sequence[Cue]) -> Cue:
    """Add the colour, where the views that show the part name one."""
    said = [shares for shares in map(_colours, present) if shares]
    if joint.state is not State.PRESENT or not said:
        return joint
    colours = _pool_values(said)
    value = max(colours, key=lambda c: colours[c]) if joint.value is not None else None
    sure = joint.confidence * (1.0 if value is None else colours[value])
    return replace(joint, value=value, confidence=sure, values=MappingProxyType(colours))


def _pool_values(witnesses: Sequence[Shares]) -> dict[str, float]:
    """Pool shares of values that not every witness names; what is left stays unsaid."""
    named = sorted({value for shares in witnesses for value in shares})
    filled = []
    for shares in witnesses:
        # What a witness leaves unsaid may be any value that only others name, or none.
        silent = [value for value in named if value not in shares]
        each = max(0.0, 1.0 - math.fsum(shares.values())) / (len(silent) + 1)
        filled.append({value: shares.get(value, each) for value in named} | {"": each})
    return {value: share for value, share in pool(filled).items() if value}


def _values(cue: Cue) -> dict[str, float]:
    if cue.values:
        total = max(1.0, math.fsum(cue.values.values()))
        return {value: p / total for value, p in cue.values.items()}
    value = "0" if cue.state is State.ABSENT else cue.value
    return {} if value is None else {value: cue.confidence}


def _colours(cue: Cue) -> dict[str, float]:
    if cue.values or cue.value is None:
        return dict(cue.values)
    # Confidence covers state and colour together; the colour alone is meant here.
    return {cue.value: min(1.0, cue.confidence / max(_presence(cue), LEAST_SHARE))}


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


def _reading(cue: Cue) -> str:
    return cue.value if cue.value is not None else cue.state.value


def _with_others(joint: Cue, others: Sequence[Cue], best: Sequence[Cue]) -> str:
    counted = {cue.photo for cue in best}
    parts = [joint.because] if joint.because else []
    for cue in others:
        if _reading(cue) != _reading(joint):
            parts.append(f"photo {cue.photo + 1} reads {_reading(cue)}")
        elif cue.photo in counted:
            parts.append(f"photo {cue.photo + 1} agrees, from another side, and counts in part")
        else:
            parts.append(f"photo {cue.photo + 1} agrees, but shows no new side and counts no more")
    return "; ".join(parts)
