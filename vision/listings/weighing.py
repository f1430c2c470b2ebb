"""What photos weigh for and against each kind of claim: arithmetic, no words."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from vision.cues.driving import DRIVING_AXLES
from vision.estimate.argument import Evidence
from vision.estimate.conflicts import altered
from vision.estimate.factors import ABSENT, ANOTHER_COLOUR, OTHER, PRESENT, TENDER, UNLISTED
from vision.estimate.reading import BLUNDER, value_shares
from vision.guide import Guide
from vision.listings.plain import plain, vocabulary
from vision.listings.values import NOT, Claim, Kind
from vision.records import DRIVING, Answer, Cue, State


@dataclass(frozen=True, slots=True)
class Weighed:
    """How a claim fares, and the cue that says most about it.

    `p_true` and `p_false` sum to less than 1 where a part's own reading and everything
    taken together differ: each is the smaller of the two.
    """

    p_true: float
    p_false: float
    ratio: float
    cue: Cue | None


@dataclass(frozen=True, slots=True)
class Case:
    """One answer, taken apart."""

    guide: Guide
    answer: Answer
    evidence: Mapping[str, Evidence]
    posterior: Mapping[str, float]
    before: Mapping[str, float]

    def cue(self, name: str) -> Cue | None:
        """The photos' reading of a cue, if there is one."""
        seen = (c for c in self.answer.cues if c.name == name and c.state is not State.UNSEEN)
        return next(seen, None)


def _states(claim: Claim, case: Case, name: str, states: frozenset[str]) -> Weighed | None:
    """Weigh a claim that one part is in one of some states.

    Both the photos' own reading and the reading together with everything else must bear
    a verdict out: the first alone would forget the guide, the second alone might state
    what no photo shows.
    """
    item, cue = case.evidence.get(name), case.cue(name)
    if item is None or cue is None:
        return None
    factor = item.factor
    inside = [r for s, r in zip(factor.states, item.reading, strict=True) if s in states]
    outside = [r for s, r in zip(factor.states, item.reading, strict=True) if s not in states]
    if not inside or not outside:
        return None
    ratio = (math.fsum(inside) / len(inside)) / (math.fsum(outside) / len(outside))
    own = ratio / (1.0 + ratio)
    joint = math.fsum(p * _given(item, id, states) for id, p in case.posterior.items())
    return Weighed(min(own, joint), min(1.0 - own, 1.0 - joint), ratio, cue)


def _given(item: Evidence, id: str, states: frozenset[str]) -> float:
    """P(state among `states` | variation, reading)."""
    row = item.factor.history[id]
    weighed = [p * r for p, r in zip(row, item.reading, strict=True)]
    chosen = [w for s, w in zip(item.factor.states, weighed, strict=True) if s in states]
    return math.fsum(chosen) / math.fsum(weighed)


def _part(claim: Claim, case: Case) -> Weighed | None:
    if claim.about == TENDER:
        return _has_tender(claim, case)
    item = case.evidence.get(claim.about)
    if item is None:
        return None
    shown = frozenset(item.factor.states) - {ABSENT}
    return _states(
        claim, case, claim.about, shown if claim.value == PRESENT else frozenset({ABSENT})
    )


def _has_tender(claim: Claim, case: Case) -> Weighed | None:
    """There is a tender where its axles were counted; that none is shown says nothing."""
    cue = case.cue("tender_axles")
    if cue is None:
        return None
    p = min(cue.confidence, 1.0 - BLUNDER)
    p_true = p if claim.value == PRESENT else 1.0 - p
    return Weighed(p_true, 1.0 - p_true, p_true / (1.0 - p_true), cue)


def _colour(claim: Claim, case: Case) -> Weighed | None:
    item, cue = case.evidence.get(claim.about), case.cue(claim.about)
    if item is None or cue is None or (cue.state is State.PRESENT and not _names_colour(cue)):
        return None
    named = claim.value.removeprefix(NOT)
    near: Mapping[str, list[str]] = vocabulary()["near_colours"]
    alike = {named, *near.get(named, ())}
    alike |= {colour for colour, others in near.items() if named in others}
    known = {state for state in item.factor.states if state.lower() in alike}
    if claim.value != named:
        exact = {state for state in known if state.lower() == named}
        other = set(item.factor.states) - (exact or {*known, ANOTHER_COLOUR})
        return _states(claim, case, claim.about, frozenset(other))
    return _states(claim, case, claim.about, frozenset(known or {ANOTHER_COLOUR}))


def _names_colour(cue: Cue) -> bool:
    return cue.value is not None or bool(cue.values)


def _count(claim: Claim, case: Case) -> Weighed | None:
    cue = case.cue(claim.about)
    if cue is None or not can_be_counted(claim):
        return None
    shares = value_shares(cue)
    values = {*shares, claim.value}
    p = (1.0 - BLUNDER) * shares.get(claim.value, 0.0) + BLUNDER / (len(values) + 1)
    return Weighed(p, 1.0 - p, p / (1.0 - p), cue)


def can_be_counted(claim: Claim) -> bool:
    """Whether photos are read for such a count.

    No more than six driving axles are told, and the reader has learnt from engines that
    have them in one group: of a "0-6-6-0" it may count one unit alone.
    """
    if claim.about != DRIVING:
        return True
    return int(claim.value) in DRIVING_AXLES and plain(claim.text).count("-") == 2


def _tender(claim: Claim, case: Case) -> Weighed | None:
    item = case.evidence.get(TENDER)
    cue = case.cue("tender_axles") or case.cue("tender_lamps")
    if item is None or cue is None:
        return None
    ratio = _ratio(dict(zip(item.factor.states, item.reading, strict=True)), {claim.value})
    own = ratio / (1.0 + ratio)
    joint = math.fsum(
        p * _given(item, id, frozenset({claim.value})) for id, p in case.posterior.items()
    )
    return Weighed(min(own, joint), min(1.0 - own, 1.0 - joint), ratio, cue)


def _original(claim: Claim, case: Case) -> Weighed | None:
    """Weigh that the tender is of a kind that the engine was sold with, by the guide's rates.

    Of an engine of no variation nobody knows what it was sold with: it speaks for neither.
    """
    item = case.evidence.get(TENDER)
    cue = case.cue("tender_axles") or case.cue("tender_lamps")
    if claim.about != TENDER or item is None or cue is None:
        return None
    swapped = {id: altered(item, id) for id in case.posterior if id != OTHER}
    before = {id: 1.0 - _as_made(item, id) for id in swapped}
    false = math.fsum(case.posterior[id] * p for id, p in swapped.items())
    true = math.fsum(case.posterior[id] * (1.0 - p) for id, p in swapped.items())
    was_false = math.fsum(case.before[id] * p for id, p in before.items())
    was_true = math.fsum(case.before[id] * (1.0 - p) for id, p in before.items())
    if not (true and false and was_true and was_false):
        return None
    return Weighed(true, false, (true / false) / (was_true / was_false), cue)


def _as_made(item: Evidence, id: str) -> float:
    """P(the part is as the works delivered it | variation), before anything is seen."""
    if id not in item.factor.made:
        return 1.0
    row = zip(item.factor.states, item.factor.history[id], strict=True)
    return math.fsum(p for state, p in row if state in item.factor.made[id])


def _number(claim: Claim, case: Case) -> Weighed | None:
    item = case.evidence["cab_number"]
    state = claim.value if claim.value in item.factor.states else UNLISTED
    cue = case.cue("cab_number")
    if cue is not None:
        weighed = _states(claim, case, "cab_number", frozenset({state}))
        if weighed is None or state != UNLISTED or weighed.ratio < 1.0:
            return weighed
        # That a number is none of the guide's does not make it the one in the listing.
        return weighed if cue.value == claim.value else None
    if state == UNLISTED:
        return None
    # The engine itself says which numbers it was sold with.
    index = item.factor.states.index(state)
    return _by_variation(case, {id: row[index] for id, row in item.factor.table.items()})


def _year(claim: Claim, case: Case) -> Weighed | None:
    guide = case.guide
    fits = made_then(claim, guide)
    if not fits or len(fits) == len(guide.variations):
        return None  # nothing in the guide fits, or all does: photos cannot weigh that
    # An engine of no variation may be of any of the guide's years, each as likely.
    open_years = _allowed(claim).intersection(guide.years)
    shares = {v.id: float(v.id in fits) for v in guide.variations}
    return _by_variation(case, shares | {OTHER: len(open_years) / len(guide.years)})


def _variation(claim: Claim, case: Case) -> Weighed | None:
    return _by_variation(case, {v.id: float(v.id == claim.value) for v in case.guide.variations})


def _by_variation(case: Case, fits: Mapping[str, float]) -> Weighed | None:
    """Weigh a claim by P(true | variation), where the photos show anything at all."""
    if not any(case.cue(cue.name) for cue in case.answer.cues):
        return None
    true = {id: fits.get(id, 0.0) for id in case.posterior}
    p_true = math.fsum(p * true[id] for id, p in case.posterior.items())
    was_true = math.fsum(p * true[id] for id, p in case.before.items())
    if not 0.0 < was_true < 1.0:
        return None
    ratio = (p_true / (1.0 - p_true)) / (was_true / (1.0 - was_true))
    return Weighed(p_true, 1.0 - p_true, ratio, _witness(case, true))


def _witness(case: Case, true: Mapping[str, float]) -> Cue | None:
    """Cue that tells a true claim from a false one best, one way or the other."""
    best, strongest = None, 0.0
    for name, item in case.evidence.items():
        names = ("tender_axles", "tender_lamps") if name == TENDER else (name,)
        cue = next((c for n in names if (c := case.cue(n)) is not None), None)
        if cue is None:
            continue
        by_id = {id: item.likelihood(id) for id in case.before if id != OTHER}
        weights = {id: true[id] for id in by_id}
        word = abs(
            math.log(_mean(by_id, weights) / _mean(by_id, {i: 1 - w for i, w in weights.items()}))
        )
        if word > strongest:
            best, strongest = cue, word
    return best


def _mean(values: Mapping[str, float], weights: Mapping[str, float]) -> float:
    total = math.fsum(weights.values())
    return math.fsum(values[id] * w for id, w in weights.items()) / total if total else 1.0


def _ratio(row: Mapping[str, float], inside: set[str]) -> float:
    ins = [r for s, r in row.items() if s in inside]
    outs = [r for s, r in row.items() if s not in inside]
    return (math.fsum(ins) / len(ins)) / (math.fsum(outs) / len(outs))


def made_then(claim: Claim, guide: Guide) -> frozenset[str]:
    """Variations made in any of the years that a claim allows."""
    allowed = _allowed(claim)
    return frozenset(v.id for v in guide.variations if allowed.intersection(v.years))


def _allowed(claim: Claim) -> set[int]:
    shifts = range(-claim.leeway, claim.leeway + 1)
    return {year + shift for year in claim.years for shift in shifts}


WEIGH: Mapping[Kind, Callable[[Claim, Case], Weighed | None]] = {
    Kind.YEAR: _year,
    Kind.NUMBER: _number,
    Kind.PART: _part,
    Kind.COLOUR: _colour,
    Kind.AXLES: _count,
    Kind.LAMPS: _count,
    Kind.TENDER: _tender,
    Kind.VARIATION: _variation,
    Kind.ORIGINAL: _original,
}
