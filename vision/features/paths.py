"""The line across a crop that gathers the most: dynamic programming over columns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def best_path(
    gain: NDArray[np.floating], bend_cost: float, *, start_row: int = 0
) -> NDArray[np.intp]:
    """One row for each column, gathering the most gain for the least bending.

    Maximises ``sum(gain[row[c], c]) - bend_cost * sum(|row[c] - row[c - 1]|)``
    exactly. A step of any height is allowed, since a running board may step up, and
    is paid by the pixel. The linear cost lets each column be settled with two running
    maxima, so that the work is proportional to the number of pixels.

    Parameters
    ----------
    gain : ndarray, shape (rows, columns), float
        What it is worth to pass through each pixel.
    bend_cost : float
        In units of gain for one row up or down; >= 0.
    start_row : int
        The row taken where every path is worth the same.

    Returns
    -------
    ndarray, shape (columns,), int

    Notes
    -----
    Viterbi recursion as for seams and contours: Amini, Weymouth & Jain, "Using
    dynamic programming for solving variational problems in vision", IEEE PAMI 12(9),
    1990; the running maxima for a linear cost: Felzenszwalb & Huttenlocher, "Distance
    transforms of sampled functions", Theory of Computing 8, 2012.
    """
    rows = gain.shape[0]
    ramp = bend_cost * np.arange(rows, dtype=np.float64)
    ahead = np.ascontiguousarray(gain.T, dtype=np.float64)
    best = np.empty_like(ahead)
    best[0] = ahead[0]
    # Paths coming from above and, turned over, from below: one running maximum for both.
    # They lie in one line, and `ramps` beside them, because NumPy then needs one loop.
    coming, ramps = np.empty(2 * rows), np.tile(ramp, 2)
    both, above, below = coming.reshape(2, rows), coming[:rows], coming[rows:]
    turned = below[::-1]
    before = best[0]
    for now, gained in zip(best[1:], ahead[1:], strict=True):
        np.add(before, ramp, above)
        np.add(before[::-1], ramp, below)
        np.maximum.accumulate(both, 1, None, both)
        np.subtract(coming, ramps, coming)
        np.maximum(above, turned, out=now)
        np.add(now, gained, now)
        before = now
    return _traced_back(best, bend_cost, start_row)


def _traced_back(best: NDArray[np.float64], bend_cost: float, start_row: int) -> NDArray[np.intp]:
    columns, rows = best.shape
    offsets = bend_cost * np.abs(np.arange(-rows + 1, rows, dtype=np.float64))
    path = np.empty(columns, dtype=np.intp)
    # A hair's breadth of cost, far below one grey level, settles ties at start_row.
    tie = 1e-9 * np.abs(np.arange(rows) - start_row)
    row = int(np.argmax(best[-1] - tie))
    path[-1] = row
    left = np.empty(rows)
    # Where no other row is better by what one row of bending costs, the path runs straight.
    enough = (best.max(axis=1) - bend_cost).tolist()
    for column in range(columns - 2, -1, -1):
        if best[column, row] > enough[column]:
            path[column] = row
            continue
        np.subtract(best[column], offsets[rows - 1 - row : 2 * rows - 1 - row], left)
        row = int(left.argmax())
        path[column] = row
    return path
