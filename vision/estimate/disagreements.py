"""Two readings of one part that exclude each other, whoever made them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

from vision.estimate.argument import Evidence
from vision.estimate.factors import COUNTED_CUES, TENDER
from vision.estimate.reading import (
    count_shares,
    counts_shown,
    lettered_today,
    normalised,
    presence,
    reading,
    value_shares,
)
from vision.estimate.saying import read_out
from vision.guide import Guide, Tender
from vision.records import LETTERING, Conflict, Cue, State

# Mass of contradiction between two readings of one part, from which they disagree:
# 1 - sum over states of the product of their shares (the K of Dempster's rule). Chosen.
DISAGREEMENT = 0.8
EDGE_STRIPE = "edge_stripe"


def disagreements(guide: Guide, evidence: Sequence[Evidence]) -> list[Conflict]:
    """Every pair of sure readings of one part that exclude each other.

    Readings that gave way to a person's word are compared with it too. What a person
    says of the tender as a whole is compared with each count of its axles and lamps, and
    with its lettering.

    Returns
    -------
    list of Conflict
        Of the kind "readings".
    """
    found = []
    for item in evidence:
        every = [c for c in (*item.cues, *item.superseded) if c.state is not State.UNSEEN]
        for first, second in combinations(every, 2):
            if first.name == second.name:
                rows = [normalised(reading(item.factor, guide, [cue])) for cue in (first, second)]
                if _exclude_each_other(*rows):
                    text = (
                        f"two readings of {first.name} exclude each other: "
                        f"{_beside(first, second)} ({first.source}) and "
                        f"{_beside(second, first)} ({second.source}); "
                        "look again, or they are of two engines"
                    )
                    found.append(Conflict("readings", (first.name,), text))
        found += _counted_otherwise(guide, every)
    return found


def _counted_otherwise(guide: Guide, cues: Sequence[Cue]) -> list[Conflict]:
    """What photos show of a tender against what is said of it, each reading told once."""
    told: dict[tuple[str | None, ...], Conflict] = {}
    for said in (cue for cue in cues if cue.name == TENDER):
        for counted in (cue for cue in cues if cue.name in (*COUNTED_CUES, LETTERING)):
            conflict = _said_and_counted(guide, said, counted)
            if conflict is not None:
                alike = (said.value, counted.name, counted.state.value, counted.value)
                told.setdefault(alike, conflict)
    return list(told.values())


def _said_and_counted(guide: Guide, said: Cue, counted: Cue) -> Conflict | None:
    """Compare a tender that was named with one count of it; None where they agree.

    They are compared as counts, not as tenders: whatever is counted of a tender that
    the guide lacks contradicts nobody who calls it that.
    """
    tender = next((t for t in guide.tenders if t.id == said.value), None)
    if tender is None:
        return None
    if counted.name == LETTERING:
        return _said_and_seen(guide, tender, said, counted)
    shares = count_shares(guide, counted)
    shown = counts_shown(guide, tender, counted.name, tuple(shares))
    if not _exclude_each_other([shown.get(c, 0.0) for c in shares], list(shares.values())):
        return None
    axles = counted.name == "tender_axles"
    made = tender.axles if axles else tender.lamps
    noun = ("axle" if axles else "lamp") + ("" if made == 1 else "s")
    maybe = "they are of two engines" if axles else "a lamp was lost or added since"
    text = (
        f"what is said of the tender and what is counted exclude each other: tender {tender.id} "
        f"has {made} {noun} ({said.source}), counted: "
        f"{max(shares, key=lambda count: shares[count])} ({counted.source}); "
        f"look again, or {maybe}"
    )
    return Conflict("readings", (TENDER, counted.name), text)


def _said_and_seen(guide: Guide, tender: Tender, said: Cue, seen: Cue) -> Conflict | None:
    """Compare a tender that was named with its lettering; None where they agree."""
    there, p = lettered_today(guide, tender), presence(seen)
    if not _exclude_each_other((there, 1.0 - there), (p, 1.0 - p)):
        return None
    has = "is lettered" if tender.lettering else "has no lettering"
    text = (
        f"what is said of the tender and what is seen exclude each other: tender {tender.id} "
        f"{has} ({said.source}), its lettering is read as {read_out(seen)} ({seen.source}); "
        "look again, or it was lettered anew"
    )
    return Conflict("readings", (TENDER, LETTERING), text)


def _exclude_each_other(first: Sequence[float], second: Sequence[float]) -> bool:
    """Whether two readings, as shares of the same states, disagree."""
    agreed = math.fsum(a * b for a, b in zip(first, second, strict=True))
    # Readings that leave the same states open agree, however many those are:
    # over five tenders of four axles even two equal counts meet in a fifth.
    apart = not _open_states(first) & _open_states(second)
    return apart and 1.0 - agreed >= DISAGREEMENT


def _open_states(row: Sequence[float]) -> frozenset[int]:
    """States that a reading leaves open: at least half as likely as its likeliest."""
    return frozenset(i for i, share in enumerate(row) if share >= 0.5 * max(row))


def _beside(cue: Cue, other: Cue) -> str:
    """What one reading says, with its likeliest value where only values differ."""
    shares = value_shares(cue)
    if cue.state is not State.PRESENT or other.state is not cue.state or cue.value or not shares:
        return read_out(cue)
    best = max(shares, key=lambda value: shares[value])
    return f"{cue.state.value}, {best}" if cue.name == EDGE_STRIPE else best
