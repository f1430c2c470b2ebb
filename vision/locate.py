"""From a photo to the locomotive, its tender and its three regions, or why not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features import measure_paper
from vision.network import Networks
from vision.records import Box, Heading, NotFound, Photo, Point, Region, Sighting
from vision.rectify import Crop, box_crop, sharpened, stepped_back, whole

REGIONS = ("boiler_top", "side_rods", "running_board")
HEADINGS = (Heading.LEFT, Heading.RIGHT, Heading.TOWARD, Heading.AWAY)

# Share of the engine's box added on every side for the second look, as in training.
_PADDING = 0.15
# A box narrower than this (pixels of the full-size photo) shows no part of an engine.
_MIN_WIDTH_PX = 40.0
# Score below which the finder looks again: from nearer, at so many widths of what it may
# have seen, but no fewer than such a share of the picture's; then sharpened, and from so
# much further away. Of 278 renders, half of them of castings it never saw, it then found
# 98 instead of 95 %, and of the same spoilt at severity 3 82 instead of 59 % out of focus
# and 74 instead of 59 % in motion.
_SURE = 0.7
_NEAR, _NEAR_LEAST = 2.0, 0.3
_BACK = 1.4
_STRIDE = 8  # input pixels per cell of the finder's map
# Cells round the peak whose boxes are averaged, weighted by their score; by eye this
# steadies the box by a few pixels against single-cell noise.
_PEAK_RADIUS = 1
# Of a box's longer side, from which on a tender is another engine's. On 5,104 renders whose
# tender was boxed rightly it lay at most a fortieth away; in a photo it may be uncoupled.
_APART = 0.5
_EDGE = 0.01  # of a box's longer side, by which it may miss the edge that it reaches
# A drawing has so much plain paper on its engine, so little that is no line, and no colours.
# Of 300 renders that look like photos, and of 1,000 whose engines were cut out and set on
# white, in grey or not, none does, and what is solid was 0.6 at least where paper was as much;
# of 450 turned into lines or pencil strokes 422 do.
_PAPER_SHARE, _MOST_SOLID, _COLOURLESS = 0.45, 0.35, 30.0
_PAPER_SIZE = (240, 120)  # width and height at which that is measured, pixels
# Of a second engine. The finder has learnt to pass over all but one engine of a picture: the
# others leave faint peaks, no higher than those of wagons. The surest peak of so much that is
# clear of the dated engine is looked at from nearer; an engine is seen there as surely as any.
# Of 1,619 drawn pictures without a second engine in sight none was said to have one, and of 36
# with one that stands clear 13 were.
_FAINT = 0.05
_PLAIN, _ENGINE = 0.6, 0.9  # least score from nearer, of the finder and of the poser
_LIKE = 0.3  # least overlap of what is seen from nearer with what was seen from afar
_COVER = 0.25  # share of the smaller of two boxes up to which they are clear of each other
# What is coupled to the dated engine is no engine of its own to a glance: it lies on the line
# of that engine, to within the first share of its box's height, and no further from the box or
# the tender's than the second. By eye on drawn pictures of two engines.
_IN_LINE, _COUPLING = 0.35, 0.3
_NEIGHBOURS = np.ones((5, 5), np.uint8)  # cells within which only the highest is a peak


@dataclass(frozen=True, slots=True)
class Glimpse:
    """What the finder sees in the whole photo: boxes with scores, before the second look.

    `hints` are the boxes of all its peaks from faint ones up, the surest first, as it saw
    them at the first look.
    """

    locomotive: Box
    score: float
    tender: Box
    tender_score: float
    hints: tuple[Box, ...] = ()


def locate(photo: Photo, networks: Networks) -> Sighting | NotFound:
    """Find the engine in a photo and the regions that date it.

    Parameters
    ----------
    photo : Photo
    networks : Networks
        "finder" and "poser" are used, and the thresholds in their fitted coefficients.

    Returns
    -------
    Sighting | NotFound
        Boxes and regions in pixels of the upright full-size photo.
    """
    limits = networks.fusion["locate"]
    glimpse = find(photo, networks)
    if glimpse.score < float(limits["finder"]):
        return NotFound("no steam locomotive was recognised in the picture", glimpse.score)
    if glimpse.locomotive.width < _MIN_WIDTH_PX:
        return NotFound(
            f"the engine is only {glimpse.locomotive.width:.0f} pixels wide; move closer",
            glimpse.score,
        )
    sighting = pose(photo, glimpse, networks)
    if sighting.score < float(limits["engine"]):
        return NotFound(
            "something like a rail vehicle is cut off by the edge of the picture; too little of "
            "it is there to tell a steam locomotive"
            if _at_the_edge(sighting.locomotive, photo.size)
            else "something like a rail vehicle is there, but not clearly a steam locomotive",
            sighting.score,
        )
    if _drawn(photo, sighting.locomotive):
        return NotFound(
            "what looks like an engine is drawn in lines on plain paper; "
            "only photos show how one was made",
            sighting.score,
        )
    another = _another(photo, sighting, glimpse, networks)
    return with_own_tender(replace(sighting, another=another))


def _at_the_edge(box: Box, size: tuple[int, int]) -> bool:
    """Whether a box reaches the edge of a picture, to within what boxes err by."""
    margin = _EDGE * max(box.width, box.height)
    room = (box.left, box.top, size[0] - box.right, size[1] - box.bottom)
    return min(room) <= margin


def _drawn(photo: Photo, box: Box) -> bool:
    """Whether what the box of an engine shows is a drawing."""
    paper, solid, spread = measure_paper(box_crop(photo, box, _PAPER_SIZE).pixels)
    lines = paper.value >= _PAPER_SHARE and solid.value <= _MOST_SOLID
    return lines and spread.value < _COLOURLESS


def find(photo: Photo, networks: Networks) -> Glimpse:
    """The most likely engine and tender in the whole photo.

    An unsure finder looks again, and the surest look counts: first nearer at what it may
    have seen, since small engines are lost in the whole photo; then at all of it sharpened,
    which may be out of focus, and from further back, since an engine that fills the frame
    is larger than most it has learnt from, and blur is less of a small picture.
    """
    view = whole(photo, networks["finder"].size)
    looks = [_find_in(view, photo, networks)]
    if looks[0].score < _SURE:
        near = _nearer(photo, looks[0].locomotive, networks["finder"].size)
        looks.append(_find_in(near, photo, networks))
    if max(look.score for look in looks) < _SURE:
        again = (sharpened(view), stepped_back(view, _BACK))
        looks += [_find_in(other, photo, networks) for other in again]
    best = max(looks, key=lambda look: look.score)
    # From nearer the tender may lie beyond the edge: the look that shows it best counts.
    tender = max(looks, key=lambda look: look.tender_score)
    return replace(
        best, tender=tender.tender, tender_score=tender.tender_score, hints=looks[0].hints
    )


def _nearer(photo: Photo, seen: Box, size: tuple[int, int]) -> Crop:
    """What lies round a box, as a picture of `size` (width, height)."""
    width, height = size
    x, y = seen.centre
    across = max(_NEAR * seen.width, _NEAR_LEAST * photo.size[0]) / 2
    down = across * height / width
    return box_crop(photo, Box(x - across, y - down, x + across, y + down), (width, height))


def _find_in(view: Crop, photo: Photo, networks: Networks) -> Glimpse:
    maps = networks["finder"].run(view.pixels)["maps"]
    locomotive, score = _peak(maps[0], maps[2:6], view)
    tender, tender_score = _peak(maps[1], maps[6:10], view)
    width, height = photo.size
    return Glimpse(
        locomotive.clipped(width, height),
        score,
        tender.clipped(width, height),
        tender_score,
        tuple(box.clipped(width, height) for box in _peaks(maps[0], maps[2:6], view)),
    )


def _peaks(scores: NDArray[np.float32], sides: NDArray[np.float32], view: Crop) -> list[Box]:
    """Boxes of all peaks, the highest first."""
    highest = cv2.dilate(scores, _NEIGHBOURS)
    cells = np.argwhere((scores >= highest) & (scores >= _FAINT)).tolist()
    cells.sort(key=lambda cell: -float(scores[cell[0], cell[1]]))
    return [_box_at(row, col, scores, sides, view) for row, col in cells]


def _peak(scores: NDArray[np.float32], sides: NDArray[np.float32], view: Crop) -> tuple[Box, float]:
    row, col = (int(i) for i in np.unravel_index(int(np.argmax(scores)), scores.shape))
    return _box_at(row, col, scores, sides, view), float(scores[row, col])


def _box_at(
    row: int, col: int, scores: NDArray[np.float32], sides: NDArray[np.float32], view: Crop
) -> Box:
    """The box of a cell and its neighbours, weighted by their scores."""
    height, width = scores.shape
    down = np.arange(max(0, row - _PEAK_RADIUS), min(height, row + _PEAK_RADIUS + 1))
    across = np.arange(max(0, col - _PEAK_RADIUS), min(width, col + _PEAK_RADIUS + 1))
    rows, cols = slice(down[0], down[-1] + 1), slice(across[0], across[-1] + 1)
    weight = scores[rows, cols].astype(np.float64)
    weight = weight / weight.sum()
    x, y = (across + 0.5) * _STRIDE, (down[:, None] + 0.5) * _STRIDE
    left, top, right, bottom = sides[:, rows, cols] * view.pixels.shape[1]
    edges = [float((weight * e).sum()) for e in (x - left, y - top, x + right, y + bottom)]
    box = Box(edges[0], edges[1], max(edges[0], edges[2]), max(edges[1], edges[3]))
    return view.photo_box(box)


def pose(photo: Photo, glimpse: Glimpse, networks: Networks) -> Sighting:
    """Look again, closer: corners of the regions, heading, a tighter box."""
    network = networks["poser"]
    limits = networks.fusion["locate"]
    crop, out = _posed(photo, glimpse.locomotive, networks)
    width, height = network.size
    corners = crop.photo_points([(x * width, y * height) for x, y in out["corners"].tolist()])
    regions = {name: _region(corners[4 * i : 4 * i + 4]) for i, name in enumerate(REGIONS)}
    left, top, right, bottom = (float(v) for v in out["box"])
    tight = crop.photo_box(
        Box(left * width, top * height, max(left, right) * width, max(top, bottom) * height)
    )
    # Two looks of the same engine err apart; their mean errs less than either.
    box = _mean(tight, glimpse.locomotive).clipped(*photo.size)
    sure = glimpse.tender_score >= float(limits["tender"])
    tender = glimpse.tender if sure and is_coupled(glimpse.tender, box) else None
    return Sighting(
        locomotive=box,
        tender=tender,
        faces=HEADINGS[int(np.argmax(out["heading"]))],
        regions=regions,
        visible={name: float(p) for name, p in zip(REGIONS, out["sight"], strict=True)},
        score=float(np.sqrt(glimpse.score * float(out["engine"][0]))),
        tender_score=None if tender is None else glimpse.tender_score,
    )


def _posed(
    photo: Photo, box: Box, networks: Networks
) -> tuple[Crop, dict[str, NDArray[np.float32]]]:
    crop = box_crop(photo, box.padded(_PADDING), networks["poser"].size)
    return crop, networks["poser"].run(crop.pixels)


def is_coupled(tender: Box, locomotive: Box) -> bool:
    """Whether a tender stands close enough to an engine to be its own, not another's.

    Parameters
    ----------
    tender, locomotive : Box
        In pixels of the same picture.
    """
    return max(tender.gaps_to(locomotive)) <= _APART * max(locomotive.width, locomotive.height)


def with_own_tender(sighting: Sighting) -> Sighting:
    """The sighting without its tender where that stands closer to another engine."""
    tender, another = sighting.tender, sighting.another
    if tender is None or another is None:
        return sighting
    strange = max(tender.gaps_to(another)) < max(tender.gaps_to(sighting.locomotive))
    return replace(sighting, tender=None) if strange else sighting


def _another(photo: Photo, sighting: Sighting, glimpse: Glimpse, networks: Networks) -> Box | None:
    """Another engine, clear of the one that is dated; None where none is surely seen."""
    own = [sighting.locomotive, *([] if sighting.tender is None else [sighting.tender])]

    def clear(box: Box) -> bool:
        apart = all(_cover(box, part) <= _COVER for part in own)
        return apart and box.width >= _MIN_WIDTH_PX and box.height > 0

    hint = next(filter(clear, glimpse.hints), None)
    if hint is None:
        return None
    near = _find_in(_nearer(photo, hint, networks["finder"].size), photo, networks)
    box = near.locomotive
    if near.score < _PLAIN or box.intersection_over_union(hint) < _LIKE:
        return None
    if not clear(box) or _coupled(box, sighting, own):
        return None
    engine = float(_posed(photo, box, networks)[1]["engine"][0])
    return box if engine >= _ENGINE else None


def _cover(one: Box, two: Box) -> float:
    """Area that two boxes share over the area of the smaller."""
    smaller = min(one.area, two.area)
    return one.shared_with(two) / smaller if smaller else 0.0


def _coupled(box: Box, sighting: Sighting, own: list[Box]) -> bool:
    """Whether a box goes on where the dated engine or its tender ends, on the same line."""
    corners = np.array(list(sighting.regions.values()))
    front, rear = corners[:, [0, 3]].mean((0, 1)), corners[:, [1, 2]].mean((0, 1))
    along, offset = rear - front, np.array(box.centre) - front
    aside = abs(along[0] * offset[1] - along[1] * offset[0]) / max(float(np.hypot(*along)), 1e-6)
    gap = min(max(box.gaps_to(part)) for part in own)
    height = sighting.locomotive.height
    return bool(aside < _IN_LINE * height and gap < _COUPLING * height)


def _region(points: tuple[Point, ...]) -> Region:
    front_top, rear_top, rear_bottom, front_bottom = points
    return front_top, rear_top, rear_bottom, front_bottom


def _mean(one: Box, two: Box) -> Box:
    pairs = zip(one.as_tuple(), two.as_tuple(), strict=True)
    return Box(*((a + b) / 2.0 for a, b in pairs))
