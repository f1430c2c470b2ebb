"""What a reading of one part weighs: P(evidence | state today) for each state."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from vision.estimate.factors import ANOTHER_COLOUR, TENDER, UNLISTED, Factor, Row, driving_counts
from vision.estimate.numbers import reading_likelihood, unlisted_likelihood
from vision.guide import Guide, PartRates, Tender
from vision.records import DRIVING, LETTERING, Cue, State

# A probability from a photo is never taken as more certain than this. Chosen: an
# odds of 10,000 is beyond what any calibration set here can show.
PHOTO_LIMIT = 1e-4
# How often a person who looks is right. Chosen.
PERSON_RELIABILITY = 0.98
# Share of value readings that are wrong altogether and tell nothing. Chosen. Without
# it two sure readings that contradict each other would crown whatever neither
# excludes (Zadeh 1979; 1984).
BLUNDER = 0.02
# How often whoever counts driving wheels is right, and how much rarer each axle more makes a
# miscount: mostly it is by one. Chosen.
COUNTED_RIGHT, SLIP_FURTHER = 0.995, 0.1
AXLE_COUNTS: tuple[str, ...] = ("2", "3", "4", "5", "6", "8")
LAMP_COUNTS: tuple[str, ...] = ("0", "1", "2", "3")


def reading(factor: Factor, guide: Guide, cues: Sequence[Cue]) -> Row:
    """P(evidence | state) for each state of a factor, up to a common scale.

    Parameters
    ----------
    factor : Factor
    guide : Guide
    cues : sequence of Cue
        Readings of this factor, taken as independent of each other given the state.

    Returns
    -------
    tuple of float
        One for each state, more than 0; all 1 without any reading.
    """
    likelihoods = [1.0] * len(factor.states)
    for cue in cues:
        if not cue.speaks:
            continue
        if factor.name == "cab_number":
            row = _read_number(factor, cue)
        elif factor.name == TENDER:
            row = _read_tender(factor, guide, cue)
        elif factor.name == "edge_stripe":
            row = _read_stripe(factor, cue)
        elif factor.name == DRIVING:
            row = _read_driving(factor, cue)
        else:
            p = presence(cue)
            row = (p, 1.0 - p)
        likelihoods = [a * b for a, b in zip(likelihoods, row, strict=True)]
    return tuple(likelihoods)


def presence(cue: Cue) -> float:
    """Probability that the part is there, within what its source can claim."""
    if cue.leaning is not None:
        return min(max(cue.leaning, PHOTO_LIMIT), 1.0 - PHOTO_LIMIT)
    if cue.source == "person":
        return PERSON_RELIABILITY if cue.state is State.PRESENT else 1.0 - PERSON_RELIABILITY
    p = cue.p_present
    if p is None:
        p = cue.confidence if cue.state is State.PRESENT else 1.0 - cue.confidence
    return min(max(p, PHOTO_LIMIT), 1.0 - PHOTO_LIMIT)


def value_shares(cue: Cue) -> dict[str, float]:
    """Probability of each value that a cue names; may sum to less than 1."""
    if cue.source == "person" and cue.value is not None:
        return {cue.value: PERSON_RELIABILITY}
    if cue.values:
        shares = {value: max(0.0, p) for value, p in cue.values.items()}
        total = sum(shares.values())
        return {value: p / max(total, 1.0) for value, p in shares.items()}
    return {} if cue.value is None else {cue.value: min(max(cue.confidence, 0.0), 1.0)}


def lamps_shown(lamps: int, rates: PartRates, domain: Sequence[str]) -> dict[str, float]:
    """P(lamps there today | lamps as made), for each count of `domain`."""
    fewer = [count for count in domain if int(count) < lamps]
    more = [count for count in domain if int(count) > lamps]
    shown = {count: rates.lost / len(fewer) for count in fewer}
    shown |= {count: rates.added / len(more) for count in more}
    shown[str(lamps)] = 1.0 - sum(shown.values())
    return shown


def counts_shown(
    guide: Guide, tender: Tender, name: str, domain: Sequence[str]
) -> dict[str, float]:
    """P(count of axles or lamps there today | tender), for the counts of `domain`.

    Counts that are missing have none; axles stay as made.
    """
    if name == "tender_axles":
        return {str(tender.axles): 1.0}
    return lamps_shown(tender.lamps, guide.rates.of("tender_lamps"), domain)


def lettered_today(guide: Guide, tender: Tender) -> float:
    """P(lettering on the tender's side today | tender); even where the guide does not say."""
    if tender.lettering is None:
        return 0.5
    rates = guide.rates.of(LETTERING)
    return 1.0 - rates.lost if tender.lettering else rates.added


def count_shares(guide: Guide, cue: Cue) -> dict[str, float]:
    """What a reading of axles or lamps says of each count that is possible; sums to 1."""
    shares = {count: share for count, share in value_shares(cue).items() if count.isdigit()}
    domain = counts_possible(guide, cue.name, shares)
    return {count: _weight(count, shares, domain) / len(domain) for count in domain}


def normalised(row: Sequence[float]) -> list[float]:
    """Return the row scaled to a sum of 1."""
    total = math.fsum(row)
    return [r / total for r in row]


def counts_possible(guide: Guide, name: str, said: Iterable[str] = ()) -> tuple[str, ...]:
    """Counts that a cue may show: usual ones, the guide's, and of a tender's those said."""
    if name == DRIVING:
        return driving_counts(guide)
    axles = name == "tender_axles"
    usual = AXLE_COUNTS if axles else LAMP_COUNTS
    made = {str(tender.axles if axles else tender.lamps) for tender in guide.tenders}
    return tuple(sorted({*usual, *made, *said}, key=int))


def _weight(value: str, shares: Mapping[str, float], domain: Sequence[str]) -> float:
    named = shares.get(value, 0.0)
    unsaid = 1.0 - sum(shares.values())
    k = len(domain)
    return k * ((1.0 - BLUNDER) * named) + (1.0 - BLUNDER) * unsaid + BLUNDER


def _read_driving(factor: Factor, cue: Cue) -> Row:
    if cue.source == "person":
        return tuple(_counted_by_hand(cue.value, state, factor.states) for state in factor.states)
    said = value_shares(cue)
    # A count that no engine has is no more told than one that is left unsaid.
    shares = {count: share for count, share in said.items() if count in factor.states}
    return tuple(_weight(count, shares, factor.states) for count in factor.states)


def _counted_by_hand(said: str | None, true: str, states: Sequence[str]) -> float:
    """P(a person says that count | the true one)."""
    if said is None or said not in states:
        return 1.0
    if said == true:
        return COUNTED_RIGHT
    off = [abs(int(state) - int(true)) for state in states if state != true]
    slip = SLIP_FURTHER ** abs(int(said) - int(true))
    return (1.0 - COUNTED_RIGHT) * slip / math.fsum(SLIP_FURTHER**d for d in off)


def _read_number(factor: Factor, cue: Cue) -> Row:
    shares = value_shares(cue)
    k = len(factor.states)
    unsaid = 1.0 - sum(shares.values())
    row = [((1.0 - BLUNDER) * unsaid + BLUNDER) / k] * k
    for text, share in shares.items():
        fits = _number_fits(factor, cue, text)
        row = [r + (1.0 - BLUNDER) * share * fit for r, fit in zip(row, fits, strict=True)]
    return tuple(row)


def taken_for(factor: Factor, cue: Cue) -> dict[str, float]:
    """Which number is on the engine, by the one that a photo was read to show.

    A figure may be worn away or taken for its like: a short number that the guide lacks is
    hardly rarer than such a misreading of one that it has, however sure each figure is.

    Parameters
    ----------
    factor : Factor
        Of the cab number.
    cue : Cue

    Returns
    -------
    dict of state to float
        Sums to the probability of the text; empty of any other cue than a photo's number.
    """
    if factor.name != "cab_number" or cue.source == "person" or cue.value is None:
        return {}
    share = value_shares(cue).get(cue.value, 0.0)
    fits = _number_fits(factor, cue, cue.value)
    return {state: share * fit for state, fit in zip(factor.states, fits, strict=True)}


def number_state(factor: Factor, text: str) -> str:
    """The state that a cab number is in, if it is on the engine as it was read."""
    return text.upper() if text.upper() in factor.states else UNLISTED


def _number_fits(factor: Factor, cue: Cue, text: str) -> list[float]:
    """P(number on the engine | text read) for each state, each as likely before."""
    text = text.upper()
    if cue.source == "person":
        known = number_state(factor, text)
        fits = [1.0 if state == known else 0.0 for state in factor.states]
    else:
        fits = [
            unlisted_likelihood(text) if state == UNLISTED else reading_likelihood(text, state)
            for state in factor.states
        ]
    if cue.may_be and fits[-1] == max(fits):
        # A number that the guide lacks is more than an unclear reading can tell.
        fits = [1.0] * len(fits)
    return normalised(fits)


def _read_stripe(factor: Factor, cue: Cue) -> Row:
    p = presence(cue)
    colours = factor.states[1:]
    shares = dict.fromkeys(colours, 0.0)
    for colour, share in value_shares(cue).items():
        known = colour.lower() if colour.lower() in shares else ANOTHER_COLOUR
        shares[known] += share
    unsaid = 1.0 - sum(shares.values())
    k = len(colours)
    weights = [
        k * (1.0 - BLUNDER) * shares[c] + (1.0 - BLUNDER) * unsaid + BLUNDER for c in colours
    ]
    return (1.0 - p, *(p * weight for weight in weights))


def _read_tender(factor: Factor, guide: Guide, cue: Cue) -> Row:
    shares = value_shares(cue)
    if cue.name == TENDER:
        k = len(factor.states)
        return tuple(_weight(state, shares, factor.states) / k for state in factor.states)
    if cue.name == LETTERING:
        # Twice, so that a tender of which nothing is said weighs 1, as one of no kind does.
        p = presence(cue)
        there = [lettered_today(guide, tender) for tender in guide.tenders]
        return (*(2.0 * (t * p + (1.0 - t) * (1.0 - p)) for t in there), 1.0)
    shares = {count: share for count, share in shares.items() if count.isdigit()}
    domain = counts_possible(guide, cue.name, shares)
    row = []
    for tender in guide.tenders:
        shown = counts_shown(guide, tender, cue.name, domain)
        row.append(math.fsum(p * _weight(count, shares, domain) for count, p in shown.items()))
    # A tender of none of the guide's kinds may have any count, each as likely.
    return (*row, 1.0)
