"""Materials of one engine, from its spec."""

from __future__ import annotations

from dataclasses import replace

from tools.locomotive.paint import (
    LIVERIES,
    NAMED,
    STRIPES,
    Rgb,
    lightness_distance,
    linear,
    metal,
    tinted,
    weathered,
)
from tools.locomotive.rules import child
from tools.locomotive.spec import LocomotiveSpec, edge_paint
from tools.parts import Material

READABLE = 35.0  # least CIE76 distance of figures from the cab; chosen by eye

_WEATHERED = {
    "body",
    "body2",
    "frame",
    "wheel",
    "smokebox",
    "cab",
    "tank",
    "tender_paint",
    "roof",
    "edge",
    "stripe",
}


def _paint(s: LocomotiveSpec, color: Rgb, dull: float = 0.0) -> Material:
    matt = {"matt": 0.25, "gloss": -0.15}.get(s.livery.split("_")[-1], 0.0)
    rough = min(max(0.55 - 0.35 * s.gloss + matt + dull + 0.2 * s.dust, 0.12), 0.9)
    return Material(color, roughness=rough, specular=0.5, clearcoat=s.clearcoat * (dull == 0.0))


def _named(s: LocomotiveSpec, name: str) -> Rgb:
    return s.body_color if name == "body" else linear(NAMED[name])


def _readable(s: LocomotiveSpec, ground: Rgb) -> Rgb:
    """The colour of painted figures; a shade that drowns in the cab's paint is replaced."""
    names = (s.number_color, "cream", "black")
    colors = [linear(NAMED[n]) for n in names]
    return next((c for c in colors if lightness_distance(c, ground) > READABLE), colors[-1])


def materials_of(s: LocomotiveSpec, wanted: set[str]) -> dict[str, Material]:
    """Every material an engine may use; only the `wanted` ones are weathered."""
    livery = LIVERIES[s.livery]
    body = _paint(s, s.body_color)
    if livery.metallic:
        body = replace(body, metallic=1.0, roughness=0.2 + 0.3 * s.wear)
    second = _paint(s, tinted(linear(livery.second), s.paint_tint)) if livery.second else body
    black = _paint(s, linear(NAMED["black"]), 0.1)
    frame = _paint(s, _named(s, s.frame_color), 0.05)
    wheel = _paint(s, _named(s, s.wheel_color), 0.03)
    bands = {
        "body": body,
        "brass": metal("brass", s.wear),
        "steel": metal("steel", s.wear),
        "bright": _paint(s, linear(NAMED["bright"])),
    }
    chimneys = {"black": black, "body": body, "copper": black, "brass": metal("brass", s.wear)}
    domes = {
        "body": body,
        "black": black,
        "brass": metal("brass", s.wear),
        "copper": metal("copper", s.wear),
    }
    rods = {
        "steel": metal("steel", s.wear),
        "nickel": metal("nickel", 0.5 * s.wear),
        "black": metal("blackened"),
        "brass": metal("brass", s.wear),
        "red": _paint(s, linear(NAMED["red"])),
        "frame": frame,
    }
    tyres = {
        "bright": metal("steel", 0.5 * s.wear),
        "wheel": wheel,
        "white": _paint(s, linear(NAMED["white"])),
    }
    link = {
        "rods": rods[s.rod_finish],
        "black": metal("blackened"),
        "nickel": metal("nickel"),
        "brass": metal("brass", s.wear),
        "red": _paint(s, linear(NAMED["red"])),
        "steel": metal("steel", s.wear),
        "frame": frame,
    }
    lever = {
        "nickel": metal("nickel", 0.3 * s.wear),
        "brass": metal("brass", 0.3 * s.wear),
        "black": metal("blackened"),
        "bronze": metal("bronze", 0.3 * s.wear),
        "blued": metal("blued"),
        "tin": metal("tin", 0.3 * s.wear),
        "red": _paint(s, linear(NAMED["bright"])),
        "body": body,
    }
    number = (
        metal("brass", 0.2) if s.number_style == "plate" else _paint(s, _readable(s, second.color))
    )
    smoke = body if s.smokebox_color == "body" else _paint(s, linear(NAMED[s.smokebox_color]), 0.15)
    out = {
        "body": body,
        "body2": second,
        "cab": second,
        "tank": second if s.tank != "saddle" else body,
        "tender_paint": second,
        "frame": frame,
        "wheel": wheel,
        "tyre": tyres[s.tyre],
        "smokebox": smoke,
        "roof": _paint(s, _named(s, s.roof_color), 0.1),
        "beam": _paint(s, _named(s, s.beam_color)),
        "chimney": chimneys[s.chimney_color],
        "dome": domes[s.dome_color],
        "band": bands[s.band_color],
        "rods": rods[s.rod_finish],
        "linkage": link[s.linkage_finish],
        "lever": lever[s.lever_finish],
        "mount": lever[s.mount_finish],
        "edge": _paint(s, edge_paint(s.livery, s.paint_tint, s.edge_color)),
        "stripe": _paint(s, linear(STRIPES[s.stripe_color])),
        "steel": metal("steel", s.wear),
        "brass": metal("brass", s.wear),
        "copper": metal("copper", s.wear),
        "pipe": metal("copper", s.wear) if s.seed % 3 == 0 else black,
        "cow": frame if s.seed % 4 else _paint(s, linear(NAMED["red"])),
        "number": number,
        "plate": metal("brass", 0.2),
        "plate_ground": _paint(s, linear(NAMED["red" if s.seed % 3 == 1 else "black"])),
        "lining": _paint(s, linear(NAMED[s.lining_color])),
        "lamp": metal("brass", s.wear) if s.seed % 2 else black,
        "lens": Material((0.85, 0.83, 0.75), 0.08, 0.0, 0.9, 1.0),
        "lens_red": Material((0.5, 0.02, 0.02), 0.08, 0.0, 0.9, 1.0),
        "window": Material((0.012, 0.014, 0.016), 0.06, 0.0, 0.7, 1.0),
        "soot": Material((0.006, 0.006, 0.006), 0.9),
        "coal": Material((0.014, 0.014, 0.016), 0.35, 0.0, 0.6),
        "wood": Material(linear("8a6238"), 0.8),
    }
    for name in wanted & _WEATHERED:
        out[name] = weathered(
            out[name], wear=s.wear, dust=s.dust, rng=child(s.seed, f"weather {name}")
        )
    return out
