"""Each part of an engine as one hidden state: how it was made, and how it reads now.

A factor holds P(state today | variation) from the guide, and a reading gives
P(evidence | state today). Given the variation, factors are independent of each
other; several readings of one part meet in one factor, so no part is counted twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vision.estimate.numbers import reading_likelihood, unlisted_likelihood
from vision.guide import Guide, PartRates
from vision.records import BINARY_CUES, Cue, State

OTHER = "other"
ABSENT = State.ABSENT.value
PRESENT = State.PRESENT.value
ANOTHER_COLOUR = "another colour"
UNLISTED = "unlisted"
TENDER = "tender"
TENDER_CUES = (TENDER, "tender_axles", "tender_lamps")

# A probability from a photo is never taken as more certain than this. Chosen: an
# odds of 10,000 is beyond what any calibration set here can show.
PHOTO_LIMIT = 1e-4
# How often a person who looks is right. Chosen.
PERSON_RELIABILITY = 0.98
# Share of value readings that are wrong altogether and tell nothing. Chosen. Without
# it two sure readings that contradict each other would crown whatever neither
# excludes (Zadeh 1979; 1984).
BLUNDER = 0.02
# Share of engines of no variation here that carry a number of the guide all the same:
# makers sold one casting under a number to several lines, and the reverse. Chosen.
OTHER_WITH_LISTED_NUMBER = 0.1
# Share of replaced tenders that are none of the guide's. Chosen.
FOREIGN_TENDER = 0.3
# However sure the tender, it makes no variation more than this many times likelier
# than another: an engine is dated by the engine. Chosen below what one clear cue of
# the engine is worth (about 6 at a probability of 0.9 and the default rates).
TENDER_MAX_RATIO = 4.0
AXLE_COUNTS = ("2", "3", "4", "5", "6", "8")
LAMP_COUNTS = ("0", "1", "2", "3")

Row = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Factor:
    """One part and its hidden state.

    Attributes
    ----------
    name : str
        A cue, "tender", or a hands-on check.
    states : tuple of str
    table : mapping of variation id or "other" to row
        P(state | variation), each row summing to 1; what the dating uses.
    history : mapping like `table`
        The same by the guide's own rates, for telling what happened to the engine.
        Differs from `table` for the tender alone.
    made : mapping of variation id to frozenset of str
        States in which the works delivered it; missing where the guide leaves it open.
    """

    name: str
    states: tuple[str, ...]
    table: Mapping[str, Row]
    history: Mapping[str, Row]
    made: Mapping[str, frozenset[str]]


def factors_of(guide: Guide) -> tuple[Factor, ...]:
    """Every factor of a guide, in the order in which the argument goes."""
    binary = tuple(name for name in BINARY_CUES if name != "edge_stripe")
    factors = [_part(guide, name) for name in binary]
    factors += [_stripe(guide), _number(guide)]
    if guide.tenders:
        factors.append(_tender(guide))
    return (*factors, *(_part(guide, name) for name in guide.check_names))


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
        if cue.state is State.UNSEEN:
            continue
        if factor.name == "cab_number":
            row = _read_number(factor, cue)
        elif factor.name == TENDER:
            row = _read_tender(factor, guide, cue)
        elif factor.name == "edge_stripe":
            row = _read_stripe(factor, cue)
        else:
            p = presence(cue)
            row = (p, 1.0 - p)
        likelihoods = [a * b for a, b in zip(likelihoods, row, strict=True)]
    return tuple(likelihoods)


def presence(cue: Cue) -> float:
    """Probability that the part is there, within what its source can claim."""
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


def axle_likelihood(axles: int, shares: Mapping[str, float]) -> float:
    """P(axle reading | tender with that many axles), 1 being a reading that tells nothing."""
    return _weight(str(axles), shares, _domain(AXLE_COUNTS, shares, axles))


def lamp_likelihood(lamps: int, rates: PartRates, shares: Mapping[str, float]) -> float:
    """P(lamp reading | tender made with that many lamps), 1 being one that tells nothing."""
    domain = _domain(LAMP_COUNTS, shares, lamps)
    shown = lamps_shown(lamps, rates, domain)
    return sum(p * _weight(count, shares, domain) for count, p in shown.items())


def lamps_shown(lamps: int, rates: PartRates, domain: Sequence[str]) -> dict[str, float]:
    """P(lamps there today | lamps as made), for each count of `domain`."""
    fewer = [count for count in domain if int(count) < lamps]
    more = [count for count in domain if int(count) > lamps]
    shown = {count: rates.lost / len(fewer) for count in fewer}
    shown |= {count: rates.added / len(more) for count in more}
    shown[str(lamps)] = 1.0 - sum(shown.values())
    return shown


def tender_pool(guide: Guide) -> dict[str, float]:
    """P(tender | it is not the one the engine was sold with)."""
    share = (1.0 - FOREIGN_TENDER) / len(guide.tenders)
    return {tender.id: share for tender in guide.tenders} | {OTHER: FOREIGN_TENDER}


def dating_swap_rate(guide: Guide) -> float:
    """Share of swapped tenders that the dating reckons with.

    At least the guide's own, and as much as keeps `TENDER_MAX_RATIO`.
    """
    rarest = min(tender_pool(guide).values())
    return max(guide.rates.tender_swapped, 1.0 / (1.0 + (TENDER_MAX_RATIO - 1.0) * rarest))


def _part(guide: Guide, name: str) -> Factor:
    rates = guide.rates.of(name)
    rows: dict[str, Row] = {OTHER: (0.5, 0.5)}
    made = {}
    for variation in guide.variations:
        expected = variation.expects.get(name)
        if expected is None:
            rows[variation.id] = (0.5, 0.5)
            continue
        present = 1.0 - rates.lost if expected is State.PRESENT else rates.added
        rows[variation.id] = (present, 1.0 - present)
        made[variation.id] = frozenset({expected.value})
    return Factor(name, (PRESENT, ABSENT), rows, rows, made)


def _stripe(guide: Guide) -> Factor:
    rates = guide.rates.of("edge_stripe")
    colours = (*guide.stripe_colours, ANOTHER_COLOUR)
    rows: dict[str, Row] = {}
    made = {}
    for id in (OTHER, *(v.id for v in guide.variations)):
        variation = None if id == OTHER else guide.variation(id)
        expected = variation.expects.get("edge_stripe") if variation else None
        colour = variation.stripe_colour if variation else None
        present = {State.PRESENT: 1.0 - rates.lost, State.ABSENT: rates.added, None: 0.5}[expected]
        shares = [1.0 / len(colours)] * len(colours)
        if colour is not None:
            rest = guide.rates.recoloured / (len(colours) - 1)
            shares = [1.0 - guide.rates.recoloured if c == colour else rest for c in colours]
        rows[id] = (1.0 - present, *(present * share for share in shares))
        if expected is State.ABSENT:
            made[id] = frozenset({ABSENT})
        elif expected is State.PRESENT:
            made[id] = frozenset(colours if colour is None else {colour})
    return Factor("edge_stripe", (ABSENT, *colours), rows, rows, made)


def _number(guide: Guide) -> Factor:
    listed = guide.numbers
    rows: dict[str, Row] = {}
    made = {}
    for id in (OTHER, *(v.id for v in guide.variations)):
        own = () if id == OTHER else guide.variation(id).numbers
        strange = [number for number in listed if number not in own]
        if own:
            changed = guide.rates.number_changed
            to_listed = changed / 2.0 if strange else 0.0
        else:
            changed = 1.0
            to_listed = (OTHER_WITH_LISTED_NUMBER if id == OTHER else 0.5) if strange else 0.0
        row = [
            (1.0 - changed) / len(own) if number in own else to_listed / len(strange)
            for number in listed
        ]
        rows[id] = (*row, changed - to_listed)
        if own:
            made[id] = frozenset(own)
    return Factor("cab_number", (*listed, UNLISTED), rows, rows, made)


def _tender(guide: Guide) -> Factor:
    pool = tender_pool(guide)

    def rows_at(swapped: float) -> dict[str, Row]:
        rows = {OTHER: tuple(pool.values())}
        for variation in guide.variations:
            own = variation.tenders
            swap = swapped if own else 1.0
            rows[variation.id] = tuple(
                ((1.0 - swap) / len(own) if id in own else 0.0) + swap * share
                for id, share in pool.items()
            )
        return rows

    made = {v.id: frozenset(v.tenders) for v in guide.variations if v.tenders}
    table, history = rows_at(dating_swap_rate(guide)), rows_at(guide.rates.tender_swapped)
    return Factor(TENDER, tuple(pool), table, history, made)


def _domain(usual: Sequence[str], shares: Mapping[str, float], own: int) -> tuple[str, ...]:
    counts = {value for value in shares if value.isdigit()}
    return tuple(sorted({*usual, *counts, str(own)}, key=int))


def _weight(value: str, shares: Mapping[str, float], domain: Sequence[str]) -> float:
    named = shares.get(value, 0.0)
    unsaid = 1.0 - sum(shares.values())
    k = len(domain)
    return k * ((1.0 - BLUNDER) * named) + (1.0 - BLUNDER) * unsaid + BLUNDER


def _read_number(factor: Factor, cue: Cue) -> Row:
    shares = value_shares(cue)
    k = len(factor.states)
    unsaid = 1.0 - sum(shares.values())
    row = [((1.0 - BLUNDER) * unsaid + BLUNDER) / k] * k
    for text, share in shares.items():
        text = text.upper()
        if cue.source == "person":
            known = text if text in factor.states else UNLISTED
            fits = [1.0 if state == known else 0.0 for state in factor.states]
        else:
            fits = [
                unlisted_likelihood(text) if state == UNLISTED else reading_likelihood(text, state)
                for state in factor.states
            ]
        total = sum(fits)
        row = [r + (1.0 - BLUNDER) * share * fit / total for r, fit in zip(row, fits, strict=True)]
    return tuple(row)


def _read_stripe(factor: Factor, cue: Cue) -> Row:
    p = presence(cue)
    colours = factor.states[1:]
    shares = dict.fromkeys(colours, 0.0)
    said = value_shares(cue)
    if cue.source != "person" and not cue.values and cue.value is not None:
        # Confidence covers state and colour together; the colour alone is meant here.
        said = {cue.value: min(1.0, cue.confidence / p)}
    for colour, share in said.items():
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
    rates = guide.rates.of("tender_lamps")
    row = []
    for tender in guide.tenders:
        if cue.name == "tender_axles":
            row.append(axle_likelihood(tender.axles, shares))
        else:
            row.append(lamp_likelihood(tender.lamps, rates, shares))
    return (*row, 1.0)
