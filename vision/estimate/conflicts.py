"""Evidence that does not belong together, with the likely stories.

The stories get their probabilities from the same model as the dating: for each
hypothesis, a part either is as made or was altered at the guide's rates, and the
reading weighs both.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations

from vision.estimate.argument import SURE, Evidence, by_variation
from vision.estimate.disagreements import EDGE_STRIPE, disagreements
from vision.estimate.factors import ABSENT, OTHER, PRESENT, TENDER, UNLISTED
from vision.estimate.outside import of_the_casting, outside_stories
from vision.estimate.reading import (
    normalised,
    number_state,
    reading,
    taken_for,
    value_shares,
)
from vision.estimate.saying import read_out
from vision.estimate.strength import estimated_percent
from vision.guide import Guide
from vision.records import COUPLED, DRIVING, ILLEGIBLE, Conflict, Cue, State

# A contradiction counts where all its states together have at least this share. Chosen.
SURE_TOGETHER = 0.5
# More contradictions than this say the same thing again.
MOST_CONFLICTS = 3
MOST_PARTS_AT_ONCE = 4


def find_conflicts(
    guide: Guide, evidence: Sequence[Evidence], posterior: Mapping[str, float]
) -> tuple[Conflict, ...]:
    """Every conflict in the evidence.

    Returns
    -------
    tuple of Conflict
        Kinds: "readings" (two readings of one part exclude each other, or what is said
        of the tender and a count of it do), "number" (a
        number of one variation with features of another), "no_variation" (states that
        no variation has together), "engine_tender" (they never left the works
        together).

    Notes
    -----
    Two sure readings that exclude each other are reported, not averaged away: L. A.
    Zadeh, On the validity of Dempster's rule of combination of evidence, University
    of California Memorandum M79/24, 1979; A mathematical theory of evidence (book
    review), AI Magazine 5 (3), 1984.
    """
    weights = by_variation(posterior)
    engine = [item for item in evidence if item.factor.name != TENDER]
    tender = [item for item in evidence if item.factor.name == TENDER]
    conflicts = disagreements(guide, evidence)
    conflicts += _contradictions(guide, engine, weights)
    for item in tender:
        conflicts += _strange_tender(guide, item, weights, of_the_casting(engine))
    return tuple(conflicts)


def altered(item: Evidence, id: str) -> float:
    """P(the part is not as made | variation, evidence), by the guide's own rates."""
    if id not in item.factor.made:
        return 0.0
    return 1.0 - _share(item, id, item.factor.made[id])


def _share(item: Evidence, id: str, states: frozenset[str]) -> float:
    row = item.factor.history[id]
    weighed = [p * r for p, r in zip(row, item.reading, strict=True)]
    chosen = [w for w, state in zip(weighed, item.factor.states, strict=True) if state in states]
    return math.fsum(chosen) / math.fsum(weighed)


def _seen(item: Evidence) -> bool:
    return any(cue.state is not State.UNSEEN for cue in item.cues)


def _contradictions(
    guide: Guide, engine: Sequence[Evidence], weights: Mapping[str, float]
) -> list[Conflict]:
    """Smallest sets of states that no variation was made with."""
    read: dict[str, tuple[Evidence, frozenset[str], float]] = {}
    for item in engine:
        states, share = _number_lacked(item) or _read_surely(item)
        if _seen(item) and share >= SURE:
            read[item.factor.name] = (item, states, share)
    found: list[tuple[float, tuple[str, ...]]] = []
    for size in range(1, min(len(read), MOST_PARTS_AT_ONCE) + 1):
        for names in combinations(read, size):
            if any(set(smaller) <= set(names) for _, smaller in found):
                continue
            sure = math.prod(read[name][2] for name in names)
            fits = any(
                all(read[n][1] & read[n][0].factor.made.get(v.id, read[n][1]) for n in names)
                for v in guide.variations
            )
            if not fits and sure >= SURE_TOGETHER:
                found.append((sure, names))
    found.sort(key=lambda entry: (-entry[0], entry[1]))
    return [
        _tell(guide, [read[name][:2] for name in names], weights, of_the_casting(engine))
        for names in _told([names for _, names in found])
    ]


def _read_surely(item: Evidence) -> tuple[frozenset[str], float]:
    """The state that is most surely read, or that there is a stripe of whatever colour."""
    if item.factor.name != EDGE_STRIPE:
        shares = dict(zip(item.factor.states, normalised(item.reading), strict=True))
    else:
        # All colours together weigh as much as none: presence is one question, the
        # colour another.
        bare, *painted = item.reading
        row = normalised([bare, *(weight / len(painted) for weight in painted)])
        shares = dict(zip(item.factor.states, row, strict=True))
        if max(shares.values()) < SURE:
            colours = frozenset(item.factor.states) - {ABSENT}
            return colours, math.fsum(shares[colour] for colour in colours)
    best = max(shares, key=lambda state: shares[state])
    return frozenset({best}), shares[best]


def _number_lacked(item: Evidence) -> tuple[frozenset[str], float] | None:
    """A number that was surely read and that the guide lacks, though it may be misread.

    None of one that is in the guide, not wholly legible or surely taken for one of the
    guide's, or where the guide leaves the number of some variation open.
    """
    stated = [cue for cue in item.cues if cue.state is not State.UNSEEN]
    if item.factor.name != "cab_number" or len(item.factor.made) < len(item.factor.table) - 1:
        return None
    sure = [_lacked(item, cue) for cue in stated]
    return (frozenset({UNLISTED}), min(sure)) if min(sure, default=0.0) >= SURE else None


def _lacked(item: Evidence, cue: Cue) -> float:
    """How surely a number was read; 0 where it rather is one of the guide's."""
    number, taken = read_out(cue), taken_for(item.factor, cue)
    if ILLEGIBLE in number or number_state(item.factor, number) != UNLISTED:
        return 0.0
    sure = value_shares(cue).get(number, 0.0)
    return 0.0 if sure - taken.get(UNLISTED, sure) >= SURE * sure else sure


def _told(sets: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Those that are told: the surest, and in every case a number that fits no variation."""
    joined = _joined(sets)
    rest = joined[MOST_CONFLICTS:]
    return joined[:MOST_CONFLICTS] + [names for names in rest if names == ("cab_number",)]


def _joined(sets: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Join the pairs that contain the number: they are one story about the number."""
    pairs = [names for names in sets if len(names) == 2 and "cab_number" in names]
    rest = [names for names in sets if names not in pairs]
    partners = tuple(name for pair in pairs for name in pair if name != "cab_number")
    return ([("cab_number", *partners)] if pairs else []) + rest


def _tell(
    guide: Guide,
    parts: Sequence[tuple[Evidence, frozenset[str]]],
    weights: Mapping[str, float],
    casting: Sequence[Evidence],
) -> Conflict:
    names = tuple(item.factor.name for item, _ in parts)
    states = [f"{_label(item, shown)}{_whose(item, shown)}" for item, shown in parts]
    if names == (DRIVING,):
        lead = f"{states[0]}: every variation has {guide.driving_axles}"
    elif names == (COUPLED,):
        lead = f"{states[0]}: this guide's engine is a tank engine"
    elif len(parts) == 1:
        lead = f"{states[0]}: no variation has this"
    elif names[0] == "cab_number" and len(parts) > 2:
        lead = f"{states[0]}: no variation with this number has {' or '.join(states[1:])}"
    else:
        together = "both" if len(parts) == 2 else "all of these"
        lead = f"{' with '.join(states)}: no variation has {together}"
    stories = [(_happened(item, shown), _expected(weights, item, shown)) for item, shown in parts]
    misread = math.fsum(
        weights[v.id] * math.prod(1.0 - altered(item, v.id) for item, _ in parts)
        for v in guide.variations
    )
    # What a person says was not read from a photo.
    by_hand = all(cue.source == "person" for item, _ in parts for cue in item.cues if cue.speaks)
    erred = "said in error" if by_hand else "misread"
    stories.append((erred if len(parts) == 1 else f"one of them {erred}", misread))
    stories += outside_stories(guide, weights[OTHER], casting)
    kind = "number" if "cab_number" in names else "no_variation"
    return Conflict(kind, names, f"{lead}. Stories: {_listed(stories)}")


def _expected(weights: Mapping[str, float], item: Evidence, shown: frozenset[str]) -> float:
    """P(the part is in one of those states and was not made so | evidence)."""
    return math.fsum(
        weights[id] * _share(item, id, shown - made) for id, made in item.factor.made.items()
    )


def _listed(stories: Sequence[tuple[str, float]]) -> str:
    ranked = sorted(stories, key=lambda story: -story[1])
    return "; ".join(f"{t} ({estimated_percent(p)})" for t, p in ranked)


def _label(item: Evidence, shown: frozenset[str]) -> str:
    name = item.factor.name
    if len(shown) > 1:
        return f"{name} {PRESENT}"
    (state,) = shown
    if state == UNLISTED:
        state = next(read_out(c) for c in item.cues if c.state is not State.UNSEEN)
    return (
        f"{name} {PRESENT}, {state}"
        if name == EDGE_STRIPE and state != ABSENT
        else f"{name} {state}"
    )


def _whose(item: Evidence, shown: frozenset[str]) -> str:
    if item.factor.name != "cab_number":
        return ""
    owners = [id for id, made in item.factor.made.items() if shown & made]
    return f" (of {', '.join(owners)})" if owners else ""


def _happened(item: Evidence, shown: frozenset[str]) -> str:
    name, lost = item.factor.name, ABSENT in shown
    if name == "cab_number":
        return "the cab number was changed"
    if name == DRIVING:
        return "the guide errs, or the engine was rebuilt"
    if name == COUPLED:
        return "a wagon or another engine's tender taken for its own"
    if name == EDGE_STRIPE:
        return "repainted, the stripe lost" if lost else "repainted, the stripe added or recoloured"
    return f"{name} lost or replaced" if lost else f"{name} added with a later part"


def _strange_tender(
    guide: Guide, item: Evidence, weights: Mapping[str, float], casting: Sequence[Evidence]
) -> list[Conflict]:
    """Report a tender that never left the works with what the engine is by itself."""
    alone = {id: p / item.likelihood(id) for id, p in weights.items()}
    leader = max((v.id for v in guide.variations), key=lambda id: alone[id])
    clear = alone[leader] / math.fsum(alone.values())
    belonging = guide.variation(leader).tenders if _seen(item) else ()
    # A count that is only unclear may add to a year, but accuses nobody of a marriage.
    stated = [cue for cue in item.cues if cue.state is not State.UNSEEN]
    row = reading(item.factor, guide, stated)
    shares = dict(zip(item.factor.states, normalised(row), strict=True))
    best = max(shares.values())
    shown = [state for state, share in shares.items() if share >= best / 2]
    read = math.fsum(shares[state] for state in shown)
    if not belonging or set(shown) & set(belonging) or min(clear, read) < SURE_TOGETHER:
        return []
    owners = [v.id for v in guide.variations if set(shown) & set(v.tenders)]
    if OTHER in shown:
        whose = "a tender of none of the guide's kinds"
    else:
        whose = f"tender {' or '.join(shown)}, sold with {', '.join(owners) or 'no variation here'}"
    stories = _tender_stories(guide, item, alone, owners, casting)
    alone_is = f"the engine by itself is {leader} ({estimated_percent(clear)})"
    text = (
        f"{whose}; {alone_is}, which was sold with "
        f"tender {' or '.join(belonging)}: those two never left the works together. The engine "
        f"is dated by the engine. Stories: {_listed(stories)}"
    )
    names = tuple(dict.fromkeys(cue.name for cue in stated))
    return [Conflict("engine_tender", names, text)]


def _tender_stories(
    guide: Guide,
    item: Evidence,
    alone: Mapping[str, float],
    owners: Sequence[str],
    casting: Sequence[Evidence],
) -> list[tuple[str, float]]:
    """Weigh the stories by the guide's own rate of swaps, which the dating caps."""
    joint = {
        id: p * math.fsum(a * b for a, b in zip(item.factor.history[id], item.reading, strict=True))
        for id, p in alone.items()
    }
    total = math.fsum(joint.values())
    honest = {id: w / total for id, w in joint.items()}
    inside = {id: p for id, p in honest.items() if id != OTHER}
    swapped = math.fsum(p * altered(item, id) for id, p in inside.items())
    after_all = math.fsum(p * (1.0 - altered(item, id)) for id, p in inside.items() if id in owners)
    misread = max(0.0, math.fsum(inside.values()) - swapped - after_all)
    stories = [("a tender from another engine, a marriage of two", swapped)]
    if owners:
        stories.append((f"the engine is {' or '.join(owners)} after all", after_all))
    stories.append(("the tender misread", misread))
    return stories + outside_stories(guide, honest[OTHER], casting)
