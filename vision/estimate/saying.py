"""One cue in words, for the steps of the argument and what is said of them."""

from __future__ import annotations

from vision.estimate.factors import TENDER
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


def saying(cue: Cue) -> str:
    """One cue in the text of a step: what was read, and how surely, or by whom."""
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
