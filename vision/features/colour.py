"""The everyday name of a paint colour."""

from __future__ import annotations

import math

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
