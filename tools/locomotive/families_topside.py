"""What stands above the running board of families that only training draws.

The rules take the place of `families.COMMON`'s; units and kinds of rules are those there.
"""

from __future__ import annotations

from itertools import combinations

from tools.locomotive.paint import LIVERIES
from tools.locomotive.profiles import MOUNTING_HALF

_SOME = {1: 4.0, 2: 4.0, 3: 2.0}  # mountings on one boiler, and the weight of so many


def mountings(*often: str) -> dict[object, float]:
    """Rule for `mountings`: none to three kinds, those named `often` three times as likely."""
    rule: dict[object, float] = {(): 4.0}
    for count, weight in _SOME.items():
        groups = list(combinations(MOUNTING_HALF, count))
        likely = [3.0 ** sum(kind in often for kind in group) for group in groups]
        rule |= {g: weight * n / sum(likely) for g, n in zip(groups, likely, strict=True)}
    return rule


NEW_PAINT = ("red_gold", "green_cream", "blue_red", "olive", "turquoise")
BARE_METAL = ("brass", "bronze", "white_metal", "blued", "silver", "iron")


def liveries(new: float, bare: float) -> dict[str, float]:
    """Rule for `livery`: the usual paints, with a weight for each rarer one."""
    usual = {k: v.weight for k, v in LIVERIES.items()}
    return {**usual, **dict.fromkeys(NEW_PAINT, new), **dict.fromkeys(BARE_METAL, bare)}


TOPSIDE: dict[str, object] = {
    "boiler_r": (0.42, 0.86),
    "boiler_taper": {0.0: 3, 0.12: 2, 0.2: 2, 0.3: 2, 0.38: 1},
    "boiler_form": {"cone": 3, "wagon": 2, "shoulder": 1.5, "courses": 1.5},
    "boiler_sides": {"round": 5, "slab": 2, "boxy": 1},
    "seam": 0.3,
    "board_profile": {
        "flat": 3,
        "two_steps": 2,
        "fall": 1,
        "step_mid": 1,
        "drop_front": 1,
        "ramp": 1,
        "short": 1,
    },
    "board_edge_h": (0.0046, 0.026),
    "stripe_part": {0.25: 2, 0.45: 2, 0.6: 1, 0.85: 2, 1.0: 2},
    "smokebox_len": (0.08, 0.36),
    "smokebox_r": (0.93, 1.16),
    "firebox": {"none": 4, "round": 3, "belpaire": 2, "wide": 1},
    "chimney": {
        "lipped": 3,
        "inward": 3,
        "banded": 2,
        "trumpet": 2,
        "stub": 2,
        "oblong": 1.5,
        "spark": 1.5,
        "funnel": 1.5,
        "stovepipe": 1,
        "capped": 1,
    },
    "chimney_h": (0.3, 1.15),
    "chimney_r": (0.17, 0.4),
    "dome_style": {
        "bell": 2,
        "squared": 2,
        "low_cap": 2,
        "pear": 1.5,
        "lidded": 2,
        "stepped": 1.5,
        "cone": 1.5,
        "mushroom": 1.5,
        "hood": 2,
        "twin": 1,
        "drum": 1,
        "round": 1,
    },
    "domes": {1: 4, 2: 2, 3: 0.4, 0: 1},
    "dome_h": (0.22, 0.85),
    "dome_r": (0.22, 0.62),
    "bands": {0: 2, 2: 1, 3: 1, 4: 2, 6: 1, 8: 1},
    "band_color": {"body": 3, "brass": 2, "steel": 2, "bright": 1},
    "whistle": {"none": 2, "squat": 3, "chime": 2, "single": 1},
    "bell": {"none": 5, "cradle": 1.5, "arch": 1.5, "pedestal": 1.5},
    "valves": {
        "none": 2,
        "lockup": 2,
        "bridge": 2,
        "lidded": 2,
        "trumpet": 2,
        "cluster": 2,
        "pops": 1,
    },
    "mountings": mountings(),
    "generator": 0.08,
    "number_boards": 0.1,
    "cab": {"closed": 3, "swept": 3, "awning": 2, "half": 1, "cut": 2, "open": 0.7, "posts": 0.5},
    "cab_len": (1.0, 2.7),
    "cab_h": (0.8, 1.55),
    "cab_windows": {0: 1.5, 1: 3, 2: 3, 3: 1},
    "window_shape": {"rect": 2, "round": 2, "arched": 2, "rounded": 2},
    "roof": {"turtle": 2, "wrapped": 2, "clerestory": 1.5, "arched": 2, "barrel": 1, "flat": 1.5},
    "roof_overhang": (0.0, 0.45),
    "tank_len": (0.35, 1.0),
    "tank_h": (0.55, 1.2),
    "tank_slope": {0.0: 3, 0.25: 1, 0.45: 1.5, 0.65: 1},
    "saddle_form": {"round": 2, "flat": 3, "ogee": 2, "hipped": 2},
    "livery": liveries(0.8, 0.5),
    "gloss": (0.0, 1.0),
    "lining": {"none": 4, "litho": 3, "cab": 1, "cab_tender": 1, "boiler": 1},
    "lever_style": {
        "folded": 2,
        "twisted": 1.5,
        "tee": 2,
        "acorn": 1.5,
        "turned": 1.5,
        "ring": 1.5,
        "loop": 1.5,
        "hook": 1.5,
        "tab": 2,
        "spade": 1.5,
        "dogleg": 1.5,
        "pin": 1,
        "crutch": 1,
        "straight": 1,
        "bent": 1,
        "blade": 1,
    },
    "lever_finish": {
        "nickel": 4,
        "brass": 3,
        "black": 2,
        "tin": 2,
        "bronze": 1,
        "blued": 1.5,
        "red": 2,
        "body": 1,
    },
    "lever_h": (0.02, 0.06),
    "lever_w": (0.0045, 0.0125),
    "lever_tilt": (-0.85, 0.85),
    "lever_turn": {0.0: 3, 1.571: 3, 0.6: 1, -0.9: 1},
    "lever_lean": {0.0: 4, 0.3: 1, -0.3: 1, 0.6: 0.7, -0.6: 0.7},
    "lever_at": (0.04, 0.96),
    "lever_offset": {0.0: 5, 0.2: 1, -0.2: 1, 0.4: 0.7, -0.4: 0.7},
    "lever_mount": {"none": 4, "plate": 2, "bush": 1.5, "boss": 1.5, "quadrant": 2},
    "mount_finish": {"nickel": 2, "brass": 2, "body": 2, "black": 1.5, "tin": 1},
    "lever_slot": 0.3,
    "lever_stub": 0.1,
}
