"""The cab number: which places to read, and which reading to believe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from vision import number
from vision.cues.spelling import ILLEGIBLE, blend, spell
from vision.features.figures import propose_figures
from vision.photo import closer
from vision.records import Box, Cue, Photo, Point, Region, Sighting, State
from vision.rectify import Crop, box_crop, region_crop

NAME = "cab_number"
# Decoded pixels across the engine. Cab figures are some 2.5 % of its length high (measured
# on no set: common practice, no source), so that they are then 15 pixels high.
FIGURES_WIDTH_PX = 620.0
# Height of the straightened cab side; a cab side of fewer pixels shows no figure.
_CAB_HEIGHT = 192
_LEAST_CAB_PX = 20.0
# Shares of the running board's length and of the cab's height, by eye on renders.
_AHEAD, _BEHIND, _BELOW = 0.14, 0.08, 0.12
_CAB_FROM = (0.45, 0.78)
# Boards of engines seen square are about so many times as long as the boiler's back is
# high above them (median of 97 side views); shorter ones are foreshortened.
_LONG = 2.6
_MOST_STRETCH = 2.2
_PLACES = 5
# Ground round a place, shares of its height. The likeliest places are read twice, close and
# with more ground round them: what changes is doubtful.
_CLOSE, _WIDE = 0.2, 0.45
_LINE_WIDE = 0.25  # lines that were looked for come with some ground already
_FIRST = 2  # so many places are read before the others, and most often one is the number
_WORTH_ANOTHER_LOOK = 0.2
_CLEAR = 0.9  # a reading above needs no more places
_OTHER_SIDE = 352  # longest side of a crop of the engine or tender
# Least probabilities, chosen on 179 renders and 14 demo photos, so that figures measured on
# those flatter. One figure alone, or one
# beside an illegible character, is what window frames and steps look like too.
_SURE, _SURE_ALONE, _SURE_PARTLY, _SURE_ELSEWHERE, _SURE_MIRRORED = 0.5, 0.8, 0.8, 0.9, 0.8
_FAR_BETTER = 0.4  # by which a number in mirror image must beat the plain reading
_CEILING = 0.98  # no reading is believed more than this
# A post, a handrail or the cab's edge reads as this: of 43 that stood alone on renders 40 were.
_STROKE = "1"
_MIRROR_PROOF = frozenset("2345679")  # figures that are another shape in a mirror


@dataclass(frozen=True, slots=True)
class _Found:
    values: Mapping[str, float]
    box: Box  # in the crop
    crop: Crop

    @property
    def text(self) -> str:
        return next(iter(self.values), "")

    @property
    def p(self) -> float:
        return self.values.get(self.text, 0.0)


def read_number(photo: Photo, sighting: Sighting) -> Cue:
    """Read the cab number, as far as the extra `number` is installed.

    The cab side comes first, straightened; then its mirror image; then the rest of the
    engine. A number on the tender is told but not counted: tenders are swapped.

    Parameters
    ----------
    photo : Photo
    sighting : Sighting

    Returns
    -------
    Cue
        PRESENT with `value`, its `confidence` and `values` (probabilities of the numbers
        it may be, "?" for a character that cannot be told), or UNSEEN.
    """
    if not number.available():
        return Cue(NAME, State.UNSEEN, because=number.MISSING)
    photo = closer(photo, FIGURES_WIDTH_PX / max(sighting.locomotive.width, 1.0))
    region = cab_region(sighting)
    crop = _cab_crop(photo, region)
    if crop is None:
        because = "the cab side is turned away or too small for figures"
        return Cue(NAME, State.UNSEEN, because=because)
    plain, lines = _read_crop(crop)
    if _believed(plain, _SURE):
        return _cue(photo, plain, "{text} reads on the cab side, {px:.0f} pixels high")
    mirrored = _read_mirrored(crop, plain) if lines else None
    if mirrored is not None:
        because = "{text} reads on the cab side in mirror image: a mirror or the glass's back?"
        return _cue(photo, mirrored, because)
    engine, tender = _elsewhere(photo, sighting)
    if _believed(engine, _SURE_ELSEWHERE) and len(engine.text) > 1:
        return _cue(photo, engine, "{text} reads on the engine, though not on its cab side")
    because = "no number can be read on the cab side"
    if _believed(tender, _SURE_ELSEWHERE) and len(tender.text) > 1:
        because += f"; the tender's reads {tender.text}"
    where = crop.photo_box(Box(0, 0, crop.pixels.shape[1], crop.pixels.shape[0]))
    return Cue(NAME, State.UNSEEN, where=where.clipped(*photo.size), because=because)


def cab_region(sighting: Sighting) -> Region:
    """Where the cab's side is: above the rear of the running board.

    Corners run from the left to the right of the picture, so that figures stand the right
    way round whichever way the engine faces.
    """
    board = np.asarray(sighting.regions["running_board"], dtype=np.float64)
    boiler = np.asarray(sighting.regions["boiler_top"], dtype=np.float64)
    front, rear = (board[0] + board[3]) / 2, (board[1] + board[2]) / 2
    up = (boiler[1] - boiler[2]) + (boiler[0] - boiler[3])
    up = up + (board[0] - board[3]) + (board[1] - board[2])
    axes = np.stack([rear - front, up / max(float(np.linalg.norm(up)), 1e-6)], axis=1)
    if abs(float(np.linalg.det(axes))) < 1e-6:
        return sighting.regions["running_board"]
    start, back = np.linalg.solve(axes, boiler[2] - front)
    ridge = float(np.linalg.solve(axes, boiler[1] - front)[1])
    height = max(
        float(back) + 0.25 * (ridge - float(back)), 0.12 * float(np.linalg.norm(axes[:, 0]))
    )
    low, high = _CAB_FROM
    span = (min(max(float(start) - _AHEAD, low), high), 1.0 + _BEHIND)
    corners = [front + axes @ (s, h) for h in (height, -_BELOW * height) for s in span]
    a, b, d, c = ((float(x), float(y)) for x, y in corners)
    return (a, b, c, d) if a[0] <= b[0] else (b, a, d, c)


def _cab_crop(photo: Photo, region: Region) -> Crop | None:
    wide, high = _length(region[0], region[1]), _length(region[0], region[3])
    if high < _LEAST_CAB_PX:
        return None
    share = 1.0 + _BEHIND - _CAB_FROM[1]
    stretch = min(max(share * _LONG * high / max(wide, 1e-6), 1.0), _MOST_STRETCH)
    width = round(_CAB_HEIGHT * wide * stretch / high)
    try:
        return region_crop(photo, region, (min(max(width, 48), 2 * _CAB_HEIGHT), _CAB_HEIGHT))
    except ValueError:
        return None


def _read_crop(crop: Crop) -> tuple[_Found, bool]:
    """The most probable number on a crop of the cab side, and whether lines are there.

    Few likely places are read first. Only where that leaves doubt are lines of text looked
    for, which costs as much again.
    """
    places = [box for box, _ in propose_figures(crop.pixels, most=_PLACES)]
    looks: list[_Found] = []
    for some in (places[:_FIRST], places[_FIRST:]):
        looks += _read_places(crop, some, _CLOSE)
        if _clear(_best(looks, crop)):
            break
    found = _best(_read_again(crop, looks, _WIDE), crop)
    if _clear(found):
        return found, True
    lines = _read_lines(crop)
    also = _best(_read_again(crop, lines, _LINE_WIDE), crop)
    return max(found, also, key=_weight), bool(lines)


def _clear(found: _Found) -> bool:
    return found.p >= _CLEAR and len(found.text) > 1 and ILLEGIBLE not in found.text


def _read_places(crop: Crop, places: Sequence[Box], padding: float) -> list[_Found]:
    boxes = [_padded(place, padding) for place in places]
    read = number.read_lines(crop.pixels, boxes)
    return [_Found(spell(r), place, crop) for r, place in zip(read, places, strict=True)]


def _read_lines(crop: Crop) -> list[_Found]:
    return [_Found(spell(r), r.box, crop) for r in number.read_characters(crop.pixels)]


def _read_again(crop: Crop, looks: Sequence[_Found], padding: float) -> list[_Found]:
    """The two likeliest places with the mean of both looks; the rest is not a number."""
    ordered = sorted(looks, key=_weight, reverse=True)
    worth = [look for look in ordered[:2] if look.p >= _WORTH_ANOTHER_LOOK]
    again = _read_places(crop, [look.box for look in worth], padding)
    return [
        _Found(blend([one.values, two.values]), one.box, crop)
        for one, two in zip(worth, again, strict=True)
    ]


def _read_mirrored(crop: Crop, plain: _Found) -> _Found | None:
    width = crop.pixels.shape[1]
    flipped = replace(crop, pixels=np.ascontiguousarray(crop.pixels[:, ::-1]))
    found = _best(_read_again(flipped, _read_lines(flipped), _LINE_WIDE), crop)
    if len(found.text) < 2 or not _MIRROR_PROOF & set(found.text):
        return None
    if found.p < _SURE_MIRRORED or _weight(found) - _weight(plain) < _FAR_BETTER:
        return None
    box = Box(width - found.box.right, found.box.top, width - found.box.left, found.box.bottom)
    return _Found(found.values, box, crop)


def _elsewhere(photo: Photo, sighting: Sighting) -> tuple[_Found, _Found]:
    """The most probable numbers anywhere on the engine, and on its tender."""
    box, tender = sighting.locomotive, sighting.tender
    if tender is not None:
        edges = zip(box.as_tuple(), tender.as_tuple(), (min, min, max, max), strict=True)
        box = Box(*(choose(one, two) for one, two, choose in edges))
    factor = _OTHER_SIDE / max(box.width, box.height, 1.0)
    size = (max(32, round(box.width * factor)), max(32, round(box.height * factor)))
    crop = box_crop(photo, box, size)
    on_engine: list[_Found] = []
    on_tender: list[_Found] = []
    for look in _read_lines(crop):
        x, _ = crop.photo_box(look.box).centre
        # The boxes overlap; a number there is not counted rather than counted wrongly.
        in_tender = tender is not None and tender.left <= x < tender.right
        (on_tender if in_tender else on_engine).append(look)
    return _best(on_engine, crop), _best(on_tender, crop)


def _best(looks: Sequence[_Found], crop: Crop) -> _Found:
    # Of places that read as well, the larger: a figure's stem may read as the figure does.
    return max(
        looks,
        key=lambda look: (round(_weight(look), 1), look.box.height),
        default=_Found({}, Box(0, 0, 0, 0), crop),
    )


def _weight(found: _Found) -> float:
    """Of two readings the longer counts more: a part of a number reads well too."""
    if found.text == _STROKE:
        return 0.0
    return found.p * (1.0 if len(found.text) > 1 else 0.6)


def _believed(found: _Found, sure: float) -> bool:
    if found.text == _STROKE:
        return False
    if ILLEGIBLE in found.text:
        sure = max(sure, _SURE_PARTLY)
    elif len(found.text) == 1:
        sure = max(sure, _SURE_ALONE)
    return found.p >= sure


def _cue(photo: Photo, found: _Found, because: str) -> Cue:
    values = {text: min(p, _CEILING) for text, p in found.values.items() if p >= 0.001}
    where = found.crop.photo_box(found.box).clipped(*photo.size)
    return Cue(
        NAME,
        State.PRESENT,
        value=found.text,
        confidence=values[found.text],
        where=where,
        because=because.format(text=found.text, px=where.height),
        values=MappingProxyType(values),
    )


def _padded(box: Box, share: float) -> Box:
    """The box with ground round it, measured by its height: figures are not squeezed."""
    across, down = 1.3 * share * box.height, share * box.height
    return Box(box.left - across, box.top - down, box.right + across, box.bottom + down)


def _length(one: Point, two: Point) -> float:
    return float(np.hypot(two[0] - one[0], two[1] - one[1]))
