"""The lens of a view: where it is sharp, and how wide it is open."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tools.focus import NARROWEST, WIDEST, disc_radius, out_of_focus
from tools.render.view import View

_ALL_SHARP = 0.25  # of views: stopped down, or put together from several; chosen


def through_lens(
    rng: np.random.Generator, linear: NDArray[np.float32], view: View
) -> NDArray[np.float32]:
    """As through a lens that is sharp at one distance, mostly that of some point of the engine.

    Parameters
    ----------
    rng : Generator
        The same gives twins the same lens, sharp at the same point.
    linear : ndarray, shape (H, W, 3), float32
        Linear radiance, everything sharp.
    view : View
        Of the same camera and size.
    """
    all_sharp, aim = rng.random() < _ALL_SHARP, rng.random(2)
    aperture = float(np.exp(rng.uniform(np.log(NARROWEST), np.log(WIDEST))))
    depth = view.hits.depth
    engine = np.array([part.owner == "locomotive" for part in view.stage.parts], dtype=bool)
    aimed_at = view.pixels_of(engine)
    if not aimed_at.any():
        aimed_at = np.isfinite(depth)
    if all_sharp or not aimed_at.any():
        return linear
    # By the frame that its pixels fill: a twin's are a few more or less.
    rows, cols = np.nonzero(aimed_at)
    at = (rows.min() + aim[0] * np.ptp(rows), cols.min() + aim[1] * np.ptp(cols))
    nearest = int(np.argmin(np.hypot(rows - at[0], cols - at[1])))
    sharp = float(depth[rows[nearest], cols[nearest]])
    focal_px = view.size[0] / (2.0 * float(np.tan(np.radians(view.fov) / 2.0)))
    discs = disc_radius(depth, focus=sharp, aperture=aperture, focal_px=focal_px)
    return out_of_focus(linear, discs)
