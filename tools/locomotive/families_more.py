"""Families that only training draws: part styles and proportions that no judged set has.

Networks learnt the first families' shapes so well that what is left to learn is castings
unlike them. `MOTION` and `TOPSIDE` take the place of `families.COMMON`'s rules in all of
these families; what is drawn of the other families stays what it was, picture by picture.
"""

from __future__ import annotations

TOPSIDE: dict[str, object] = {}

MORE: dict[str, dict[str, object]] = {
    "toyshop": {
        "arrangement": {"0-4-0": 5, "2-4-2": 2, "2-6-2": 1, "4-4-2": 2, "0-6-0": 2, "2-4-0": 1},
        "has_tender": 0.7,
        "tank": {"none": 3, "side": 1},
    },
    "works": {
        "arrangement": {"0-6-0": 5, "0-4-0": 3, "0-8-0": 2, "2-6-0": 1, "0-6-2": 2, "2-6-2": 2},
        "has_tender": 0.4,
        "tank": {"side": 3, "saddle": 2, "well": 1},
    },
    "mainline": {
        "arrangement": {"4-6-2": 4, "2-10-0": 2, "2-8-2": 2, "4-6-0": 2, "2-8-4": 1, "4-8-2": 1},
    },
}
