"""Where the cab's side is, and the engine's side ahead of it."""

from __future__ import annotations

import numpy as np

from vision.records import Region, Sighting

# Shares of the running board's length and of the cab's height, by eye on renders.
_AHEAD, _BEHIND, _BELOW = 0.18, 0.08, 0.12
_CAB_FROM = (0.45, 0.78)
# Where boilers begin behind the board's front, shares of its length, in views that are nearly
# square: 0.0 to 0.15, median 0.06. The two chosen on 436 renders with numbers in sight.
_BOILER_FROM, _WITHIN = 0.06, 0.05
# Boards of engines seen square are about 2.6 times as long as the boiler's back is high
# above them (median of 97 side views), and the straightened part is so much of that.
LONG = 2.6 * (1.0 + _BEHIND - _CAB_FROM[1])


def cab_region(sighting: Sighting) -> Region:
    """Where the cab's side is: above the rear of the running board.

    Corners run from the left to the right of the picture, so that figures stand the right
    way round whichever way the engine faces.
    """
    board = np.asarray(sighting.regions["running_board"], dtype=np.float64)
    boiler = np.asarray(sighting.regions["boiler_top"], dtype=np.float64)
    front, rear = (board[0] + board[3]) / 2, (board[1] + board[2]) / 2
    up = (boiler[1] - boiler[2]) + (boiler[0] - boiler[3])
    up = up + (board[0] - board[3]) + (board[1] - board[2])
    axes = np.stack([rear - front, up / max(float(np.linalg.norm(up)), 1e-6)], axis=1)
    if abs(float(np.linalg.det(axes))) < 1e-6:
        return sighting.regions["running_board"]
    start, back = np.linalg.solve(axes, boiler[2] - front)
    start -= _aside(float(np.linalg.solve(axes, boiler[3] - front)[0]))
    ridge = float(np.linalg.solve(axes, boiler[1] - front)[1])
    height = max(
        float(back) + 0.25 * (ridge - float(back)), 0.12 * float(np.linalg.norm(axes[:, 0]))
    )
    low, high = _CAB_FROM
    span = (min(max(float(start) - _AHEAD, low), high), 1.0 + _BEHIND)
    corners = [front + axes @ (s, h) for h in (height, -_BELOW * height) for s in span]
    a, b, d, c = ((float(x), float(y)) for x, y in corners)
    return (a, b, c, d) if a[0] <= b[0] else (b, a, d, c)


def _aside(boiler_front: float) -> float:
    """How far the boiler seems to lie behind where it does, shares of the board's length.

    It stands in the engine's middle, the board at its side: seen from behind it is further
    back along the board than it is, seen from before further ahead.
    """
    off = boiler_front - _BOILER_FROM
    return float(np.sign(off)) * max(abs(off) - _WITHIN, 0.0)


def ahead_of(sighting: Sighting, cab: Region) -> Region:
    """The engine's side from its front to the cab, as high as the cab's."""
    front = np.asarray(sighting.regions["running_board"], dtype=np.float64)[[0, 3]].mean(axis=0)
    corners = np.asarray(cab, dtype=np.float64)
    reach = np.linalg.norm(corners[[0, 1]] - front, axis=1)
    near, far = (0, 1) if reach[0] < reach[1] else (1, 0)
    # As far ahead again as the cab side is long, and twice, but not beyond the front.
    along = corners[near] - corners[far]
    times = min(2.0, float(reach[near]) / max(float(np.linalg.norm(along)), 1e-6))
    ahead = corners[near] + along * max(times, 0.1)
    down = corners[3] - corners[0]
    ends = sorted((tuple(ahead), tuple(corners[near])))
    top = [(float(x), float(y)) for x, y in ends]
    left, right = top
    low = [(x + float(down[0]), y + float(down[1])) for x, y in (right, left)]
    return (left, right, low[0], low[1])
