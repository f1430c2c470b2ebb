"""Cues and a guide to years, variations and the whole argument: exact enumeration.

Hypotheses are the pairs of variation and year, with ids such as "W1@1931", and
"other" for an engine of no variation of the guide. There is one path, and it always
explains: the posterior is nothing but `replay` of the prior and the steps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from vision.estimate.factors import (
    ABSENT,
    ANOTHER_COLOUR,
    OTHER,
    TENDER,
    TENDER_CUES,
    Factor,
    Row,
    beside,
    factors_of,
    weighed,
)
from vision.estimate.reading import number_state, reading, taken_for
from vision.estimate.saying import read_out, saying
from vision.estimate.strength import NO_SUPPORT, strength_words
from vision.guide import Guide
from vision.records import COUPLED, DRIVING, LETTERING, PHOTO_CUES, Cue, EvidenceError, State, Step

# A state counts as read where its share among all states is at least this. Chosen.
SURE = 0.8
# Probability that a number is another of the guide misread, from which on that is told. Chosen.
MAY_BE_MISREAD = 0.05
# How a step's text says that the reading fits nothing in the guide.
NO_VARIATION = "as no variation was made"
# Why lettering changes nothing.
NO_LETTERING = "the guide says of no tender whether it is lettered, so it tells nothing"
# Why a tender changes nothing.
NO_TENDERS = "the guide lists no tender, so it tells nothing"
# Why driving axles change nothing.
NO_WHEELS = "the guide's wheels tell no driving axles, so it tells nothing"
# Why a tender that is coupled changes nothing.
NO_TANK = "the guide is not of a tank engine, so it tells nothing"
# Mixed into every probability so that none is ever exactly 0 or 1.
FLOOR = 1e-12


@dataclass(frozen=True, slots=True)
class Evidence:
    """One factor, the cues that speak of it, and what they weigh.

    Attributes
    ----------
    factor : Factor
    cues : tuple of Cue
        Those that count.
    superseded : tuple of Cue
        Photo readings that a person has corrected or taken back.
    unused : tuple of Cue
        Of lettering, where the guide says of no tender whether it has any.
    reading : tuple of float
        P(evidence | state) for each state of the factor.
    """

    factor: Factor
    cues: tuple[Cue, ...]
    superseded: tuple[Cue, ...]
    reading: Row
    unused: tuple[Cue, ...] = ()

    def likelihood(self, id: str) -> float:
        """P(evidence | variation or "other")."""
        return weighed(self.factor.table[id], self.reading)

    @property
    def speaks(self) -> bool:
        """Whether anything follows from any of its cues."""
        return any(cue.speaks for cue in self.cues)


def prior(guide: Guide) -> dict[str, float]:
    """Probability of every hypothesis before any evidence.

    Every year of a variation counts by its output, so that a variation made for two
    years has twice the engines of one made for one; "other" has the guide's shares of
    other engines and reproductions.

    Returns
    -------
    dict of hypothesis id to float
        Sums to 1, in the order of the guide, "other" last.
    """
    outside = min(max(guide.rates.outside, FLOOR), 1.0 - FLOOR)
    weights = {f"{v.id}@{year}": v.output for v in guide.variations for year in v.years}
    total = math.fsum(weights.values())
    return {id: (1.0 - outside) * w / total for id, w in weights.items()} | {OTHER: outside}


def replay(guide: Guide, steps: Sequence[Step]) -> dict[str, float]:
    """Posterior of every hypothesis from the prior and the steps alone.

    Parameters
    ----------
    guide : Guide
    steps : sequence of Step
        Each with a likelihood more than 0 for every hypothesis id.

    Returns
    -------
    dict of hypothesis id to float
        Sums to 1; none is exactly 0 or 1.

    Raises
    ------
    ValueError
        A step that lacks a hypothesis of this guide.
    """
    before = prior(guide)
    if any(step.likelihoods.keys() != before.keys() for step in steps):
        raise ValueError("steps: likelihoods for exactly the hypotheses of this guide expected")
    logs = {
        id: math.log(p) + math.fsum(math.log(step.likelihoods[id]) for step in steps)
        for id, p in before.items()
    }
    most = max(logs.values())
    weights = {id: math.exp(log - most) for id, log in logs.items()}
    total = math.fsum(weights.values())
    n = len(weights)
    return {id: (w / total + FLOOR) / (1.0 + n * FLOOR) for id, w in weights.items()}


def by_variation(posterior: Mapping[str, float]) -> dict[str, float]:
    """Posterior summed over the years of each variation; "other" stays."""
    parts: dict[str, list[float]] = {}
    for id, p in posterior.items():
        parts.setdefault(id.rpartition("@")[0] or id, []).append(p)
    return {id: math.fsum(ps) for id, ps in parts.items()}


def told_once(cues: Sequence[Cue]) -> tuple[Cue, ...]:
    """Leave out what a person says again; a photo's readings all stay."""
    said: set[tuple[str, State, str | None]] = set()
    kept = []
    for cue in cues:
        word = (cue.name, cue.state, cue.value)
        if cue.source == "person" and word in said:
            continue
        if cue.source == "person":
            said.add(word)
        kept.append(cue)
    return tuple(kept)


def gather(guide: Guide, cues: Sequence[Cue]) -> tuple[Evidence, ...]:
    """Sort cues to the factors of a guide; a person's word replaces a photo's.

    A word on the tender as a whole replaces what photos show of it. What
    a person says twice counts once: saying it again is no second look.

    Raises
    ------
    EvidenceError
        A cue that is neither a photo cue nor a check of this guide.
    """
    factors = factors_of(guide)
    known = {factor.name for factor in factors} | set(PHOTO_CUES) | {TENDER}
    for cue in cues:
        if cue.name not in known:
            raise EvidenceError(f"{cue.name}: the guide {guide.name} has no such cue or check")
    # One order whatever order the cues came in, so that the sums round alike.
    ordered = sorted(
        told_once(cues), key=lambda c: (c.name, c.source, c.state, c.value or "", repr(c))
    )
    gathered: list[Evidence] = []
    for factor in factors:
        names = TENDER_CUES if factor.name == TENDER else (factor.name,)
        mine = [cue for cue in ordered if cue.name in names]
        # "It cannot be told" is a word too: it takes back what the photo was read to show.
        spoken = {c.name for c in mine if c.source == "person"}
        if TENDER in spoken:
            # Which tender it is, is the whole of what its parts could tell.
            spoken |= set(TENDER_CUES)
        counted = tuple(c for c in mine if c.source == "person" or c.name not in spoken)
        replaced = tuple(c for c in mine if c not in counted)
        idle = () if guide.tells_lettering else tuple(c for c in counted if c.name == LETTERING)
        counted = tuple(c for c in counted if c not in idle)
        read = reading(factor, guide, counted)
        if factor.name == COUPLED:
            for axles in (item for item in gathered if item.factor.name == DRIVING and item.speaks):
                factor = beside(guide, factor, axles.factor, axles.reading)
        gathered.append(Evidence(factor, counted, replaced, read, idle))
    return tuple(gathered)


def take_steps(guide: Guide, cues: Sequence[Cue]) -> tuple[tuple[Step, ...], tuple[Evidence, ...]]:
    """The argument, one step for each part that has something to say.

    Cues that are unseen and tell nothing, superseded, or of a tender or of driving axles in a
    guide without any get a step of their own with equal likelihoods. A tender behind a tank
    engine is weighed after the driving axles, by what these leave open.
    """
    evidence = gather(guide, cues)
    silent: list[Step] = []
    weighed: list[tuple[Evidence, tuple[Cue, ...]]] = []
    even = dict.fromkeys(prior(guide), 1.0)
    for item in evidence:
        seen = tuple(cue for cue in item.cues if cue.speaks)
        if seen:
            weighed.append((item, seen))
        for cue in (*item.cues, *item.unused):
            if cue.speaks and cue in item.unused:
                text = f"{saying(cue)}: {NO_LETTERING}"
                silent.append(Step("unused", cue.name, text, even, why=NO_LETTERING))
            if not cue.speaks:
                why = f": {cue.because}" if cue.because else ""
                text = f"{cue.name} not seen{why}; nothing follows from that"
                silent.append(Step("unseen", cue.name, text, even))
        for cue in item.superseded:
            text = f"{cue.name}: what the photo shows ({read_out(cue)}) gives way to what is said"
            silent.append(Step("superseded", cue.name, text, even))
    for names, why, used in (
        (TENDER_CUES, NO_TENDERS, bool(guide.tenders)),
        ((DRIVING,), NO_WHEELS, guide.driving_axles is not None),
        ((COUPLED,), NO_TANK, guide.tank_engine),
    ):
        idle = [] if used else [cue for cue in told_once(cues) if cue.name in names]
        for cue in sorted(idle, key=repr):
            silent.append(Step("unused", cue.name, f"{cue.name}: {why}", even, why=why))
    plain = tuple(_step(guide, item, seen, "") for item, seen in weighed)
    summed = by_variation(replay(guide, plain))
    leader = max(summed, key=lambda id: summed[id])
    steps = tuple(_step(guide, item, seen, leader) for item, seen in weighed)
    return steps + tuple(silent), evidence


def _step(guide: Guide, item: Evidence, seen: tuple[Cue, ...], leader: str) -> Step:
    by_id = {id: item.likelihood(id) for id in item.factor.table}
    before = prior(guide)
    likelihoods = {id: by_id[id.rpartition("@")[0] or id] for id in before}
    kind = {"cab_number": "number", TENDER: "tender"}.get(item.factor.name, "cue")
    kind = "check" if item.factor.name in guide.check_names else kind
    misread = _misread(item, seen)
    text = "; ".join(saying(cue, misread) for cue in seen)
    strange = _strange(item)
    fits = _made_so(item, strange)
    text += f" — {fits}" if fits else ""
    step = Step(
        kind,
        item.factor.name,
        text,
        likelihoods,
        fits=tuple(v.id for v in guide.variations if v.id not in strange),
        taken_for=misread,
    )
    if not leader:
        return step
    summed = by_variation(before)
    rest = [id for id in summed if id != leader]
    mean = math.fsum(summed[id] * by_id[id] for id in rest) / math.fsum(summed[id] for id in rest)
    name = "no variation here" if leader == OTHER else leader
    ratio = by_id[leader] / mean
    words = strength_words(ratio)
    if words != NO_SUPPORT:
        words += f" {name}" if ratio < 1.0 else f" for {name}"
    return replace(step, strength=words, ratio=ratio, leader=leader)


def _misread(item: Evidence, seen: tuple[Cue, ...]) -> Mapping[str, float]:
    """What a cab number is weighed as, where that may well be another than was read."""
    taken = taken_for(item.factor, seen[0]) if len(seen) == 1 else {}
    if not taken or seen[0].state is State.UNSEEN:
        return MappingProxyType({})
    own = number_state(item.factor, read_out(seen[0]))
    others = math.fsum(taken.values()) - taken[own]
    return MappingProxyType(taken if others >= MAY_BE_MISREAD else {})


def _strange(item: Evidence) -> tuple[str, ...]:
    """Variations that were made otherwise than the reading most probably says."""
    read = dict(zip(item.factor.states, item.reading, strict=True))
    colours = math.fsum(weight for state, weight in read.items() if state != ABSENT)
    if read.get(ANOTHER_COLOUR, colours) < SURE * colours:
        # That no colour of the guide is meant is said only where that is surely read.
        del read[ANOTHER_COLOUR]
    best = max(read.values())
    shown = {state for state, weight in read.items() if weight >= best * 0.5}
    return tuple(id for id, made in item.factor.made.items() if not made & shown)


def _made_so(item: Evidence, strange: tuple[str, ...]) -> str:
    """Which variations were made as the reading most probably says, `strange` not, in words."""
    belongs = [id for id in item.factor.made if id not in strange]
    if not strange:
        return "as every variation was made" if belongs else ""
    if belongs:
        return f"as {', '.join(belongs)}, not {', '.join(strange)}"
    # Where the guide leaves it open how others were made, they may have been made so.
    untold = [id for id in item.factor.table if id not in (*strange, OTHER)]
    if untold:
        return f"as {', '.join(untold)} may have been made, not {', '.join(strange)}"
    return NO_VARIATION
