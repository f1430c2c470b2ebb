"""A part looked for where a guide says that it stands.

A whistle or a valve may look like a lever, but it does not stand where the lever of this
casting does: knowing the engine, one looks there, and closely. Only what is surely a lever is
believed elsewhere: the engine may be another casting than the guide's.
"""

from __future__ import annotations

from dataclasses import replace

from vision.cues.fuse import MAYBE_IN_SIGHT, from_afar, is_settled
from vision.cues.loupe import same_place
from vision.records import REGION_OF_CUE, Box, Cue, NotFound, Region, Sighting, State

LEVER = "switch_lever"
# Probability below which the lever's place is too unclear to call, and from which one that
# stands elsewhere is believed; chosen. The second is the higher: whoever looked closely and
# saw none there is mostly right.
SURE, SURE_ELSEWHERE = 0.8, 0.9
# Probability of a lever anywhere from which on its absence at its place is not stated: the
# engine may be another casting than the guide's. Chosen; of levers told a wrong place it
# halves those stated wrongly, of those told the right one it leaves hardly any unstated.
MAYBE_ELSEWHERE = 0.6
_HALF = 0.05  # of the region's length, on either side of the place that is marked


def placed(cue: Cue, sighting: Sighting | NotFound, lever_at: float | None) -> Cue:
    """The lever as judged at a guide's place; every other cue as it is.

    Parameters
    ----------
    cue : Cue
    sighting : Sighting or NotFound
        Of the same photo.
    lever_at : float or None
        Share of the boiler top's length, 0 smokebox front, 1 cab front; None where the
        guide names no place.

    Returns
    -------
    Cue
        Unchanged where the guide names no place, or the photo was not judged by place, or
        where a lever surely stands, but elsewhere; `because` then says so.
    """
    if cue.name != LEVER or lever_at is None or not cue.along:
        return cue
    closely = [look for look in cue.near if same_place(look.place, lever_at)]
    p, clear, in_sight = from_afar(cue.along, lever_at), cue.clear, cue.along_in_sight
    looked = bool(closely) and not is_settled(p)
    if looked:
        p, clear, in_sight = closely[0].p_present, closely[0].clear, closely[0].in_sight
    if p < 0.5 and cue.p_present is not None and cue.p_present >= SURE_ELSEWHERE:
        if cue.state is not State.PRESENT:
            return cue
        elsewhere = f"{cue.because}, but not where the guide has this casting's lever"
        return replace(cue, because=elsewhere)
    if not in_sight:
        if cue.state is not State.UNSEEN:
            # Whoever looked closely and could not tell knows better than who did not.
            return _unclear(cue, p, clear) if looked else cue
        maybe = clear is not None and clear >= MAYBE_IN_SIGHT
        return replace(cue, p_present=p, clear=clear, in_sight=maybe)
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    confidence = max(p, 1.0 - p)
    because = {
        State.PRESENT: "something thin and upright stands where this casting has its lever",
        State.ABSENT: "the place of this casting's lever is in sight, without a lever",
    }[state]
    if confidence < SURE:
        state, confidence = State.UNSEEN, 0.0
        because = "the place of this casting's lever is in sight, but too unclear to call"
    elif p < 0.5 and cue.p_present is not None and cue.p_present >= MAYBE_ELSEWHERE:
        state, confidence = State.UNSEEN, 0.0
        because = "no lever where this casting has it, but perhaps one elsewhere on the boiler top"
    where = cue.where
    if isinstance(sighting, Sighting):
        where = _around(sighting.regions[REGION_OF_CUE[LEVER]], lever_at)
    return replace(
        cue,
        state=state,
        p_present=p,
        clear=clear,
        confidence=confidence,
        because=because,
        where=where,
        in_sight=state is State.UNSEEN,
    )


def _unclear(cue: Cue, p: float, clear: float | None) -> Cue:
    return replace(
        cue,
        state=State.UNSEEN,
        p_present=p,
        clear=clear,
        confidence=0.0,
        because="the place of this casting's lever is too unclear to call",
        in_sight=clear is not None and clear >= MAYBE_IN_SIGHT,
    )


def _around(region: Region, share: float) -> Box:
    """Upright box round the part of a region about that share of its length."""
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = region
    points = []
    for along in (max(share - _HALF, 0.0), min(share + _HALF, 1.0)):
        points.append((x0 + (x1 - x0) * along, y0 + (y1 - y0) * along))
        points.append((x3 + (x2 - x3) * along, y3 + (y2 - y3) * along))
    return Box(*(max(edge, 0.0) for edge in Box.around(points).as_tuple()))
