"""Each part of an engine as one hidden state: how it was made, and how it reads now.

A factor holds P(state today | variation) from the guide, and `reading` gives
P(evidence | state today). Given the variation, factors are independent of each
other; several readings of one part meet in one factor, so no part is counted twice.
Given "other", the driving axles and a tender behind a tank engine are not: both hang on
whether the casting is the guide's, and `beside` weighs the one by what is read of the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from vision.guide import Guide
from vision.records import BINARY_CUES, COUPLED, DRIVING, LETTERING, State

OTHER = "other"
ABSENT = State.ABSENT.value
PRESENT = State.PRESENT.value
ANOTHER_COLOUR = "another colour"
UNLISTED = "unlisted"
TENDER = "tender"
COUNTED_CUES = ("tender_axles", "tender_lamps")
TENDER_CUES = (TENDER, *COUNTED_CUES, LETTERING)

# Share of engines of no variation here that carry a number of the guide all the same:
# makers sold one casting under a number to several lines, and the reverse. Chosen.
OTHER_WITH_LISTED_NUMBER = 0.1
# Share of replaced tenders that are none of the guide's. Chosen.
FOREIGN_TENDER = 0.3
# However sure the tender, it makes no variation more than this many times likelier
# than another: an engine is dated by the engine. Chosen below what one clear cue of
# the engine is worth (about 6 at a probability of 0.9 and the default rates).
TENDER_MAX_RATIO = 4.0

# Counts of driving axles that an engine may have: up to six in one frame or two, eight of
# the largest in two frames (common practice, no source). The guide's own is added.
DRIVING_COUNTS = ("1", "2", "3", "4", "5", "6", "8")
# How often each is met with among engines as a whole: common practice, no source.
DRIVING_SHARES = (0.03, 0.38, 0.38, 0.13, 0.05, 0.02, 0.01)
# Share of engines whose driving axles are not what the guide says: the guide errs, or the
# engine was rebuilt. Chosen.
DRIVING_ERRS = 0.002
# Share of the guide's "other" that is of its casting all the same, in a variation that it
# lacks; the rest is any engine. Chosen.
OTHER_OF_THE_CASTING = 0.5
# Share of a tank engine's photos in which something taken for a tender is coupled all the
# same, a wagon or another engine's tender. Chosen.
STRAY_TENDER = 0.03
# Share of engines as a whole that have a tender: common practice, no source.
WITH_TENDER = 0.6

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
    factors = [] if guide.driving_axles is None else [_driving(guide, guide.driving_axles)]
    factors += [_coupled(guide)] if guide.tank_engine else []
    factors += [_part(guide, name) for name in binary]
    factors += [_stripe(guide), _number(guide)]
    if guide.tenders:
        factors.append(_tender(guide))
    return (*factors, *(_part(guide, name) for name in guide.check_names))


def driving_counts(guide: Guide) -> tuple[str, ...]:
    """Counts of driving axles that are told apart: those of engines as a whole, and its own."""
    own = () if guide.driving_axles is None else (str(guide.driving_axles),)
    return tuple(sorted({*DRIVING_COUNTS, *own}, key=int))


def driving_elsewhere(states: tuple[str, ...]) -> Row:
    """P(count of driving axles | any engine), for each of `states`."""
    shares = dict(zip(DRIVING_COUNTS, DRIVING_SHARES, strict=True))
    return tuple(shares.get(state, 0.0) for state in states)


def elsewhere(factor: Factor) -> Row:
    """P(state | any engine), for a factor that the casting settles."""
    if factor.name == COUPLED:
        return WITH_TENDER, 1.0 - WITH_TENDER
    return driving_elsewhere(factor.states)


def beside(guide: Guide, factor: Factor, told: Factor, reading: Row) -> Factor:
    """Return one factor that the casting settles, as it is once another has been read.

    Of an engine of no variation, the reading of the one tells whether the casting is the
    guide's, and so what the other will be.

    Parameters
    ----------
    guide : Guide
    factor, told : Factor
        Driving axles and a tender behind a tank engine, or the reverse.
    reading : tuple of float
        P(evidence | state) for each state of `told`.
    """
    another, casting = outside_shares(guide)[0], guide.variations[0].id
    own = (1.0 - another) * weighed(told.table[casting], reading)
    foreign = another * weighed(elsewhere(told), reading)
    rows = dict(factor.table)
    rows[OTHER] = _mixed(rows[casting], elsewhere(factor), foreign / (own + foreign))
    return replace(factor, table=MappingProxyType(rows), history=MappingProxyType(rows))


def outside_shares(guide: Guide) -> tuple[float, float, float]:
    """What an engine of no variation is: another casting, one that it lacks, a reproduction.

    Reproductions are of the guide's casting.
    """
    rates = guide.rates
    made = 1.0 - rates.reproduction / rates.outside if rates.outside else 1.0
    lacking = made * OTHER_OF_THE_CASTING
    return made - lacking, lacking, 1.0 - made


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


def _driving(guide: Guide, axles: int) -> Factor:
    states, own = driving_counts(guide), str(axles)
    errs = DRIVING_ERRS / (len(states) - 1)
    casting = tuple(1.0 - DRIVING_ERRS if state == own else errs for state in states)
    return _of_casting(guide, Factor(DRIVING, states, {}, {}, {}), casting, own)


def _coupled(guide: Guide) -> Factor:
    factor = Factor(COUPLED, (PRESENT, ABSENT), {}, {}, {})
    return _of_casting(guide, factor, (STRAY_TENDER, 1.0 - STRAY_TENDER), ABSENT)


def _of_casting(guide: Guide, factor: Factor, casting: Row, own: str) -> Factor:
    """Fill in a factor that is alike in every variation, and in others of its casting."""
    ids = [v.id for v in guide.variations]
    rows = {OTHER: _mixed(casting, elsewhere(factor), outside_shares(guide)[0])}
    rows |= dict.fromkeys(ids, casting)
    made = dict.fromkeys(ids, frozenset({own}))
    return replace(factor, table=rows, history=rows, made=made)


def _mixed(casting: Row, anywhere: Row, another: float) -> Row:
    mixed = zip(casting, anywhere, strict=True)
    return tuple((1.0 - another) * c + another * e for c, e in mixed)


def weighed(row: Sequence[float], reading: Row) -> float:
    """P(evidence) by P(state) and P(evidence | state) of each state."""
    return math.fsum(p * r for p, r in zip(row, reading, strict=True))


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
