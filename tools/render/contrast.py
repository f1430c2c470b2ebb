"""Whether a part can be told from what stands round it in the finished picture.

A brass lever before a brass dome fills its pixels and yet nobody sees it. The truth of the
geometry says where a part lies; the developed picture, blur, noise, file and all, says
whether it stands out there.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.render.truth import MIN_PART_PX
from tools.render.view import MASK_BITS

# Three just noticeable differences of CIE76, 2.3 units each: M. Mahy, L. Van Eycken,
# A. Oosterlinck, "Evaluation of uniform color spaces developed after the adoption of CIELAB
# and CIELUV", Color Research and Application 19, 1994; from memory.
DISTINCT = 7.0
_RIM_PX = 2  # round a part, which lens and file smear it over
_NUMBER_SHARE = 0.5  # of a number's pixels, for it to be there to be read; by eye
_ROUND_PX = 12  # of the picture round a part that is looked at


def distinct_pixels(picture: NDArray[np.uint8], part: NDArray[np.bool_]) -> int:
    """How many pixels of a part differ from what its surroundings lead one to expect there.

    The expected picture is filled in from the part's rim inwards (A. Telea, "An image
    inpainting technique based on the fast marching method", 2004); both are averaged over
    3 by 3 pixels first, so that grain alone is no difference.

    Parameters
    ----------
    picture : ndarray, shape (H, W, 3), uint8, sRGB
    part : ndarray, shape (H, W), bool
    """
    rows, cols = np.nonzero(part)
    if not len(rows):
        return 0
    top, left = max(int(rows.min()) - _ROUND_PX, 0), max(int(cols.min()) - _ROUND_PX, 0)
    cut = np.s_[top : int(rows.max()) + _ROUND_PX + 1, left : int(cols.max()) + _ROUND_PX + 1]
    shown, inside = np.ascontiguousarray(picture[cut]), part[cut]
    hole = cv2.dilate(inside.astype(np.uint8), np.ones((2 * _RIM_PX + 1,) * 2, np.uint8))
    expected = cv2.inpaint(shown, hole, 3, cv2.INPAINT_TELEA)
    gap = cv2.blur(_lab(shown) - _lab(expected), (3, 3))
    return int((np.linalg.norm(gap, axis=2)[inside] >= DISTINCT).sum())


def only_distinct(
    truth: dict[str, Any], picture: NDArray[np.uint8], mask: NDArray[np.uint8]
) -> dict[str, Any]:
    """A label whose parts are visible only where they stand out, too.

    Parameters
    ----------
    truth : dict
        From `tools.render.truth.label`; a label of no engine comes back as it is.
    picture, mask : ndarray
        As developed, and of its parts (`tools.render.view.MASK_BITS`), of one size.
    """
    cues = {
        cue: _cue(cue, known, picture, mask) for cue, known in (truth.get("cues") or {}).items()
    }
    out = truth | {"cues": cues} if cues else truth
    if out.get("lamps_visible") and out.get("tender_lamps"):
        lamps = distinct_pixels(picture, (mask & MASK_BITS["tender_lamp"]) > 0)
        out = out | {"lamps_visible": lamps >= MIN_PART_PX["tender_lamp"] * out["tender_lamps"]}
    if out.get("cab_number_visible"):
        figures = (mask & MASK_BITS["cab_number"]) > 0
        enough = distinct_pixels(picture, figures) >= _NUMBER_SHARE * max(int(figures.sum()), 1)
        out = out | {"cab_number_visible": bool(enough)}
    return out


def _cue(
    cue: str, known: Mapping[str, Any], picture: NDArray[np.uint8], mask: NDArray[np.uint8]
) -> dict[str, Any]:
    if known["state"] != "present":
        return dict(known)
    distinct = distinct_pixels(picture, (mask & MASK_BITS[cue]) > 0)
    visible = known["visible"] and distinct >= MIN_PART_PX[cue]
    return {**known, "visible": bool(visible), "distinct_px": distinct}


def _lab(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """CIELAB, L from 0 to 100."""
    lab: NDArray[np.float32] = cv2.cvtColor(picture.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB)
    return lab
