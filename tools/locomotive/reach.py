"""Engines whose lever can be got at: what leaves it no room gives way to it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tools.locomotive.layout import lay_out
from tools.locomotive.lever import in_reach
from tools.locomotive.slender import bell_room
from tools.locomotive.spec import LocomotiveSpec, sample_spec

_UPRIGHT = 0.15  # radians that every lever may lean, chosen


def sample_engine(rng: np.random.Generator, family: str, **overrides: object) -> LocomotiveSpec:
    """Draw one engine of a family whose lever, be there one or not, has room for a finger.

    Parameters and errors are those of `sample_spec`; what stands on the boiler may be less
    than was drawn or asked for.
    """
    return within_reach(sample_spec(rng, family, **overrides))


def within_reach(spec: LocomotiveSpec) -> LocomotiveSpec:
    """The engine without what would stand in its lever's way.

    Nobody makes a switch that no finger gets at, and of a lever in the frame of a bell no
    picture tells whether it is there. It leans another way, or one fitting after the other
    goes, that first without which there is most room, until there is enough.
    """
    lay = lay_out(spec)
    if bell_room(spec, lay) < 0.0:  # it would stand in a dome
        spec = replace(spec, bell="none")
    upright = float(np.copysign(min(abs(spec.lever_tilt), _UPRIGHT), spec.lever_tilt))
    for tilt in (spec.lever_tilt, -spec.lever_tilt, upright):
        spec = replace(spec, lever_tilt=tilt)
        if in_reach(spec, lay) >= 0.0:
            return spec
    while fewer := [(in_reach(less, lay), less) for less in _without(spec)]:
        enough = [less for room, less in fewer if room >= 0.0]
        if enough:
            return enough[0]
        spec = max(fewer, key=lambda each: each[0])[1]
    return spec


def _without(s: LocomotiveSpec) -> Iterator[LocomotiveSpec]:
    """The engine with one fitting less, what is least of a loss first."""
    if s.mountings:
        yield replace(s, mountings=s.mountings[:-1])
    if s.bell != "none":
        yield replace(s, bell="none")
    if s.sand_box != "none":
        yield replace(s, sand_box="none")
    if s.domes > 1:
        yield replace(s, domes=s.domes - 1)
    if s.top_feed:
        yield replace(s, top_feed=False)
    if s.whistle != "none":
        yield replace(s, whistle="none")
    if s.valves != "none":
        yield replace(s, valves="none")
    if s.domes == 1:
        yield replace(s, domes=0)
