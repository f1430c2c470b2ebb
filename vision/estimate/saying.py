"""One cue in words, for the steps of the argument and what is said of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from vision.estimate.factors import TENDER, UNLISTED
from vision.estimate.strength import estimated_percent
from vision.records import COUPLED, DRIVING, VALUED_CUES, Cue, State


def read_out(cue: Cue) -> str:
    """State or value of one cue, for a sentence."""
    if cue.leaning is not None:
        return f"unclear, leaning to {'present' if cue.leaning >= 0.5 else 'absent'}"
    if cue.may_be:
        return "unclear" if cue.perhaps is None else f"unclear, perhaps {cue.perhaps}"
    if cue.state is State.UNSEEN:
        return "not seen"
    if cue.name in VALUED_CUES or cue.name == TENDER:
        best = max(cue.values, key=lambda v: cue.values[v]) if cue.values else None
        return cue.value or best or "read"
    return f"{cue.state.value}, {cue.value}" if cue.value else cue.state.value


def number_weighed(read: str, taken_for: Mapping[str, float]) -> tuple[str, float]:
    """Say what a cab number is weighed as, and how surely.

    Parameters
    ----------
    read : str
        The number as read.
    taken_for : mapping of str to float
        As in a `Step`, not empty.

    Examples
    --------
    >>> number_weighed("16", {"316": 0.89, "unlisted": 0.08})
    ('16, taken for 316', 0.89)
    >>> number_weighed("15", {"316": 0.2, "unlisted": 0.77})
    ('15', 0.77)
    """
    listed, sure = _of_the_guide(taken_for)
    unlisted = taken_for.get(UNLISTED, 0.0)
    if unlisted > sure:
        return read, unlisted
    return (read if listed == read.upper() else f"{read}, taken for {listed}"), sure


def misread_words(taken_for: Mapping[str, float]) -> str:
    """Which number of the guide one that it lacks may be; empty where it is taken for one.

    Examples
    --------
    >>> misread_words({"310": 0.01, "316": 0.21, "unlisted": 0.75})
    '316 misread (21 %)'
    """
    listed, sure = _of_the_guide(taken_for)
    more = taken_for.get(UNLISTED, 0.0) > sure > 0.0
    return f"{listed} misread ({estimated_percent(sure)})" if more else ""


def _of_the_guide(taken_for: Mapping[str, float]) -> tuple[str, float]:
    """Numbers of the guide at least half as likely as the likeliest of them, and how likely."""
    listed = {number: p for number, p in taken_for.items() if number != UNLISTED}
    likely = {n: p for n, p in listed.items() if p >= 0.5 * max(listed.values())}
    return any_of(tuple(likely)), math.fsum(likely.values())


def any_of(words: Sequence[str]) -> str:
    """Write alternatives: "310", "310 or 316", "310, 316 or 322"."""
    return " or ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def saying(cue: Cue, taken_for: Mapping[str, float] = MappingProxyType({})) -> str:
    """One cue in the text of a step: what was read, and how surely, or by whom."""
    if taken_for:
        number, sure = number_weighed(read_out(cue), taken_for)
        told = f"{cue.name} {number} ({estimated_percent(sure)})"
        return f"{told}, or {words}" if (words := misread_words(taken_for)) else told
    told = f"{cue.name} {read_out(cue)}"
    if cue.name == DRIVING and cue.state is State.PRESENT:
        told = f"{read_out(cue)} driving axle{'' if read_out(cue) == '1' else 's'} counted"
    if cue.name == COUPLED and cue.state is not State.UNSEEN:
        told = f"{'a' if cue.state is State.PRESENT else 'no'} tender is coupled"
    if cue.source == "person":
        return f"{told}, as seen by a person"
    if cue.may_be and cue.perhaps is None:
        return told
    sure = cue.confidence
    if cue.leaning is not None:
        sure = max(cue.leaning, 1.0 - cue.leaning)
    elif cue.p_present is not None and cue.name not in VALUED_CUES:
        sure = cue.p_present if cue.state is State.PRESENT else 1.0 - cue.p_present
    elif cue.values and not cue.confidence:
        sure = max(cue.values.values())
    return f"{told} ({estimated_percent(sure)})"
