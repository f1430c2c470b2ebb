"""The two invented engines of the embedded guides, always from the same casting."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tools.locomotive.spec import LocomotiveSpec, sample_spec


@dataclass(frozen=True, slots=True)
class _Variation:
    number: str
    lever: bool
    linkage: bool
    stripe: str | None
    tender: str | None


WAYFARER = {
    "W1": _Variation("310", True, False, None, "K"),
    "W2": _Variation("310", True, True, None, "K"),
    "W3": _Variation("316", False, True, "cream", "K"),
    "W4": _Variation("316", False, False, "cream", "L"),
    "W5": _Variation("316", True, False, "cream", "L"),
    "W6": _Variation("322", True, True, "red", "M"),
}
BRINDLE = {
    "M1": _Variation("7", False, False, None, None),
    "M2": _Variation("7", True, False, "white", None),
    "M3": _Variation("12", True, True, "white", None),
    "M4": _Variation("12", False, True, None, None),
    "M5": _Variation("15", False, True, "yellow", None),
}
TENDERS: dict[str, dict[str, object]] = {
    "K": {"tender_axles": 4, "tender_lamps": 0, "tender_trucks": "trucks", "tender_len": 0.5},
    "L": {"tender_axles": 6, "tender_lamps": 1, "tender_trucks": "trucks", "tender_len": 0.66},
    "M": {"tender_axles": 6, "tender_lamps": 2, "tender_trucks": "trucks", "tender_len": 0.66},
}

_COMMON: dict[str, object] = {
    "stripe_gaps": 0.0,
    "livery": "black_gloss",
    "rod_finish": "nickel",
    "tyre": "bright",
    "lever_slot": True,
    "lever_stub": False,
    "outside_frame": False,
    "cylinders": "outside",
    "whistle": "single",
    "deflectors": "none",
    "key_hole": False,
    "slide_bars": "plain",
    "number_boards": False,
    "generator": False,
    "knobs_top": False,
}
_WAYFARER: dict[str, object] = {
    **_COMMON,
    "gauge": 0.032,
    "arrangement": "4-6-2",
    "driver_d": 1.75,
    "driver_gap": 0.08,
    "boiler_taper": 0.12,
    "boiler_r": 0.68,
    "boiler_pitch": 0.9,
    "board_height": 1.02,
    "board_profile": "drop_front",
    "board_edge_h": 0.013,
    "stripe_part": 0.6,
    "stripe_place": "middle",
    "half_width": 1.75,
    "firebox": "belpaire",
    "chimney": "capped",
    "chimney_h": 0.62,
    "domes": 2,
    "dome_style": "round",
    "dome_h": 0.42,
    "sand_box": "none",
    "cab": "closed",
    "cab_windows": 2,
    "window_shape": "rect",
    "cab_len": 1.9,
    "roof": "arched",
    "tank": "none",
    "has_tender": True,
    "linkage_style": "radius",
    "linkage_rods": 4,
    "rod_style": "plain",
    "wheel_style": "spoked",
    "spokes": 14,
    "frame_color": "black",
    "wheel_color": "black",
    "smokebox_color": "black",
    "dome_color": "body",
    "bands": 4,
    "band_color": "brass",
    "number_style": "paint",
    "number_color": "gold",
    "number_font": "sans",
    "number_h": 0.42,
    "letters": "road",
    "lettering": "WAYFARER",
    "letter_h": 0.34,
    "tender_style": "flared",
    "coal": "coal",
    "front_end": "buffers",
    "rear_end": "buffers",
    "headlamp": "drum",
    "valves": "pops",
    "bell": "none",
    "lever_style": "knob",
    "lever_finish": "nickel",
    "lever_h": 0.046,
    "lever_w": 0.0075,
    "whistle_at": 0.95,
    "lever_at": 0.5,
    "lever_offset": 0.0,
    "lining": "none",
    "edge_color": "black",
    "beam_color": "red",
    "chimney_color": "black",
    "roof_color": "black",
    "tender_frame": "cast",
    "paint_tint": 1.0,
}
_BRINDLE: dict[str, object] = {
    **_COMMON,
    "gauge": 0.045,
    "arrangement": "0-6-2",
    "livery": "green_dark",
    "driver_d": 1.35,
    "driver_gap": 0.2,
    "boiler_taper": 0.0,
    "boiler_r": 0.62,
    "boiler_pitch": 0.95,
    "board_height": 0.98,
    "board_profile": "flat",
    "board_edge_h": 0.016,
    "stripe_part": 0.5,
    "stripe_place": "middle",
    "half_width": 1.8,
    "has_tender": False,
    "tank": "side",
    "tank_len": 0.6,
    "tank_h": 0.95,
    "firebox": "round",
    "chimney": "flared",
    "chimney_h": 0.85,
    "domes": 1,
    "dome_style": "round",
    "dome_h": 0.55,
    "dome_color": "brass",
    "sand_box": "round",
    "cab": "cut",
    "cab_windows": 1,
    "window_shape": "round",
    "cab_len": 1.7,
    "roof": "barrel",
    "bunker_len": 1.1,
    "linkage_style": "single",
    "linkage_rods": 3,
    "rod_style": "fluted",
    "rod_finish": "steel",
    "wheel_style": "spoked",
    "spokes": 12,
    "frame_color": "black",
    "wheel_color": "body",
    "smokebox_color": "black",
    "bands": 3,
    "band_color": "brass",
    "number_style": "plate",
    "number_font": "serif",
    "number_h": 0.36,
    "letters": "none",
    "lettering": "",
    "front_end": "buffers",
    "rear_end": "buffers",
    "headlamp": "none",
    "valves": "columns",
    "bell": "none",
    "lever_style": "bent",
    "lever_finish": "brass",
    "lever_h": 0.04,
    "lever_w": 0.007,
    "whistle_at": 0.95,
    "lever_at": 0.55,
    "lever_offset": 0.0,
    "lining": "none",
    "edge_color": "black",
    "beam_color": "red",
    "chimney_color": "black",
    "roof_color": "black",
    "paint_tint": 1.0,
    "smokebox_door": "dished",
}
_GUIDES = {
    "wayfarer": ("express", 1931, _WAYFARER, WAYFARER),
    "brindle": ("tank", 1924, _BRINDLE, BRINDLE),
}


def demo_spec(
    guide: str, variation: str, rng: np.random.Generator, tender: str | None = None
) -> LocomotiveSpec:
    """An engine of an invented guide.

    Parameters
    ----------
    guide : {"wayfarer", "brindle"}
    variation : str
        "W1".."W6" or "M1".."M5".
    rng : numpy.random.Generator
        Jitters paint, dust, wear and where the wheels stand; the casting stays.
    tender : {"K", "L", "M"} or None
        Replaces the variation's own tender (a swap).

    Raises
    ------
    ValueError
        On an unknown guide, variation or tender.
    """
    if guide not in _GUIDES:
        raise ValueError(f"guide: got {guide!r}, expected one of {sorted(_GUIDES)}")
    family, seed, fixed, table = _GUIDES[guide]
    if variation not in table:
        raise ValueError(f"variation: got {variation!r}, expected one of {sorted(table)}")
    v = table[variation]
    kind = tender or v.tender
    if kind is not None and (kind not in TENDERS or guide == "brindle"):
        raise ValueError(
            f"tender: got {kind!r}, expected one of {sorted(TENDERS)} with a tender engine"
        )
    spec = sample_spec(np.random.default_rng(seed), family, **fixed)
    state = {True: "present", False: "absent"}
    cues = {
        "cab_number": v.number,
        "switch_lever": state[v.lever],
        "side_linkage": state[v.linkage],
        "edge_stripe": state[v.stripe is not None],
        "stripe_color": v.stripe or spec.stripe_color,
    }
    jitter = {
        "seed": int(rng.integers(0, 2**62)) // 12 * 12 + spec.seed % 12,
        "paint_tint": float(rng.uniform(0.92, 1.08)),
        "wear": float(rng.uniform(0, 0.35)),
        "dust": float(rng.uniform(0, 0.2)),
        "gloss": float(rng.uniform(0.5, 0.9)),
        "crank_phase": float(rng.uniform(0, 2 * np.pi)),
        "lever_tilt": float(rng.uniform(-0.5, 0.5)),
    }
    return replace(spec, **cues, **jitter, **(TENDERS[kind] if kind else {}))
