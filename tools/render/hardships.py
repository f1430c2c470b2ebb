"""What makes a finished picture of an engine hard, measured in it; not what was meant to be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.render.view import MASK_BITS
from vision.features.paper import colour_spread

# All by eye, on sheets of pictures sorted by each.
_DARK = 60  # grey level up to which more than half of what is dark lies
_GLARE_FROM, _GLARE_SHARE = 250, 0.08  # grey level, and share of the boiler top beyond it
_SMALL = 0.17  # of the frame's width
_COLOURLESS = 12.0  # grey levels between the channels of most pixels, their common tint apart
_RING = 0.15  # of the engine's height: how far round it its ground is looked at


def hardships(
    truth: Mapping[str, Any], picture: NDArray[np.uint8], mask: NDArray[np.uint8]
) -> list[str]:
    """Conditions that a picture meets; none without an engine.

    Parameters
    ----------
    truth : mapping
        From `tools.render.truth.label`.
    picture : ndarray, shape (H, W, 3), uint8, sRGB
        As developed.
    mask : ndarray, shape (H, W), uint8
        Of its parts (`MASK_BITS`).
    """
    box, engine = truth.get("locomotive"), (mask & MASK_BITS["locomotive"]) > 0
    if box is None or not engine.any():
        return []
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    met = {
        "dark before dark": _dark(grey, engine, box),
        "glare on the boiler": _glare(grey, engine, truth),
        "engine small": box[2] - box[0] <= _SMALL * picture.shape[1],
        "without colours": colour_spread(picture[::4, ::4]) <= _COLOURLESS,
    }
    return [name for name, holds in met.items() if holds]


def _dark(grey: NDArray[np.uint8], engine: NDArray[np.bool_], box: list[float]) -> bool:
    reach = max(round(_RING * (box[3] - box[1])), 3)
    wide = cv2.dilate(engine.astype(np.uint8), np.ones((2 * reach + 1,) * 2, np.uint8)) > 0
    ground = wide & ~engine
    if not ground.any():
        return False
    return bool(np.median(grey[engine]) <= _DARK and np.median(grey[ground]) <= _DARK)


def _glare(grey: NDArray[np.uint8], engine: NDArray[np.bool_], truth: Mapping[str, Any]) -> bool:
    quad = (truth.get("regions") or {}).get("boiler_top")
    if quad is None:
        return False
    top = np.zeros(grey.shape, np.uint8)
    cv2.fillPoly(top, [np.round(np.asarray(quad)).astype(np.int32)], 1)
    shown = (top > 0) & engine
    return bool(shown.any() and (grey[shown] >= _GLARE_FROM).mean() >= _GLARE_SHARE)
