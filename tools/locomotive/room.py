"""Room on the boiler's top: what takes it, and where there is some."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.layout import Layout
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.tanks import saddle_span
from tools.locomotive.topside import chimney_x, dome_half, stand_points

Spans = Sequence[tuple[float, float]]
_Places = float | NDArray[np.float64]


def between(s: LocomotiveSpec, lay: Layout, at: float) -> float:
    """x at a fraction of the way from the chimney (0) to the cab (1)."""
    return chimney_x(s, lay) + at * (lay.cab_front - chimney_x(s, lay))


def free_x(
    s: LocomotiveSpec, lay: Layout, at: float, margin: float, *, beside: Spans = ()
) -> float:
    """The free place on top nearest to `at` (0 chimney, 1 cab); where none is, the freest.

    `beside` holds other things to keep clear of, see `room_at`.
    """
    xs = np.linspace(chimney_x(s, lay), lay.cab_front, 81)
    clear = _clear(s, lay, xs, xs, beside)
    good = np.nonzero(clear > margin)[0]
    if not len(good):
        return float(xs[int(clear.argmax())])
    want = between(s, lay, at)
    return float(xs[good[np.abs(xs[good] - want).argmin()]])


def room_at(
    s: LocomotiveSpec,
    lay: Layout,
    x: float,
    *,
    beside: Spans = (),
    reach: tuple[float, float] = (0.0, 0.0),
) -> float:
    """Room that what stands at `x` has along the boiler; below 0 within something else.

    Parameters
    ----------
    s : LocomotiveSpec
    lay : Layout
    x : float
        Metres of the full-size engine, as all here.
    beside : sequence of (float, float)
        x of other things than those named below, and half of what each takes.
    reach : (float, float)
        From `x` to the rearmost and the foremost point of what stands there.
    """
    return float(_clear(s, lay, x + reach[0], x + reach[1], beside))


def _clear(
    s: LocomotiveSpec, lay: Layout, rear: _Places, front: _Places, beside: Spans
) -> NDArray[np.float64]:
    """Room round what reaches from `rear` to `front`, x each, of one thing or of many."""
    taken = [(x, dome_half(s, lay, kind)) for x, kind in stand_points(s, lay)]
    if s.valves != "none":
        taken.append((between(s, lay, s.valves_at), 0.2))
    if s.whistle != "none":
        taken.append((between(s, lay, s.whistle_at), 0.1))
    if s.tank == "saddle":
        a, b = saddle_span(s, lay)
        taken.append((a + 0.72 * (b - a), 0.2))
    taken += [
        *beside,
        (chimney_x(s, lay), 2.0 * s.chimney_r * lay.boiler_r),
        (lay.cab_front - 0.2, 0.45),
    ]
    gaps = [np.maximum(rear - x, x - front) - half for x, half in taken]
    room: NDArray[np.float64] = np.min(gaps, axis=0)
    return room
