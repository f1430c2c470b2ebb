"""Put an engine together: parts, materials, landmarks, truth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tools.locomotive.boiler import add_boiler, top_at
from tools.locomotive.cab import add_cab, add_number
from tools.locomotive.fittings import add_pipes
from tools.locomotive.frame import add_boards, add_details, add_frames, add_splashers
from tools.locomotive.kit import Kit
from tools.locomotive.lamps import add_lamps_and_rails
from tools.locomotive.layout import HALF_GAUGE, Layout, lay_out
from tools.locomotive.lever import add_lever, lever_place
from tools.locomotive.lining import add_lining
from tools.locomotive.linkage import add_linkage
from tools.locomotive.materials import materials_of
from tools.locomotive.rods import add_rods
from tools.locomotive.slender import add_small_fittings
from tools.locomotive.spec import LocomotiveSpec
from tools.locomotive.tanks import add_tanks
from tools.locomotive.tender import add_tender, tender_axles_x
from tools.locomotive.topside import add_chimney, add_domes
from tools.locomotive.undergear import add_undergear
from tools.locomotive.wheels import add_wheels
from tools.parts import Model

CORNERS = ("front_top", "rear_top", "rear_bottom", "front_bottom")


def build(spec: LocomotiveSpec) -> Model:
    """Build an engine, with its tender if it has one.

    Returns
    -------
    Model
        At most 60 parts, metres of the model; rail top is z = 0, the engine's
        middle (without tender) x = 0. `landmarks` has the corners of the region quads
        (`boiler_top`, `side_rods`, `running_board`, `cab_side` and, with a tender,
        `tender_side`) as "{region}_{side}_{corner}" and of `tender_rear`, whose sides
        both name the same quad: "front_*" is its left edge as seen from behind
        (y > 0) and "rear_*" its right edge. `loco_min`, `loco_max`, `tender_min`,
        `tender_max` bound them; `switch_lever` is the middle of the lever, or of the air
        where it would stand. `truth` is described in `truth_of`.
    """
    lay = lay_out(spec)
    kit = Kit()
    add_frames(kit, spec, lay)
    add_wheels(kit, spec, lay)
    add_rods(kit, spec, lay)
    if spec.side_linkage == "present":
        add_linkage(kit, spec, lay)
    add_boards(kit, spec, lay)
    if spec.splashers:
        add_splashers(kit, spec, lay)
    add_details(kit, spec, lay)
    add_undergear(kit, spec, lay)
    add_boiler(kit, spec, lay)
    add_tanks(kit, spec, lay)
    add_chimney(kit, spec, lay)
    add_domes(kit, spec, lay)
    add_small_fittings(kit, spec, lay)
    add_lamps_and_rails(kit, spec, lay)
    add_pipes(kit, spec, lay)
    add_cab(kit, spec, lay)
    add_lining(kit, spec, lay)
    number_h = add_number(kit, spec, lay)
    add_lever(kit, spec, lay)
    if spec.has_tender:
        add_tender(kit, spec, lay)
    scale = spec.gauge / (2 * HALF_GAUGE)
    materials = materials_of(spec, {key[3] for key in kit.bins})
    parts = kit.parts(scale, materials)
    used = {p.material for p in parts}
    marks = landmarks_of(kit, spec, lay)
    return Model(
        parts,
        {k: m for k, m in materials.items() if k in used},
        {k: scale * p for k, p in marks.items()},
        truth_of(spec, lay, scale=scale, number_h=number_h, names={p.name for p in parts}),
    )


def _quad(
    x: tuple[float, float], y: float, z: tuple[float, float]
) -> dict[str, NDArray[np.float64]]:
    """Corners of an upright quad in the plane y; x is (front, rear), z (top, bottom)."""
    spots = [(x[0], z[0]), (x[1], z[0]), (x[1], z[1]), (x[0], z[1])]
    return {c: np.array([a, y, b]) for c, (a, b) in zip(CORNERS, spots, strict=True)}


def landmarks_of(kit: Kit, s: LocomotiveSpec, lay: Layout) -> dict[str, NDArray[np.float64]]:
    """Corners of the region quads and the bounds, before scaling."""
    length = lay.length
    xs = np.linspace(lay.cab_front, lay.smoke_front, 40)
    top = max(top_at(s, lay, float(x)) for x in xs)
    rods_front = lay.drivers[0] + lay.wheel_d / 2
    if s.cylinders == "outside":
        rods_front = max(rods_front, lay.cylinder_x + lay.cylinder_len / 2)
    rods = [m for k, ms in kit.bins.items() if k[0] == "rods" for m in ms]
    rod_y = max(float(np.abs(m.v[:, 1]).max()) for m in rods)
    board = lay.board
    margin = 0.02 * length
    edge_top, edge_low = float(board[:, 1].max()), float(board[:, 1].min()) - lay.edge_h
    out: dict[str, NDArray[np.float64]] = {}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        quads = {
            "boiler_top": _quad(
                (lay.smoke_front, lay.cab_front), 0.0, (top + 0.12 * length, top - 0.05 * length)
            ),
            "side_rods": _quad(
                (rods_front, lay.drivers[-1] - lay.wheel_d / 2), sign * rod_y, (lay.board_z, 0.0)
            ),
            "running_board": _quad(
                (float(board[-1, 0]), float(board[0, 0])),
                sign * lay.board_y,
                (max(edge_top, edge_low + 0.04 * length) + margin, edge_low - margin),
            ),
            "cab_side": _quad(
                (lay.cab_front, lay.cab_rear), sign * lay.cab_y, (lay.roof_z, lay.board_z)
            ),
        }
        if s.has_tender:
            quads |= _tender_quads(kit, s, lay, sign)
        out |= {f"{region}_{side}_{c}": p for region, q in quads.items() for c, p in q.items()}
    out["switch_lever"] = lever_place(s, lay) + [0.0, 0.0, 0.5 * s.lever_h * length]
    for owner, name in (("locomotive", "loco"), ("tender", "tender")):
        if owner == "locomotive" or s.has_tender:
            out[f"{name}_min"], out[f"{name}_max"] = kit.bounds(owner)
    return out


def _tender_quads(
    kit: Kit, s: LocomotiveSpec, lay: Layout, sign: float
) -> dict[str, dict[str, NDArray[np.float64]]]:
    _, _, front, rear = tender_axles_x(s, lay)
    top = float(kit.bounds("tender")[1][2])
    y = lay.cab_y
    spots = [(y, top), (-y, top), (-y, 0.0), (y, 0.0)]
    back = {c: np.array([rear - 0.05, a, b]) for c, (a, b) in zip(CORNERS, spots, strict=True)}
    return {"tender_side": _quad((front, rear), sign * y, (top, 0.0)), "tender_rear": back}


def truth_of(
    s: LocomotiveSpec, lay: Layout, *, scale: float, number_h: float, names: set[str]
) -> dict[str, object]:
    """What a label may need; lengths in metres of the model.

    `wheels` is plain Whyte notation without a tank suffix; `false_friends` names the
    parts that may be mistaken for a cue.
    """
    friends = {
        "chimney",
        "dome",
        "sand_dome",
        "whistle",
        "bell",
        "safety_valve",
        "knobs",
        "top_feed",
        "mounting",
        "generator",
        "number_board",
        "lever_stub",
        "lever_slot",
        "headlamp",
        "brakes",
        "steps",
        "pipes",
        "handrail",
        "band",
        "lining",
        "tender_lining",
    }
    lead, driven, trail = s.axles
    return {
        "family": s.family,
        "length": scale * lay.length,
        "gauge": s.gauge,
        "switch_lever": s.switch_lever,
        "side_linkage": s.side_linkage,
        "edge_stripe": s.edge_stripe,
        "stripe_color": s.stripe_color if s.edge_stripe == "present" else None,
        "cab_number": s.cab_number,
        "number_height": scale * number_h,
        "has_tender": s.has_tender,
        "tender_axles": s.tender_axles if s.has_tender else None,
        "tender_lamps": s.tender_lamps if s.has_tender else None,
        "wheels": f"{2 * lead}-{2 * driven}-{2 * trail}",
        "cylinders": s.cylinders,
        "body_color": s.livery,
        "false_friends": sorted(friends & names),
    }
