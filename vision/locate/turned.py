"""Whether a photo lies on its side or stands on its head."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.locate.finder import find_in
from vision.network import Networks
from vision.records import Photo
from vision.rectify import whole

TURNED = (
    "the photo may lie on its side or be upside down, since turned it shows an engine "
    "more clearly; turn it upright"
)
# The finder has learnt from upright engines. Least score of a photo once turned, and by how much
# that must beat the surest look at it as it is. Chosen on 222 renders with an engine: of the 666
# turned ones 529 are told so, 109 of them among the 156 that were dated; of the upright ones none
# is, and of the 217 dated ones among them none is even beaten. Nor is any of these and 257 more,
# cut to portrait, or spoilt at severity 3 or 4 (five in six of them); there 6 of 938 dated ones
# are beaten, by 0.07 at most.
_PLAIN, _MARGIN = 0.75, 0.1
# Score from which a photo in which an engine was found is not looked at turned: so it costs no
# time for 191 of the 222 upright renders, and 4 of the 666 turned ones are missed for it.
_SURE = 0.8
_TURNS = (cv2.ROTATE_90_CLOCKWISE, cv2.ROTATE_180, cv2.ROTATE_90_COUNTERCLOCKWISE)


def seems_turned(photo: Photo, score: float, networks: Networks, *, found: bool) -> bool:
    """Whether the finder surely sees an engine better once the photo is turned.

    Parameters
    ----------
    photo : Photo
    score : float
        Of the finder's surest look at the photo as it is, 0 to 1.
    networks : Networks
        "finder" is used, three times; not at all where it was sure.
    found : bool
        Whether an engine was found in the photo as it is.
    """
    if found and score >= _SURE:
        return False
    turned = (_turned(photo, turn) for turn in _TURNS)
    size = networks["finder"].size
    best = max(find_in(whole(view, size), view, networks).score for view in turned)
    return best >= max(_PLAIN, score + _MARGIN)


def _turned(photo: Photo, turn: int) -> Photo:
    """The photo, turned as OpenCV's code says."""
    width, height = photo.size
    return replace(
        photo,
        pixels=np.asarray(cv2.rotate(photo.pixels, turn), np.uint8),
        size=(width, height) if turn == cv2.ROTATE_180 else (height, width),
        content=None,
    )
