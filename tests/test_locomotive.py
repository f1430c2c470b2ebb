"""The locomotive builder: cues, pairs, landmarks, truth and budgets."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from tools.locomotive import (
    FAMILIES,
    HELD_FAMILIES,
    MORE_FAMILIES,
    TRAIN_FAMILIES,
    build,
    coach,
    demo_spec,
    diesel,
    railcar,
    sample_spec,
    track,
    wagon,
    within_reach,
)
from tools.locomotive.boiler import top_at
from tools.locomotive.cab_styles import ROOFS
from tools.locomotive.cab_styles import STYLES as CAB_STYLES
from tools.locomotive.families import COMMON
from tools.locomotive.families_motion import MOTION
from tools.locomotive.fitting_styles import BELL_HALF, VALVES, WHISTLES
from tools.locomotive.layout import HALF_GAUGE, lay_out
from tools.locomotive.lever import beside_its_likes, lever_mesh, lever_place
from tools.locomotive.lever_styles import STYLES
from tools.locomotive.linkage import GEARS, linkage
from tools.locomotive.paint import STRIPES, lightness_distance, linear
from tools.locomotive.prisms import prism
from tools.locomotive.profiles import CHIMNEYS, DOMES, LONG_DOMES, MOUNTING_HALF
from tools.locomotive.room import between
from tools.locomotive.rules import draw
from tools.locomotive.slender import FEED_AT, placed_mountings
from tools.locomotive.solids import box, lathe, rod
from tools.locomotive.spec import CONTRAST, LocomotiveSpec, edge_paint
from tools.parts import Model, Part

CUES = ("switch_lever", "side_linkage", "edge_stripe")


def spec_of(seed: int, family: str, **overrides: object) -> LocomotiveSpec:
    return sample_spec(np.random.default_rng(seed), family, **overrides)


def parts_named(model: Model, name: str) -> list[Part]:
    return [p for p in model.parts if p.name == name]


def bounds(parts: list[Part]) -> tuple[np.ndarray, np.ndarray]:
    v = np.concatenate([p.vertices for p in parts])
    return v.min(0), v.max(0)


@pytest.fixture(scope="module")
def engines() -> list[tuple[LocomotiveSpec, Model]]:
    specs = [spec_of(seed, family) for family in FAMILIES for seed in range(40, 43)]
    return [(s, build(s)) for s in specs]


def volume(mesh) -> float:
    a, b, c = (mesh.v[mesh.f[:, k]] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6.0)


def test_solids_enclose_the_volumes_of_solid_geometry():
    # Volumes of prism, cylinder and of a square ring: elementary solid geometry.
    assert volume(box([1, 2, 3], [2, 3, 4])) == pytest.approx(24.0, rel=1e-3)
    cylinder = lathe([(0, 0), (0, 1), (2, 1), (2, 0)], "x", 256)
    assert volume(cylinder) == pytest.approx(2 * np.pi, rel=1e-3)
    outer = [(0, 0), (4, 0), (4, 4), (0, 4)]
    hole = [(1, 1), (3, 1), (3, 3), (1, 3)]
    for plane in ("xz", "yz", "xy"):
        assert volume(prism(outer, (0, 2), plane, holes=[hole])) == pytest.approx(24.0)
    assert 0.97 * np.pi * 4.8 < volume(rod(1.0, 0.0, 5.0)) < np.pi * 5.0


def test_a_concave_prism_covers_its_polygon():
    # The shoelace formula gives the area of an L of six unit squares less three.
    outline = [(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)]
    assert volume(prism(outline, (0, 1))) == pytest.approx(5.0)


def test_same_seed_gives_the_same_engine():
    first, second = (build(spec_of(7, "american")) for _ in range(2))
    assert [p.name for p in first.parts] == [p.name for p in second.parts]
    for a, b in zip(first.parts, second.parts, strict=True):
        assert np.array_equal(a.vertices, b.vertices) and np.array_equal(a.faces, b.faces)
    for key, material in first.materials.items():
        if material.texture is not None:
            assert np.array_equal(material.texture, second.materials[key].texture)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("cue", CUES)
def test_a_pair_differs_in_one_cue_only(family: str, cue: str):
    for seed in (1,):
        a, b = (spec_of(seed, family, **{cue: state}) for state in ("present", "absent"))
        assert [f.name for f in fields(a) if getattr(a, f.name) != getattr(b, f.name)] == [cue]
        with_cue, without = build(a), build(b)
        assert parts_named(with_cue, cue) and not parts_named(without, cue)
        rest = [p for p in with_cue.parts if p.name != cue]
        assert len(rest) == len(without.parts)
        for p, q in zip(rest, without.parts, strict=True):
            assert (p.name, p.side, p.material) == (q.name, q.side, q.material)
            assert np.array_equal(p.vertices, q.vertices)


def test_every_engine_keeps_its_budgets(engines):
    for spec, model in engines:
        # Those that only training draws have more about them.
        assert len(model.parts) < (72 if spec.family in MORE_FAMILIES else 60), spec
        assert sum(len(p.faces) for p in model.parts) < 150_000
        for p in model.parts:
            assert np.isfinite(p.vertices).all()
            assert p.vertices.dtype == np.float32 and p.faces.dtype == np.int32
            assert p.faces.min() >= 0 and p.faces.max() < len(p.vertices)
            assert p.material in model.materials
            if model.materials[p.material].texture is not None:
                assert p.uv is not None and p.uv.shape == (len(p.vertices), 2)


def test_truth_agrees_with_the_parts(engines):
    for spec, model in engines:
        for cue in CUES:
            assert (model.truth[cue] == "present") == bool(parts_named(model, cue))
        assert {p.side for p in parts_named(model, "cab_number")} == {"left", "right"}
        lamps = model.truth["tender_lamps"]
        assert bool(lamps) == bool(parts_named(model, "tender_lamp"))
        assert set(model.truth["false_friends"]) <= {p.name for p in model.parts}
        assert any(p.owner == "tender" for p in model.parts) == spec.has_tender


def test_wheels_follow_whyte_notation_and_count_the_treads(engines):
    # Whyte notation counts leading, driven and trailing wheels of both sides
    # (any railway handbook; from memory).
    for spec, model in engines:
        lead, driven, trail = (int(n) for n in str(model.truth["wheels"]).split("-"))
        assert (lead // 2, driven // 2, trail // 2) == spec.axles
        assert lead % 2 == driven % 2 == trail % 2 == 0
        assert count_axles(model, "wheel") == (lead + driven + trail) // 2
        if spec.has_tender:
            assert count_axles(model, "tender_wheel") == model.truth["tender_axles"]


def count_axles(model: Model, name: str) -> int:
    """Axles by their middles: the axle bars are the only vertices near y = 0."""
    v = np.concatenate([p.vertices for p in parts_named(model, name) if p.material == "frame"])
    ends = v[v[:, 1] > 0]
    mesh_size = len(v) // round(len(v) / _axle_vertices())
    return len(ends) * 2 // mesh_size


def _axle_vertices() -> int:
    return len(np.unique(rod(0.08, -0.7, 0.7, "y", 10).f))


def test_landmarks_bound_the_parts(engines):
    for spec, model in engines:
        marks = model.landmarks
        for owner, key in (("locomotive", "loco"), ("tender", "tender")):
            own = [p for p in model.parts if p.owner == owner]
            if own:
                low, high = bounds(own)
                assert np.all(marks[f"{key}_min"] <= low + 1e-5)
                assert np.all(marks[f"{key}_max"] >= high - 1e-5)
        assert ("tender_side_left_front_top" in marks) == spec.has_tender


def test_region_quads_hold_their_cues(engines):
    for _, model in engines:
        marks, length = model.landmarks, float(model.truth["length"])
        for side, sign in (("left", 1), ("right", -1)):
            for name, region in (("edge_stripe", "running_board"), ("cab_number", None)):
                for p in parts_named(model, name):
                    if p.side == side:
                        assert np.all(p.vertices[:, 1] * sign > 0)
                        if region:
                            inside(marks, f"{region}_{side}", p, slack=1e-4)
        for p in parts_named(model, "switch_lever"):
            x, z = p.vertices[:, 0], p.vertices[:, 2]
            front, rear = marks["boiler_top_left_front_top"], marks["boiler_top_left_rear_bottom"]
            assert rear[0] - 0.02 * length <= x.min() and x.max() <= front[0] + 0.02 * length
            assert z.max() <= front[2]


def inside(marks: dict, region: str, part: Part, slack: float) -> None:
    top, low = marks[f"{region}_front_top"], marks[f"{region}_rear_bottom"]
    x, z = part.vertices[:, 0], part.vertices[:, 2]
    assert low[0] - slack <= x.min() and x.max() <= top[0] + slack
    assert low[2] - slack <= z.min() and z.max() <= top[2] + slack


def test_stripe_and_lever_keep_their_sizes():
    for family in FAMILIES:
        for seed in range(3):
            s = spec_of(seed, family, switch_lever="present", edge_stripe="present")
            s = replace(s, stripe_gaps=0.0, board_profile="flat")
            model = build(s)
            length = float(model.truth["length"])
            low, high = bounds([p for p in parts_named(model, "edge_stripe") if p.side == "left"])
            z = high[2] - low[2]
            whole = float(np.ptp(model.landmarks["running_board_left_front_top"][[2]]))
            assert whole == 0.0 and 0.0039 * length < z
            assert high[0] - low[0] > 0.9 * length
            low, high = bounds(parts_named(model, "switch_lever"))
            assert 0.02 * length < high[2] - low[2] < 0.09 * length


def test_levers_are_often_drawn_beside_what_they_are_taken_for():
    """A top feed is 0.28 m long; a lever close to its pipes still leaves room for a finger."""
    rng = np.random.default_rng(8)
    plain = [s for n in range(160) if (s := spec_of(n, "mixed")).casing == "none"]

    def gaps(engines: list[LocomotiveSpec]) -> list[float]:
        fed = [(s, lay_out(s)) for s in engines if s.top_feed]
        return [abs(lever_place(s, at)[0] - between(s, at, FEED_AT)) - 0.14 for s, at in fed]

    aimed = [within_reach(beside_its_likes(rng, s)) for s in plain]
    before, after = (sum(gap < 0.6 for gap in gaps(engines)) for engines in (plain, aimed))
    assert after > 0.15 * len(plain) > 1.5 * before
    assert sum(s.lever_slot for s in aimed) > 0.6 * len(aimed)
    # Where the boiler is short nothing better can be had.
    assert np.mean(np.array(gaps(aimed)) > 0.2) > 0.9


def test_engines_trained_on_have_tenders_of_any_number_of_axles():
    for family in ("express", "american", "mixed"):
        specs = [spec_of(seed, family) for seed in range(200)]
        counts = [s.tender_axles for s in specs if s.has_tender]
        shares = [np.mean(np.array(counts) == n) for n in (2, 3, 4, 5, 6)]
        assert min(shares) > 0.03
    held = {spec_of(seed, "vintage").tender_axles for seed in range(60)}
    assert held <= {2, 3}


def test_engines_trained_on_have_any_number_of_driven_axles():
    for family in ("express", "narrow_gauge", "mixed"):
        driven = [spec_of(seed, family).axles[1] for seed in range(200)]
        assert min(np.mean(np.array(driven) == n) for n in range(1, 7)) > 0.03
    held = {spec_of(seed, "continental").axles[1] for seed in range(60)}
    assert held <= {3, 4, 5}


def test_a_lever_rises_as_high_as_its_spec_says():
    for style in ("straight", "bent", "knob", "blade", "tapered", *STYLES):
        for tilt in (-0.7, 0.0, 0.55):
            s = replace(spec_of(0, "tank"), lever_style=style, lever_tilt=tilt)
            rise = lever_mesh(s, 0.05, 0.3).v[:, 2].max()
            assert rise == pytest.approx(0.3, rel=0.03)


def test_what_only_training_draws_is_drawn_of_no_other_family():
    new = {
        "lever_style": set(STYLES),
        "dome_style": {*DOMES, *LONG_DOMES},
        "chimney": set(CHIMNEYS),
        "bell": set(BELL_HALF),
        "valves": set(VALVES),
        "whistle": set(WHISTLES),
        "cab": set(CAB_STYLES),
        "roof": set(ROOFS),
    }
    fixed = {"mountings": (), "lever_mount": "none", "boiler_form": "cone", "tank_slope": 0.0}
    for family in TRAIN_FAMILIES + HELD_FAMILIES:
        for s in (spec_of(seed, family) for seed in range(30)):
            assert not [name for name, styles in new.items() if getattr(s, name) in styles]
            assert {name: getattr(s, name) for name in fixed} == fixed
    specs = [spec_of(seed, family) for family in MORE_FAMILIES for seed in range(30)]
    for name, styles in new.items():
        assert styles <= {getattr(s, name) for s in specs}, name
    for name, value in fixed.items():
        assert {getattr(s, name) for s in specs} > {value}


def test_mountings_stand_clear_of_each_other_and_of_what_else_is_on_top():
    others = ("chimney", "dome", "sand_dome", "whistle", "bell", "safety_valve", "top_feed")
    count = 0
    for seed in range(24):
        s = within_reach(spec_of(seed, "mainline", mountings=("turret", "manhole", "heater")))
        model, lay = build(s), lay_out(s)
        scale = s.gauge / (2 * HALF_GAUGE)
        for kind, x in placed_mountings(s, lay):
            count += 1
            half = MOUNTING_HALF[kind]
            for p in (p for name in others for p in parts_named(model, name)):
                high = p.vertices[:, 2] > scale * (top_at(s, lay, x) + 0.02)
                gap = np.abs(p.vertices[high, 0] / scale - x) - half
                assert gap.min(initial=1.0) > 0.0, (kind, p.name, seed)
    assert count > 24


def test_stripe_stands_out_from_the_edge():
    # CIE76 difference (CIE 15); a just noticeable difference is about 2.3.
    poor = 0
    for family in FAMILIES:
        for seed in range(12):
            s = spec_of(seed, family)
            color = linear(STRIPES[s.stripe_color])
            edge = edge_paint(s.livery, s.paint_tint, s.edge_color)
            assert lightness_distance(color, edge) > 0.6 * CONTRAST
            poor += lightness_distance(color, edge) < CONTRAST
    assert poor <= 5


def test_cues_are_drawn_evenly_and_independently():
    states = np.array(
        [[getattr(spec_of(k, "freight"), c) == "present" for c in CUES] for k in range(200)]
    )
    # Four standard errors of a fair coin over 200 draws.
    assert np.all(np.abs(states.mean(0) - 0.5) < 4 * 0.5 / np.sqrt(200))
    assert np.all(np.abs(np.corrcoef(states.T)[np.triu_indices(3, 1)]) < 4 / np.sqrt(200))


def test_overrides_replace_fields_and_unknown_ones_are_refused():
    s = spec_of(3, "express", cab_number="322", tender_axles=6, tender_lamps=1)
    assert (s.cab_number, s.tender_axles, s.tender_lamps) == ("322", 6, 1)
    alone = build(spec_of(3, "express", has_tender=False))
    assert {p.owner for p in alone.parts} == {"locomotive"}
    assert alone.truth["tender_axles"] is None
    with pytest.raises(ValueError, match="unknown fields"):
        spec_of(3, "express", whistles=2)
    with pytest.raises(ValueError, match="family"):
        spec_of(3, "monorail")


def test_what_only_training_draws_at_the_wheels_stays_with_its_families():
    names = [k for k in MOTION if k != "outside_frame" and _constant(COMMON[k])]
    fixed = {k: draw(np.random.default_rng(0), COMMON[k]) for k in names}
    assert len(fixed) > 10
    for family in TRAIN_FAMILIES + HELD_FAMILIES:
        for seed in range(8):
            s = spec_of(seed, family)
            assert {k: getattr(s, k) for k in fixed} == fixed
            assert s.linkage_style not in GEARS
    drawn = {spec_of(n, family).linkage_style for family in MORE_FAMILIES for n in range(80)}
    assert set(GEARS) <= drawn


def _constant(rule: object) -> bool:
    return len(rule) == 1 if isinstance(rule, dict) else not isinstance(rule, tuple | float)


@pytest.mark.parametrize("cylinders", ["outside", "inside"])
@pytest.mark.parametrize("style", GEARS)
def test_every_linkage_reaches_from_its_pin_outside_the_rods(style: str, cylinders: str):
    for seed, family in enumerate(2 * MORE_FAMILIES):
        s = spec_of(seed, family, linkage_style=style, cylinders=cylinders)
        lay = lay_out(s)
        points = np.concatenate([m.v for m in linkage(s, lay, s.crank_phase)])
        assert np.isfinite(points).all()
        # Outside the coupling rods, above the rails, and long enough to be told from a pin.
        assert points[:, 1].max() > lay.rod_y + 0.05
        assert points[:, 2].min() > 0.0
        assert np.ptp(points[:, 0]) > 0.04 * lay.length
        assert lay.rear < points[:, 0].min() and points[:, 0].max() < lay.front + 0.3


@pytest.mark.parametrize(
    ("guide", "variation", "number", "states"),
    [
        ("wayfarer", "W1", "310", ("present", "absent", "absent")),
        ("wayfarer", "W3", "316", ("absent", "present", "present")),
        ("wayfarer", "W6", "322", ("present", "present", "present")),
        ("brindle", "M2", "7", ("present", "absent", "present")),
        ("brindle", "M4", "12", ("absent", "present", "absent")),
    ],
)
def test_demo_engines_show_their_variation(guide, variation, number, states):
    truth = build(demo_spec(guide, variation, np.random.default_rng(5))).truth
    assert truth["cab_number"] == number
    assert tuple(truth[c] for c in CUES) == states


def test_demo_tenders_can_be_swapped_and_the_casting_stays():
    for kind, axles, lamps in (("K", 4, 0), ("L", 6, 1), ("M", 6, 2)):
        truth = build(demo_spec("wayfarer", "W4", np.random.default_rng(1), tender=kind)).truth
        assert (truth["tender_axles"], truth["tender_lamps"]) == (axles, lamps)
    a, b = (demo_spec("wayfarer", "W4", np.random.default_rng(k)) for k in (1, 2))
    jitter = {"seed", "paint_tint", "wear", "dust", "gloss", "crank_phase", "lever_tilt"}
    assert {f.name for f in fields(a) if getattr(a, f.name) != getattr(b, f.name)} <= jitter
    with pytest.raises(ValueError, match="tender"):
        demo_spec("brindle", "M1", np.random.default_rng(1), tender="K")


def test_demo_gauges_are_those_of_the_standards():
    # NEM 010: gauge 0 is 32 mm, gauge 1 (I) is 45 mm.
    assert demo_spec("wayfarer", "W1", np.random.default_rng(0)).gauge == 0.032
    assert demo_spec("brindle", "M1", np.random.default_rng(0)).gauge == 0.045


@pytest.mark.parametrize("maker", [wagon, coach, diesel, railcar])
def test_other_stock_stands_on_the_rails(maker):
    model = maker(np.random.default_rng(4))
    low, _ = bounds(list(model.parts))
    gauge = float(model.truth["gauge"])
    assert {p.owner for p in model.parts} == {"wagon"}
    assert -0.04 * gauge < low[2] < 0.1 * gauge


def test_rails_lie_at_the_gauge_with_their_top_at_zero():
    for kind in ("ballast", "sleepers", "tinplate"):
        model = track(np.random.default_rng(2), 0.5, gauge=0.045, kind=kind)
        rail = parts_named(model, "rail")[0].vertices
        assert rail[:, 2].max() == pytest.approx(0.0, abs=1e-6)
        crown = rail[(rail[:, 2] > -1e-6) & (rail[:, 1] > 0.005)]
        # NEM 010 measures the gauge between the rails' inner faces.
        assert 2 * crown[:, 1].min() == pytest.approx(0.045, rel=0.03)
        assert {p.owner for p in model.parts} == {"track"}
