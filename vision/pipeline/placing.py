"""A part looked for where a guide says that it stands.

A whistle or a valve may look like a lever, but it does not stand where the lever of this
casting does: knowing the engine, one looks there, and closely. Only what is surely a lever is
believed elsewhere: the engine may be another casting than the guide's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vision.cues.fuse import MAYBE_IN_SIGHT, from_afar, is_settled
from vision.cues.loupe import same_place
from vision.records import REGION_OF_CUE, Box, Cue, NotFound, Region, Sighting, State

LEVER = "switch_lever"
# Probability below which the lever's place is too unclear to call, and from which one that
# stands elsewhere is believed; chosen. The second is far the higher: whoever looked closely and
# saw none there is mostly right, and on engines drawn by others, whose whistles no training
# knows, most levers seen where none was were whistles that were believed from 0.9 on.
SURE, SURE_ELSEWHERE = 0.8, 0.99
# Probability of a lever anywhere from which on its absence at its place is not stated: the
# engine may be another casting than the guide's. Chosen; of levers told a wrong place it
# halves those stated wrongly, of those told the right one it leaves hardly any unstated.
MAYBE_ELSEWHERE = 0.7
# Probability of each part of the region in which a lever that is believed surely stands; chosen.
_SURE_THERE = 0.9
# How far a lever that surely stands must be from a guide's place, share of the region's length,
# to be said to stand elsewhere although that place cannot be called; more than the eye errs in
# placing the region's ends. Chosen.
APART = 0.15
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
        Unchanged where the guide names no place or the photo was not judged by place; where
        a lever surely stands, but elsewhere or where cannot be told (of one that is stated
        `because` then says so, and where it is sure that it stands elsewhere, how far along);
        and where a state was called, though by place none may be, and nobody looked closely.
        UNSEEN, with the probability of a lever at the place, where that place is hidden or
        too unclear to call, or where none stands there but perhaps one elsewhere, which then
        keeps the probability up.
        Otherwise PRESENT or ABSENT, as the place is.
    """
    if cue.name != LEVER or lever_at is None or not cue.along:
        return cue
    closely = [look for look in cue.near if same_place(look.place, lever_at)]
    p, clear, in_sight = from_afar(cue.along, lever_at), cue.clear, cue.along_in_sight
    looked = bool(closely) and not is_settled(p)
    if looked:
        p, clear, in_sight = closely[0].p_present, closely[0].clear, closely[0].in_sight
    anywhere = 0.0 if cue.p_present is None else cue.p_present
    stated = cue.state is State.PRESENT
    told_here = p >= SURE and in_sight
    if anywhere >= SURE_ELSEWHERE and (p < 0.5 or (stated and not told_here)):
        return replace(cue, because=_but_where(cue, lever_at, p, in_sight)) if stated else cue
    elsewhere = p < 0.5 and anywhere >= MAYBE_ELSEWHERE
    if elsewhere:
        p = max(p, 1.0 - anywhere)
    where = cue.where
    if isinstance(sighting, Sighting):
        where = _around(sighting.regions[REGION_OF_CUE[LEVER]], lever_at)
    if not in_sight:
        # Whoever looked closely and could not tell knows better than who did not.
        if looked and (cue.along_in_sight or cue.state is not State.UNSEEN):
            because = "the place of this casting's lever is too unclear to call"
            return _unclear(cue, because, p, clear, where)
        if cue.state is not State.UNSEEN:
            return cue
        return _unclear(cue, cue.because, p, clear, cue.where)
    if elsewhere:
        because = "no lever where this casting has it, but perhaps one elsewhere on the boiler top"
        return replace(_unclear(cue, because, p, clear, where), in_sight=True)
    confidence = max(p, 1.0 - p)
    if confidence < SURE:
        because = "the place of this casting's lever is in sight, but too unclear to call"
        return replace(_unclear(cue, because, p, clear, where), in_sight=True)
    state = State.PRESENT if p >= 0.5 else State.ABSENT
    because = {
        State.PRESENT: "something thin and upright stands where this casting has its lever",
        State.ABSENT: "the place of this casting's lever is in sight, without a lever",
    }[state]
    return replace(
        cue,
        state=state,
        p_present=p,
        clear=clear,
        confidence=confidence,
        because=because,
        where=where,
        in_sight=False,
    )


def _but_where(cue: Cue, lever_at: float, p: float, in_sight: bool) -> str:
    """Words on a lever that surely stands, but perhaps elsewhere than a guide has it."""
    place = _stands_at(cue.along) if cue.along_in_sight else None
    apart = place is not None and abs(place - lever_at) >= APART
    if p < 0.5 and (in_sight or (apart and _nothing_about(cue.along, lever_at))):
        found = f", about {place:.2f} along it, not" if apart else ", but not"
        return (
            f"{cue.because}{found} where the guide has this casting's lever ({lever_at:g}): "
            "the engine may be of another casting, or the guide's lever_at is wrong"
        )
    return f"{cue.because}; whether it is where the guide has this casting's lever cannot be told"


def _stands_at(along: Sequence[float]) -> float | None:
    """Share of the region's length where a lever surely stands; None where nowhere is sure."""
    best = max(range(len(along)), key=lambda k: along[k])
    if along[best] < _SURE_THERE:
        return None
    first = last = best
    while first > 0 and along[first - 1] >= _SURE_THERE:
        first -= 1
    while last + 1 < len(along) and along[last + 1] >= _SURE_THERE:
        last += 1
    return (first + last + 1) / (2 * len(along))


def _nothing_about(along: Sequence[float], place: float) -> bool:
    """Whether no part of the region that may be a guide's place is itself likely the lever's."""
    middles = ((k + 0.5) / len(along) for k in range(len(along)))
    near = [p for p, at in zip(along, middles, strict=True) if abs(at - place) <= APART / 2]
    return max(near, default=0.0) < SURE


def _unclear(cue: Cue, because: str, p: float, clear: float | None, where: Box | None) -> Cue:
    return replace(
        cue,
        state=State.UNSEEN,
        p_present=p,
        clear=clear,
        confidence=0.0,
        because=because,
        where=where,
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
