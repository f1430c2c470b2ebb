"""The everyday name of a paint colour."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

COLOUR_NAMES = (
    "black",
    "grey",
    "white",
    "cream",
    "yellow",
    "orange",
    "brown",
    "red",
    "green",
    "blue",
    "purple",
)

# CIELAB chroma below which paint is called black, grey or white. Chosen by eye;
# photographed white under lamp light reaches about 10.
NEUTRAL_CHROMA = 9.0
# Above this chroma a light yellow is no longer cream (RAL 9001 cream is near 9, RAL
# 1015 light ivory near 15, RAL 1018 zinc yellow near 77; values from memory).
CREAM_CHROMA = 45.0
CREAM_LIGHTNESS = 62.0
BLACK_LIGHTNESS = 25.0
WHITE_LIGHTNESS = 78.0
# Orange paint darker than this lightness reads as brown. Chosen by eye.
BROWN_LIGHTNESS = 48.0
_NAMED = 0.8  # probability from which on a colour, or two, are named; chosen
# Upper end of each hue, degrees of CIELAB hue angle; sRGB primaries lie at 40 (red),
# 103 (yellow), 136 (green), 306 (blue).
HUE_ENDS_DEG = (
    (46.0, "red"),
    (77.0, "orange"),
    (107.0, "yellow"),
    (205.0, "green"),
    (308.0, "blue"),
    (345.0, "purple"),
    (360.0, "red"),
)


def name_colour(lightness: float, a: float, b: float) -> str:
    """One of COLOUR_NAMES for a CIELAB colour under D65.

    Parameters
    ----------
    lightness : float
        CIE L*, 0 to 100.
    a, b : float
        CIE a* and b*.
    """
    chroma = math.hypot(a, b)
    hue = math.degrees(math.atan2(b, a)) % 360.0
    if chroma < NEUTRAL_CHROMA:
        # Old white enamel is the neutral end of cream: yellowish already counts.
        if lightness >= WHITE_LIGHTNESS:
            return "cream" if chroma >= NEUTRAL_CHROMA / 2.0 and 60.0 < hue < 115.0 else "white"
        return "black" if lightness < BLACK_LIGHTNESS else "grey"
    if 60.0 < hue < 115.0 and chroma < CREAM_CHROMA and lightness >= CREAM_LIGHTNESS:
        return "cream"
    name = next(name for end, name in HUE_ENDS_DEG if hue <= end)
    return "brown" if name in ("orange", "yellow") and lightness < BROWN_LIGHTNESS else name


# CIELAB a*, b* of paints that lines are drawn in. White and cream after RAL 9010 and
# 9001, yellow and red after RAL 1018 and 3020; all from memory, rounded to 5.
LINE_PAINTS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "white": (0.0, 0.0),
        "cream": (0.0, 15.0),
        "yellow": (0.0, 65.0),
        "orange": (45.0, 55.0),
        "red": (55.0, 35.0),
        "green": (-40.0, 30.0),
        "blue": (0.0, -40.0),
        "purple": (40.0, -30.0),
    }
)
# How far mixed light moves a paint in a*, b*: the cream lines of the demo photos were
# measured up to 22 from where they belong.
CAST = 15.0


def line_colour_shares(a: float, b: float) -> dict[str, float]:
    """Probability of each of LINE_PAINTS for a painted line, all equally likely before.

    Lightness is left out: it tells the light, not the paint.

    Parameters
    ----------
    a, b : float
        CIE a* and b* of the line as photographed.

    Returns
    -------
    dict of str to float
        Sums to 1.
    """
    weights = {
        name: math.exp(-((a - x) ** 2 + (b - y) ** 2) / (2.0 * CAST**2)) + 1e-6
        for name, (x, y) in LINE_PAINTS.items()
    }
    total = sum(weights.values())
    return {name: weight / total for name, weight in weights.items()}


def named_colours(shares: Mapping[str, float]) -> str:
    """The colour that a line has most probably, or which two; "" where it may be others, too.

    Parameters
    ----------
    shares : mapping of str to float
        Probabilities, as from `line_colour_shares`.
    """
    likely = sorted(shares, key=lambda name: -shares[name])[:2]
    for many in (1, 2):
        if sum(shares[name] for name in likely[:many]) > _NAMED:
            return " or ".join(likely[:many])
    return ""
