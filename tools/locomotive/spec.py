"""Everything that is drawn about one engine, and how it is drawn."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from tools.locomotive.families_held import HELD
from tools.locomotive.families_more import MORE
from tools.locomotive.families_train import TRAIN
from tools.locomotive.paint import LIVERIES, NAMED, STRIPES, lightness_distance, linear, tinted
from tools.locomotive.rules import BLENDED, MIXED, child, draw, rules_of

TRAIN_FAMILIES: tuple[str, ...] = (*TRAIN, MIXED)
MORE_FAMILIES: tuple[str, ...] = (*MORE, BLENDED)
HELD_FAMILIES: tuple[str, ...] = tuple(HELD)
FAMILIES: tuple[str, ...] = (*TRAIN_FAMILIES, *MORE_FAMILIES, *HELD_FAMILIES)

CONTRAST = 38.0  # least CIE76 distance between stripe and edge; chosen by eye


@dataclass(frozen=True, slots=True)
class LocomotiveSpec:
    """One engine. Fields are drawn by the rules of `families`; see there for units.

    `switch_lever`, `side_linkage` and `edge_stripe` are "present" or "absent";
    `stripe_color` names a colour of `paint.STRIPES`; `seed` feeds noise and jitter.
    """

    family: str
    seed: int
    switch_lever: str
    side_linkage: str
    edge_stripe: str
    stripe_color: str
    stripe_gaps: float
    cab_number: str
    lettering: str
    gauge: float
    arrangement: str
    has_tender: bool
    driver_d: float
    driver_gap: float
    lead_d: float
    trail_d: float
    truck_spread: float
    half_width: float
    boiler_r: float
    boiler_taper: float
    boiler_pitch: float
    board_height: float
    board_profile: str
    board_edge_h: float
    stripe_part: float
    stripe_place: str
    overhang_front: float
    overhang_rear: float
    smokebox_set: float
    smokebox_len: float
    smokebox_r: float
    smokebox_door: str
    firebox: str
    casing: str
    skirt: float
    chimney: str
    chimney_h: float
    chimney_r: float
    domes: int
    dome_style: str
    dome_h: float
    dome_r: float
    dome_shift: float
    sand_box: str
    bands: int
    band_color: str
    top_feed: bool
    whistle: str
    whistle_at: float
    bell: str
    bell_at: float
    valves: str
    valves_at: float
    generator: bool
    number_boards: bool
    knobs_top: bool
    handrail: str
    deflectors: str
    air_pump: bool
    side_tank: str
    feed_pipe: bool
    running_pipe: bool
    cab: str
    cab_len: float
    cab_h: float
    cab_windows: int
    window_shape: str
    cab_glazed: bool
    roof: str
    roof_overhang: float
    roof_vent: bool
    tank: str
    tank_len: float
    tank_h: float
    bunker_len: float
    cylinders: str
    cyl_d: float
    cyl_tilt: float
    valve_chest: str
    crank: float
    crank_phase: float
    main_driver: int
    rod_h: float
    rod_style: str
    rod_finish: str
    linkage_style: str
    linkage_rods: int
    linkage_w: float
    linkage_finish: str
    outside_frame: bool
    wheel_style: str
    truck_style: str
    spokes: int
    wheel_width: float
    tyre: str
    balance: str
    splashers: bool
    splasher_open: bool
    front_end: str
    cow_style: str
    rear_end: str
    headlamp: str
    steps: bool
    sand_pipes: bool
    brakes: bool
    front_rail: bool
    rivet_rows: bool
    tender_axles: int
    tender_trucks: str
    tender_style: str
    tender_len: float
    tender_h: float
    tender_wheel_d: float
    tender_frame: str
    tender_lamps: int
    tender_rails: bool
    coal: str
    livery: str
    paint_tint: float
    frame_color: str
    wheel_color: str
    smokebox_color: str
    roof_color: str
    beam_color: str
    chimney_color: str
    dome_color: str
    edge_color: str
    gloss: float
    clearcoat: float
    wear: float
    dust: float
    lining: str
    lining_color: str
    number_style: str
    number_font: str
    number_h: float
    number_color: str
    letters: str
    letter_h: float
    lever_style: str
    lever_finish: str
    lever_h: float
    lever_w: float
    lever_tilt: float
    lever_at: float
    lever_offset: float
    lever_turn: float
    lever_lean: float
    lever_mount: str
    mount_finish: str
    lever_slot: bool
    lever_stub: bool
    key_hole: bool
    mountings: tuple[str, ...]
    boiler_form: str
    boiler_sides: str
    seam: bool
    saddle_form: str
    tank_slope: float
    slide_bars: str
    linkage_phase: float
    linkage_reach: float
    linkage_t: float
    linkage_off: float
    linkage_rod: str
    link_shape: str
    link_hanger: str
    coupling: str
    main_rod: str
    rod_boss: str
    crosshead: str
    cylinder_style: str
    tail_rod: bool
    frame_shape: str
    valance: str
    undergear: str

    @property
    def axles(self) -> tuple[int, int, int]:
        """Leading, driven and trailing axles, from the Whyte notation."""
        lead, driven, trail = (int(n) // 2 for n in self.arrangement.split("-"))
        return lead, driven, trail

    @property
    def body_color(self) -> tuple[float, float, float]:
        """Linear RGB of the main paint."""
        return tinted(linear(LIVERIES[self.livery].body), self.paint_tint)


def _number(rng: np.random.Generator) -> str:
    digits = int(rng.choice([1, 2, 3, 4], p=[0.12, 0.24, 0.42, 0.22]))
    return str(int(rng.integers(10 ** (digits - 1), 10**digits)))


def _road(rng: np.random.Generator, kind: str) -> str:
    """An invented road name or initials; no real railway is meant."""
    starts = ("Marl", "Os", "Fell", "Bram", "Tarn", "Wick", "Ash", "Dun", "Pell", "Corv")
    ends = ("pit", "trand", "ford", "ley", "moor", "combe", "stead", "wick", "dale")
    letters = "ABCDEFGHKLMNOPRSTVWY"
    if kind == "road":
        return (str(rng.choice(starts)) + str(rng.choice(ends))).upper()
    text = [letters[int(rng.integers(len(letters)))] for _ in range(int(rng.integers(2, 5)))]
    return "".join(text) if kind == "initials" else ""


def edge_paint(livery: str, tint: float, edge_color: str) -> tuple[float, float, float]:
    """Linear RGB of an unstriped running-board edge.

    A two-tone engine's edge is always black: in the boiler's colour below a cab of
    another colour it would look like a stripe.
    """
    if edge_color == "body" and LIVERIES[livery].second is None:
        return tinted(linear(LIVERIES[livery].body), tint)
    return linear(NAMED["black"])


def _stripe(rng: np.random.Generator, v: dict[str, object]) -> str:
    """A stripe colour that stands out from the edge and from the body above it."""
    tint = float(str(v["paint_tint"]))
    edge = edge_paint(str(v["livery"]), tint, str(v["edge_color"]))
    body = tinted(linear(LIVERIES[str(v["livery"])].body), tint)
    names = list(
        rng.choice(
            list(STRIPES), len(STRIPES), replace=False, p=[0.22, 0.24, 0.12, 0.18, 0.08, 0.06, 0.1]
        )
    )
    gap = {n: min(lightness_distance(linear(STRIPES[n]), c) for c in (edge, body)) for n in names}
    good = [str(n) for n in names if gap[n] >= CONTRAST]
    return good[0] if good else max(names, key=lambda n: gap[n])


def sample_spec(rng: np.random.Generator, family: str, **overrides: object) -> LocomotiveSpec:
    """Draw one engine of a family.

    Parameters
    ----------
    rng : numpy.random.Generator
        Gives one seed; every field is drawn from its own child generator, so an
        override changes that field alone.
    family : str
        One of `FAMILIES`.
    **overrides
        Field values that replace the drawn ones.

    Raises
    ------
    ValueError
        On an unknown family or field.
    """
    if family not in FAMILIES:
        raise ValueError(f"family: got {family!r}, expected one of {sorted(FAMILIES)}")
    names = {f.name for f in fields(LocomotiveSpec)}
    if unknown := set(overrides) - names:
        raise ValueError(f"overrides: unknown fields {sorted(unknown)}")
    seed = int(rng.integers(0, 2**62))
    rules = rules_of(seed, family)
    v = {name: draw(child(seed, name), rule) for name, rule in rules.items()}
    v |= {"family": family, "seed": seed}
    for cue in ("switch_lever", "side_linkage", "edge_stripe"):
        v[cue] = "present" if child(seed, cue).random() < 0.5 else "absent"
    gaps = child(seed, "stripe_gaps")
    v["stripe_gaps"] = float(gaps.uniform(0.05, 0.3)) if gaps.random() < 0.2 else 0.0
    v["cab_number"] = _number(child(seed, "cab_number"))
    v["lettering"] = _road(child(seed, "lettering"), str(v["letters"]))
    if v["has_tender"]:
        v["tank"] = "none"
    v["stripe_color"] = _stripe(child(seed, "stripe_color"), v)
    v |= overrides
    if not v["has_tender"] and "tank" not in overrides and v["tank"] == "none":
        v["tank"] = draw(child(seed, "tank_style"), {"side": 4, "saddle": 2, "well": 1})
    if v["has_tender"] and "tank" not in overrides:
        v["tank"] = "none"
    return LocomotiveSpec(**v)  # type: ignore[arg-type]
