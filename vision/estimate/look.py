"""What to look at next: expected information gain, in bits, of every look not yet taken."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from operator import mul
from types import MappingProxyType

from vision.estimate.argument import Evidence, by_variation
from vision.estimate.factors import COUNTED_CUES, TENDER, Row, beside
from vision.estimate.reading import (
    PERSON_RELIABILITY,
    counts_possible,
    counts_shown,
    lettered_today,
)
from vision.guide import Guide
from vision.records import COUPLED, DRIVING, LETTERING, NextLook, State, can_be_read

# How often a better photo of one part will be read right. Chosen; the measured figure
# is that of the cues' own evaluation.
PHOTO_RELIABILITY = 0.95
# A reading less sure than this is worth another look. Chosen.
LOOK_AGAIN = 0.9

PHRASES: Mapping[str, str] = MappingProxyType(
    {
        "switch_lever": "Photograph the boiler top from the side and slightly above, between "
        "chimney and cab: does a lever stand up through a slot?",
        "side_linkage": "Photograph the wheels squarely from the side, at rail height and in "
        "soft light: does a linkage run behind the coupling rods?",
        "edge_stripe": "Photograph the edge of the running board from the side, without flash: "
        "does a painted line run along it, and in which colour?",
        DRIVING: "Count the driving wheels on one side, those that rods join or drive: how many "
        "are there?",
        COUPLED: "Photograph the whole engine from the side, with whatever is coupled behind it: "
        "is that a tender of its own?",
        "cab_number": "Photograph the cab side squarely, close enough for the figures to fill "
        "a quarter of the picture: which number does it carry?",
        "tender_axles": "Photograph the tender squarely from the side: how many axles are there?",
        "tender_lamps": "Photograph the rear of the tender: how many lamps are there?",
        LETTERING: "Photograph the side of the tender squarely: is it lettered?",
    }
)

Outcomes = tuple[Row, ...]


def rank_looks(
    guide: Guide, evidence: Sequence[Evidence], posterior: Mapping[str, float]
) -> tuple[NextLook, ...]:
    """Every cue that no photo settled and every open check, the most telling first.

    The gain is the mutual information between what the look will show and the
    hypotheses (variation and year, or other), given all evidence so far and with the
    look itself sometimes wrong.

    Returns
    -------
    tuple of NextLook
        By falling gain; of equal gains, photos before checks.
    """
    weights = by_variation(posterior)
    checks = {check.id: check for check in guide.checks}
    looks = []
    coupled = next((e for e in evidence if e.factor.name == COUPLED and e.speaks), None)
    for item in evidence:
        if item.factor.name == DRIVING and coupled is not None:
            # The tender's own factor is weighed after the axles already, see `gather`.
            factor = beside(guide, item.factor, coupled.factor, coupled.reading)
            item = replace(item, factor=factor)
        if item.factor.name == "cab_number" and not any(map(can_be_read, item.factor.states)):
            continue  # no number of the guide's can be read: whatever is, nothing follows
        for name in _open(guide, item):
            check = checks.get(name)
            sure = PERSON_RELIABILITY if check else PHOTO_RELIABILITY
            outcomes = _outcomes(guide, item, name, sure)
            gain, left = information(weights, _given(item, outcomes))
            instruction = check.instruction if check else PHRASES[name]
            looks.append(
                NextLook(
                    name,
                    instruction,
                    gain,
                    hands_on=check is not None,
                    candidates_left=left,
                    caution=check.caution if check else "",
                )
            )
    return tuple(sorted(looks, key=lambda look: (-look.gain_bits, look.hands_on)))


def information(weights: Mapping[str, float], given: Mapping[str, Row]) -> tuple[float, float]:
    """Mutual information of hypothesis and outcome, and the candidates left after it.

    Parameters
    ----------
    weights : mapping of hypothesis to float
        Summing to 1.
    given : mapping of hypothesis to row
        P(outcome | hypothesis), each row summing to 1.

    Returns
    -------
    gain : float
        Bits, at least 0.
    left : float
        Effective number of hypotheses: 2 to the power of the entropy that is expected
        to remain.
    """
    before = _entropy(weights.values())
    after = 0.0
    for outcome in range(len(next(iter(given.values())))):
        joint = [p * given[id][outcome] for id, p in weights.items()]
        total = math.fsum(joint)
        if total > 0:
            after += total * _entropy(j / total for j in joint)
    return max(0.0, before - after), 2.0**after


def _entropy(shares: Iterable[float]) -> float:
    return -math.fsum(p * math.log2(p) for p in shares if p > 0)


def _open(guide: Guide, item: Evidence) -> tuple[str, ...]:
    names: tuple[str, ...] = (item.factor.name,)
    if item.factor.name == TENDER:
        names = (*COUNTED_CUES, LETTERING) if guide.tells_lettering else COUNTED_CUES
    # Whoever named the tender, or could not, has looked at all there is of it.
    if any(cue.name == TENDER for cue in item.cues):
        return ()
    settled = {
        cue.name
        for cue in item.cues
        # Who has looked and cannot tell need not be asked again.
        if cue.source == "person"
        or (cue.state is not State.UNSEEN and _confidence(item, cue.confidence) >= LOOK_AGAIN)
    }
    return tuple(name for name in names if name not in settled)


def _confidence(item: Evidence, stated: float) -> float:
    return max(stated, max(item.reading) / math.fsum(item.reading))


def _given(item: Evidence, outcomes: Outcomes) -> dict[str, Row]:
    """P(outcome | variation, readings so far), by way of the hidden state."""
    given, of_outcome = {}, tuple(zip(*outcomes, strict=True))
    for id, row in item.factor.table.items():
        weighed = [p * r for p, r in zip(row, item.reading, strict=True)]
        total = math.fsum(weighed)
        given[id] = tuple(math.fsum(map(mul, weighed, share)) / total for share in of_outcome)
    return given


def _outcomes(guide: Guide, item: Evidence, name: str, sure: float) -> Outcomes:
    """P(outcome | state) of one look, a row for each state of the factor."""
    if item.factor.name == "cab_number":
        # A number that no photo is read for is no more told than one that is unlisted.
        read = [state for state in item.factor.states if can_be_read(state)]
        places = [read.index(s) if s in read else len(read) for s in item.factor.states]
        kinds = range(len(read) + 1)
        return tuple(_blurred(tuple(float(k == at) for k in kinds), sure) for at in places)
    if item.factor.name != TENDER:
        n = len(item.factor.states)
        return tuple(_blurred(tuple(float(i == j) for j in range(n)), sure) for i in range(n))
    if name == LETTERING:
        lettered = [*(lettered_today(guide, tender) for tender in guide.tenders), 0.5]
        return tuple(_blurred((p, 1.0 - p), sure) for p in lettered)
    domain = counts_possible(guide, name)
    rows = []
    for tender in guide.tenders:
        shown = counts_shown(guide, tender, name, domain)
        rows.append(_blurred(tuple(shown.get(count, 0.0) for count in domain), sure))
    return (*rows, tuple(1.0 / len(domain) for _ in domain))


def _blurred(row: Row, sure: float) -> Row:
    """Return the row after a look that shows another outcome in 1 - sure of all cases."""
    n = len(row)
    return tuple(sure * p + (1.0 - sure) * (1.0 - p) / (n - 1) for p in row)
