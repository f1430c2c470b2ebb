"""Which variations of a guide differ in what, and which look alike."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from vision.guide.values import Guide, Tender, Variation
from vision.records import BINARY_CUES, can_be_read


@dataclass(frozen=True, slots=True)
class Pair:
    """Two variations, and all that a guide says to tell them apart.

    Attributes
    ----------
    first, second : str
        Ids of the variations.
    in_photos : tuple of str
        Photo cues that differ: "switch_lever" and its like, "edge_stripe" also for its
        colour, "cab_number", "tender". Empty where photos alone cannot tell them apart.
    told_apart_by : tuple of str
        Hands-on checks that differ, and "cab_number" where it differs but has letters or
        too many figures for a photo; empty where none does.
    """

    first: str
    second: str
    in_photos: tuple[str, ...]
    told_apart_by: tuple[str, ...]


def pairs(guide: Guide) -> tuple[Pair, ...]:
    """Every pair of variations, in the order of the guide.

    A cue differs where no reading of it fits both: a state that the guide leaves open
    fits anything. A tender that both were sold with counts as no difference, and
    lettering only where the guide says that one tender has it and the other has none.
    """
    return tuple(
        Pair(
            first.id,
            second.id,
            _photo_cues(guide, first, second),
            _by_hand(guide, first, second),
        )
        for first, second in combinations(guide.variations, 2)
    )


def confusable(guide: Guide) -> tuple[Pair, ...]:
    """Pairs of variations that photos alone cannot tell apart, in the guide's order."""
    return tuple(pair for pair in pairs(guide) if not pair.in_photos)


def _photo_cues(guide: Guide, first: Variation, second: Variation) -> tuple[str, ...]:
    differ = [cue for cue in BINARY_CUES if _states_differ(first, second, cue)]
    colours = {first.stripe_colour, second.stripe_colour}
    if len(colours) == 2 and None not in colours:
        differ.append("edge_stripe")
    if _numbers_differ(first, second) and _all_read(first) and _all_read(second):
        differ.append("cab_number")
    one, other = ([t for t in guide.tenders if t.id in v.tenders] for v in (first, second))
    if one and other and not any(_alike(t, u) for t in one for u in other):
        differ.append("tender")
    return tuple(differ)


def _alike(one: Tender, other: Tender) -> bool:
    lettering = {one.lettering, other.lettering} == {True, False}
    return (one.axles, one.lamps) == (other.axles, other.lamps) and not lettering


def _by_hand(guide: Guide, first: Variation, second: Variation) -> tuple[str, ...]:
    unread = not (_all_read(first) and _all_read(second))
    number = ("cab_number",) if unread and _numbers_differ(first, second) else ()
    return (*number, *(c for c in guide.check_names if _states_differ(first, second, c)))


def _numbers_differ(first: Variation, second: Variation) -> bool:
    both = bool(first.numbers and second.numbers)
    return both and not set(first.numbers) & set(second.numbers)


def _all_read(variation: Variation) -> bool:
    """Whether photos tell each of its numbers: no letters and not too many figures."""
    return all(map(can_be_read, variation.numbers))


def _states_differ(first: Variation, second: Variation, name: str) -> bool:
    states = {first.expects.get(name), second.expects.get(name)}
    return len(states) == 2 and None not in states
