"""What a person saw: NAME=STATE to a cue."""

from __future__ import annotations

import re
from types import MappingProxyType

from vision.estimate.factors import ANOTHER_COLOUR, OTHER, TENDER, driving_counts
from vision.estimate.reading import PERSON_RELIABILITY
from vision.guide import Guide, base_tender
from vision.records import (
    DRIVING,
    LINE_COLOURS,
    PHOTO_CUES,
    VALUED_CUES,
    Cue,
    EvidenceError,
    State,
    did_you_mean,
)

BECAUSE = "seen by a person"
# States of a part, and what people write for them, which stand for no number.
_NO_NUMBER = (State.PRESENT.value, State.ABSENT.value, "missing", "none")


def saw(guide: Guide, statement: str) -> Cue:
    """Parse one statement of a person who has the engine before them.

    Parameters
    ----------
    guide : Guide
    statement : str
        "NAME=STATE": a photo cue or a hands-on check of the guide with "present",
        "absent" or "unseen"; "edge_stripe" with a colour; "cab_number", "driving_axles",
        "tender_axles" or "tender_lamps" with what is there; "tender" with a tender of the guide, or
        "other".

    Returns
    -------
    Cue
        With `source` "person".

    Raises
    ------
    EvidenceError
        Not NAME=STATE, or a name or state that the guide does not know.
    """
    name, equals, state = (part.strip() for part in statement.partition("="))
    if not (name and equals and state):
        raise EvidenceError(f'"{statement}": write NAME=STATE, such as switch_lever=present')
    tender = (TENDER,) if guide.tenders else ()
    known = (*PHOTO_CUES, *tender, *guide.check_names)
    if name not in known:
        hint = did_you_mean(name, known, or_all=True)
        raise EvidenceError(f'"{name}" is no cue or check of {guide.name}{hint}')
    if state.lower() == State.UNSEEN.value:
        return Cue(name, State.UNSEEN, because=BECAUSE, source="person")
    if name in VALUED_CUES or name == TENDER:
        return _valued(name, _value(guide, name, state))
    return _binary(guide, name, state.lower())


def _binary(guide: Guide, name: str, state: str) -> Cue:
    colours = (*guide.stripe_colours, ANOTHER_COLOUR) if name == "edge_stripe" else ()
    states = (State.PRESENT.value, State.ABSENT.value, State.UNSEEN.value, *colours)
    if state not in states:
        meant = {state: state for state in states}
        if colours:
            # A colour that the guide has on no stripe is a finding too; where it states
            # none, a stripe of any colour is one that is there.
            other = ANOTHER_COLOUR if guide.stripe_colours else State.PRESENT.value
            meant |= {colour: other for colour in LINE_COLOURS if colour not in meant}
        hint = did_you_mean(state, meant, or_all=True)
        raise EvidenceError(f'{name} cannot be "{state}"{hint}')
    if state in colours:
        cue = _valued(name, state)
        p = PERSON_RELIABILITY
        return Cue(name, cue.state, p, state, p, None, BECAUSE, cue.values, "person")
    p = PERSON_RELIABILITY if state == State.PRESENT else 1.0 - PERSON_RELIABILITY
    return Cue(
        name,
        State(state),
        p_present=p,
        confidence=PERSON_RELIABILITY,
        because=BECAUSE,
        source="person",
    )


def _valued(name: str, value: str) -> Cue:
    return Cue(
        name,
        State.PRESENT,
        value=value,
        confidence=PERSON_RELIABILITY,
        because=BECAUSE,
        values=MappingProxyType({value: PERSON_RELIABILITY}),
        source="person",
    )


def _value(guide: Guide, name: str, state: str) -> str:
    if name == TENDER:
        ids = tuple(tender.id for tender in guide.tenders)
        tender = OTHER if state.lower() == OTHER else base_tender(state, ids)
        if tender is None:
            hint = did_you_mean(state, (*ids, OTHER), or_all=True)
            raise EvidenceError(f'"{state}" is no tender of {guide.name}{hint}')
        return tender
    if name == "cab_number":
        if not re.fullmatch(r"[0-9A-Za-z]{1,8}", state):
            raise EvidenceError(f'cab_number must be figures or letters, got "{state}"')
        if state.lower() in _NO_NUMBER and state.upper() not in guide.numbers:
            raise EvidenceError(
                f'cab_number takes the number that it shows, or unseen, got "{state}"'
            )
        return state.upper()
    if name == DRIVING:
        if state not in (counts := driving_counts(guide)):
            known = f"{', '.join(counts[:-1])} or {counts[-1]}"
            raise EvidenceError(f'{name} must be a count, {known}, got "{state}"')
        return state
    if not re.fullmatch(r"[0-9]", state):
        raise EvidenceError(f'{name} must be a count from 0 to 9, got "{state}"')
    return state
