"""What a picture of a known scene shows: boxes, regions, visibility and cue states.

Everything here is geometry and ray casts against the very scene that was rendered;
nothing is read back from the picture.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.parts import Model, Part
from tools.render.projection import project, share_along
from tools.render.view import View, box_of, clip_box
from vision.cues.evidence import ENOUGH_PX

CORNERS = ("front_top", "rear_top", "rear_bottom", "front_bottom")
REGIONS = ("boiler_top", "side_rods", "running_board")
CUE_REGION = {
    "switch_lever": "boiler_top",
    "side_linkage": "side_rods",
    "edge_stripe": "running_board",
}
# Rows of the region, as shares of its height, whose sight lines decide whether it can be
# seen: above the boiler's line (its lower part lies inside the boiler), the rods' band,
# and the edge itself.
_BANDS = {"boiler_top": (0.42, 0.66), "side_rods": (0.15, 0.85), "running_board": (0.40, 0.60)}
# A sight line ends at a region's plane; what lies less than this share of the engine's
# length before it does not hide it. Domes and chimneys stand across the boiler top's plane.
_TOLERANCE = {"boiler_top": 0.06, "side_rods": 0.012, "running_board": 0.012}
_MIN_SHARE = 0.6  # of the region in sight for a cue to count as visible; chosen
LETTERS = "tender_letters"  # parts of a tender's lettering
END_ON_DEG = 30.0  # between the sight line and the engine's axis, up to which it is end-on
BORDER_DEG = 5.0  # from there, within which no picture says which of both it is; chosen
_MIN_FACING = 0.17  # sine of 10 degrees between the sight line and a side's plane
# Fewest pixels of a present part (of a lamp each), and the smallest share of its surface
# points in sight. A lever's is where a reader of pictures of 78 levers, who did not know the
# truth, began to find most of them: of those with fewer pixels that stood out 2 in 14, of
# those with 15 to 25 of them 5 in 9, with 80 all. The others are chosen.
MIN_PART_PX = {"switch_lever": 15, "side_linkage": 25, "edge_stripe": 20, "tender_lamp": 5}
_MIN_PART_SHARE = {"switch_lever": 0.22, "side_linkage": 0.18, "edge_stripe": 0.12}
# A figure's width: an optotype is five strokes wide (ISO 8596, from memory), and a stroke that
# is narrower than a pixel is not resolved.
_MIN_FIGURE_PX = 5.0
_LEVER_RISE = 0.01  # above and below its middle, in engine lengths: within every lever drawn
# Share of a tender in sight and its width, px, from which on its axles can be counted; chosen.
AXLES_SHARE, AXLES_PX = 0.8, 50
_MIN_REAR_FACING = 0.3  # sine of 17 degrees between the sight line and the tender's rear
_MIN_REAR_PX = 40  # height of the rear, of which a lamp is about a tenth; chosen


def label(view: View, model: Model, *, room_truth: Mapping[str, Any]) -> dict[str, Any]:
    """The label of one picture of an engine: see DEVELOPERS.md for the fields."""
    length = float(np.asarray(model.truth["length"]))
    near = _near_side(view, model)
    record: dict[str, Any] = {"size": list(view.size), "side": near}
    for owner in ("locomotive", "tender"):
        record[owner], record[f"{owner}_share"] = _extent(view, model, owner)
    along = _along(view, model)
    record["faces"], record["faces_also"] = _faces(view, model, along)
    record["off_axis_deg"] = round(np.degrees(np.arccos(min(1.0, abs(along)))), 1)
    record["whole"] = record["locomotive_share"] >= 0.85
    record["regions"], record["visible"] = {}, {}
    for region in REGIONS:
        quad = quad_of(model, region, near)
        record["regions"][region] = np.round(view.project(quad), 1).tolist()
        record["visible"][region] = round(_share_visible(view, quad, region, length), 3)
    record["cues"] = {cue: _cue(view, model, cue, side=near, record=record) for cue in CUE_REGION}
    record["cues"]["switch_lever"]["along"] = _lever_along(view, model, record)
    record["cab_number"] = model.truth.get("cab_number")
    record["cab_number_px"], record["cab_number_visible"] = _number(view, model, near)
    record["tender_axles"] = model.truth.get("tender_axles") if record["tender"] else None
    record["tender_lamps"] = model.truth.get("tender_lamps") if record["tender"] else None
    record["axles_visible"], record["lamps_visible"] = _tender_sight(view, model, record, near)
    record["tender_lettering"], record["tender_letters_px"] = _lettering(view, model, record)
    record["tender_faces"] = _tender_faces(view, model, near) if record["tender"] else {}
    for key in ("family", "wheels"):
        record[key] = model.truth.get(key)
    record["occluder"] = bool(room_truth.get("occluders", False))
    return record


def _lettering(view: View, model: Model, record: Mapping[str, Any]) -> tuple[bool | None, int]:
    """Whether the tender is lettered, None without one, and how many pixels show its letters."""
    if record["tender"] is None:
        return None, 0
    letters = [part.owner == "tender" and part.name == LETTERS for part in view.stage.parts]
    there = any(part.name == LETTERS for part in model.parts)
    return there, int(view.pixels_of(np.array(letters, dtype=bool)).sum())


def quad_of(model: Model, region: str, side: str) -> NDArray[np.float64]:
    """Corners of a region on one side, in the order of `CORNERS`, shape (4, 3)."""
    return np.stack([model.landmarks[f"{region}_{side}_{corner}"] for corner in CORNERS])


def _near_side(view: View, model: Model) -> str:
    left = quad_of(model, "side_rods", "left").mean(axis=0)
    right = quad_of(model, "side_rods", "right").mean(axis=0)
    nearer_left = np.linalg.norm(left - view.origin) < np.linalg.norm(right - view.origin)
    return "left" if nearer_left else "right"


def _axes(model: Model) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Forward and sideways (to the engine's left) unit vectors of the placed engine."""
    quad = quad_of(model, "side_rods", "left")
    forward = quad[0] - quad[1]
    sideways = quad.mean(axis=0) - quad_of(model, "side_rods", "right").mean(axis=0)
    return forward / np.linalg.norm(forward), sideways / np.linalg.norm(sideways)


def _along(view: View, model: Model) -> float:
    """Cosine between the sight line, laid flat, and the way the engine points."""
    forward, _ = _axes(model)
    sight = quad_of(model, "boiler_top", "left").mean(axis=0) - view.origin
    sight[2] = 0.0
    return float(forward @ sight / np.linalg.norm(sight))


def _faces(view: View, model: Model, along: float) -> tuple[str, str | None]:
    """Heading by where the chimney end points; end-on when within `END_ON_DEG` of the axis.

    The second one is what it might be called as well, `BORDER_DEG` and less from that border.
    """
    off_axis = np.degrees(np.arccos(min(1.0, abs(along))))
    quad = view.project(quad_of(model, "boiler_top", "left"))
    both = ("away" if along > 0 else "toward", "left" if quad[0, 0] < quad[1, 0] else "right")
    faces, other = both if off_axis < END_ON_DEG else both[::-1]
    return faces, other if abs(off_axis - END_ON_DEG) <= BORDER_DEG else None


def _extent(view: View, model: Model, owner: str) -> tuple[list[float] | None, float]:
    """Clipped box of the owner's parts and the share of its surface points not hidden by others."""
    parts = [p for p in model.parts if p.owner == owner]
    if not parts:
        return None, 0.0
    points = np.concatenate([p.vertices for p in parts]).astype(float)
    _, depth = project(points, view.pose, view.fov, view.size)
    ahead = points[depth > 0.01]
    if len(ahead) < 10:
        return None, 0.0
    box = clip_box(box_of(view.project(ahead)), view.size)
    if box is None:
        return None, 0.0
    # Sight lines to a thin sample of the surface; the object's own far side counts as seen.
    sample = points[:: max(1, len(points) // 400)]
    offsets = sample - view.origin
    distance = np.linalg.norm(offsets, axis=1)
    part, reach = view.stage.cast(
        np.broadcast_to(view.origin, offsets.shape), offsets / distance[:, None]
    )
    own = np.array([p.owner in ("locomotive", "tender") for p in view.stage.parts] + [False])
    pixels, depth = project(sample, view.pose, view.fov, view.size)
    inside = (depth > 0) & np.all((pixels >= 0) & (pixels < view.size), axis=1)
    open_ = inside & (own[part] | (reach > distance - 1e-3))
    return box, round(float(open_.mean()), 3)


def _share_visible(view: View, quad: NDArray[np.float64], region: str, length: float) -> float:
    if facing(view.origin, quad) < _MIN_FACING:
        return 0.0
    top, bottom = _BANDS[region]
    across = np.linspace(0.03, 0.97, 24)
    down = np.linspace(top, bottom, 5)
    u, v = (axis.ravel()[:, None] for axis in np.meshgrid(across, down))
    points = (
        quad[0] * (1 - u) * (1 - v)
        + quad[1] * u * (1 - v)
        + quad[2] * u * v
        + quad[3] * (1 - u) * v
    )
    return float(view.in_sight(points, _TOLERANCE[region] * length).mean())


def facing(origin: NDArray[np.float64], quad: NDArray[np.float64]) -> float:
    """Sine of the angle between the sight line to a region and its plane."""
    normal = np.cross(quad[1] - quad[0], quad[3] - quad[0])
    sight = quad.mean(axis=0) - origin
    return abs(float(normal @ sight)) / float(np.linalg.norm(normal) * np.linalg.norm(sight))


def _cue(
    view: View, model: Model, cue: str, *, side: str, record: dict[str, Any]
) -> dict[str, Any]:
    """State, visibility, pixels and place of one cue on the near side."""
    region = CUE_REGION[cue]
    quad = np.asarray(record["regions"][region])
    length_px = float(np.linalg.norm(quad[0] - quad[1]))
    visible = record["visible"][region] >= _MIN_SHARE and length_px >= ENOUGH_PX[region]
    state = str(model.truth[cue])
    chosen = np.array([_belongs(p, cue, side) for p in view.stage.parts])
    mask = view.pixels_of(chosen)
    count = int(mask.sum())
    where, share = None, None
    if state == "present":
        points = np.concatenate([p.vertices for p in model.parts if _belongs(p, cue, side)]).astype(
            float
        )
        sample = points[:: max(1, len(points) // 200)]
        seen = view.in_sight(sample, 0.002 * float(np.asarray(model.truth["length"])))
        share = float(seen.mean())
        enough = count >= MIN_PART_PX[cue] and share >= _MIN_PART_SHARE[cue]
        visible = visible and enough
        where = clip_box(box_of(view.project(points)), view.size)
    elif cue == "switch_lever":
        visible = visible and _empty_place_in_sight(view, model)
    return {
        "state": state,
        "visible": bool(visible),
        "pixels": count,
        "where": where,
        "length_px": round(length_px, 1),
        "share": share if share is None else round(share, 3),
    }


def _empty_place_in_sight(view: View, model: Model) -> bool:
    """Whether most of the air is in sight in which the lever would stand."""
    length = float(np.asarray(model.truth["length"]))
    heights = _LEVER_RISE * length * np.linspace(-1.0, 1.0, 9)[:, None]
    points = model.landmarks["switch_lever"] + heights * [0.0, 0.0, 1.0]
    return float(view.in_sight(points, 0.002 * length).mean()) > 0.5


def _lever_along(view: View, model: Model, record: dict[str, Any]) -> float:
    """How far along the boiler top the lever stands, or would: 0 smokebox front, 1 cab front."""
    x, y = view.project(model.landmarks["switch_lever"][None])[0]
    return round(share_along(record["regions"][CUE_REGION["switch_lever"]], (x, y)), 4)


def _tender_sight(view: View, model: Model, record: dict[str, Any], side: str) -> tuple[bool, bool]:
    """Whether the tender's axles can be counted, and its rear lamps, in this view."""
    box = record["tender"]
    if box is None or record["tender_share"] < AXLES_SHARE or box[2] - box[0] < AXLES_PX:
        return False, False
    flank = quad_of(model, "tender_side", side)
    axles = facing(view.origin, flank) > 0.3
    rear = quad_of(model, "tender_rear", side)
    forward, _ = _axes(model)
    sight = rear.mean(axis=0) - view.origin
    # From the side one lamp hides the other: the rear must be turned towards the camera, and
    # not so small that a lamp is a speck.
    turned = float(forward @ sight) / float(np.linalg.norm(sight)) > _MIN_REAR_FACING
    tall = float(np.ptp(view.project(rear)[:, 1])) >= _MIN_REAR_PX
    return bool(axles), bool(turned and tall)


def _tender_faces(view: View, model: Model, side: str) -> dict[str, list[list[float]]]:
    """The tender's side and rear as far as they are turned to the camera: corners in pixels.

    Clockwise from the top left as the picture has them.
    """
    faces = {}
    forward, _ = _axes(model)
    for name, region in (("side", "tender_side"), ("rear", "tender_rear")):
        quad = quad_of(model, region, side)
        corners, depth = project(quad, view.pose, view.fov, view.size)
        away = name == "rear" and float(forward @ (quad.mean(axis=0) - view.origin)) < 0
        if away or facing(view.origin, quad) < _MIN_FACING or depth.min() < 0.01:
            continue
        mirrored = corners[[0, 3], 0].sum() > corners[[1, 2], 0].sum()
        faces[name] = np.round(corners[[1, 0, 3, 2]] if mirrored else corners, 1).tolist()
    return faces


def _belongs(part: Part, cue: str, side: str) -> bool:
    return part.name == cue and part.owner == "locomotive" and part.side in (side, "both")


def _number(view: View, model: Model, side: str) -> tuple[float, bool]:
    """Height of the cab number in pixels, and whether all of it is in sight and legible."""
    parts = [p for p in model.parts if p.name == "cab_number" and p.side in (side, "both")]
    if not parts:
        return 0.0, False
    points = np.concatenate([p.vertices for p in parts]).astype(float)
    pixels = view.project(points)
    tall = float(np.ptp(pixels[:, 1]))
    length = float(np.asarray(model.truth["length"]))
    seen = view.in_sight(points[:: max(1, len(points) // 100)], 0.004 * length)
    square = facing(view.origin, quad_of(model, "cab_side", side))
    wide = float(np.ptp(pixels[:, 0])) / len(str(model.truth["cab_number"]))
    legible = square > 0.4 and wide >= _MIN_FIGURE_PX
    return round(tall, 1), bool(seen.mean() >= 0.9 and legible)
