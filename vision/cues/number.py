"""The cab number: which places to read, and which reading to believe."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType

import numpy as np

from vision.cues.cab import ahead_of, cab_region
from vision.cues.characters import read_lines
from vision.cues.near import nearer, straightened
from vision.cues.spelling import Reading, blend, spell
from vision.features import by_hue, has_red
from vision.network import Network, Networks
from vision.photo import closer
from vision.records import ILLEGIBLE, Box, Cue, Photo, Pixels, Sighting, State
from vision.rectify import BEYOND, Crop

NAME = "cab_number"
# Decoded pixels across the engine. Cab figures are some 2.5 % of its length high (measured
# on no set: common practice, no source), so that they are then 15 pixels high.
FIGURES_WIDTH_PX = 620.0
# Places looked at from nearer, and how high figures are then, pixels.
_PLACES = 2
_NEAR_PX = (29.0, 36.0)
_WORTH_ANOTHER_LOOK = 0.08
_CLEAR = 0.9  # a reading above needs no other place
_BEYOND_DOUBT = 0.95  # and above this no other look at this one
# So many characters that are no figures may be a number in mirror image.
_STRANGE = 0.3
# Least probabilities; the first two chosen on 168 renders of the split "held", the others by
# hand. One figure alone, or one beside an illegible character, is what window frames and
# steps look like too.
_SURE, _SURE_ALONE, _SURE_PARTLY, _SURE_ELSEWHERE, _SURE_MIRRORED = 0.5, 0.8, 0.8, 0.8, 0.8
_GLIMPSED = 0.1  # below that the reading that is not believed tells nothing
# A number of which one figure cannot be told: of so many figures, and as sure of the others.
_OPEN_FIGURES, _SURE_OPEN = 3, 0.6
_SURE_BY_HUE = 0.85  # of seven right and one wrong on 146 renders, the wrong one had less
_FAR_BETTER = 0.4  # by which a number in mirror image must beat the plain reading
_CEILING = 0.98  # no reading is believed more than this
# A post, a handrail or the cab's edge reads as this.
_STROKE = "1"
_MIRROR_PROOF = frozenset("2345679")  # figures that are another shape in a mirror


@dataclass(frozen=True, slots=True)
class _Found:
    values: Mapping[str, float]
    box: Box  # in the crop
    crop: Crop
    open_text: str = ""  # in place of the likeliest number, where one figure is left open
    open_p: float = 0.0

    @property
    def text(self) -> str:
        return self.open_text or next(iter(self.values), "")

    @property
    def p(self) -> float:
        return self.open_p if self.open_text else self.values.get(self.text, 0.0)


def read_number(photo: Photo, sighting: Sighting, networks: Networks) -> Cue:
    """Read the cab number.

    The cab side comes first, straightened; then what its hue shows, where something is red;
    then its mirror image; then the engine's side ahead of it. A number on the tender is told
    but not counted: tenders are swapped.

    Parameters
    ----------
    photo : Photo
    sighting : Sighting
    networks : Networks

    Returns
    -------
    Cue
        PRESENT with `value`, its `confidence` and `values` (probabilities of the numbers
        it may be, "?" for a character that cannot be told), or UNSEEN; in sight, and with
        `values` too, where figures stand there that are too unclear to read.
    """
    photo = closer(photo, FIGURES_WIDTH_PX / max(sighting.locomotive.width, 1.0))
    reader = networks["number"]
    region = cab_region(sighting)
    crop = straightened(photo, region, reader)
    if crop is None:
        because = "the cab side is turned away or too small for figures"
        return Cue(NAME, State.UNSEEN, because=because)
    through = _Through(photo, reader)
    read, unclear = _on_the_cab(through, crop)
    if read is not None:
        return read
    ahead = straightened(photo, ahead_of(sighting, region), reader)
    if ahead is not None:
        engine = _read(through, ahead)
        if _believed(engine, _SURE_ELSEWHERE) and len(engine.text) > 1:
            return _cue(photo, engine, "{text} reads on the engine, though not on its cab side")
    because = "no number can be read on the cab side"
    if unclear.values:
        because = "what may be figures stands on the cab side, too unclear to read"
    box = sighting.tender
    side = None if box is None else straightened(photo, box.corners, reader, long=0.0)
    if side is not None:
        tender = _read(through, side)
        if _believed(tender, _SURE_ELSEWHERE) and len(tender.text) > 1:
            because += f"; the tender's reads {tender.text}"
    if unclear.values:
        told = _cue(photo, unclear, because)
        return replace(told, state=State.UNSEEN, value=None, confidence=0.0, in_sight=True)
    where = Box.around(region).clipped(*photo.size)
    return Cue(NAME, State.UNSEEN, where=where, because=because)


def _on_the_cab(through: _Through, crop: Crop) -> tuple[Cue | None, _Found]:
    """What is read on the cab side; and what it may be, where that is nothing."""
    photo, lines = through.photo, through.lines(crop)
    plain = _read_from(through, crop, lines)
    if _believed(plain, _SURE):
        return _cue(photo, plain, "{text} reads on the cab side, {px:.0f} pixels high"), plain
    unclear = _unclear(plain)
    if has_red(crop.pixels, beyond=BEYOND):
        cast = _read(replace(through, shown=partial(by_hue, beyond=BEYOND)), crop)
        if _believed(cast, _SURE_BY_HUE):
            because = "{text} reads on the cab side by its hue, {px:.0f} pixels high"
            return _cue(photo, cast, because), cast
        unclear = max(unclear, _unclear(cast), key=_weight)
    strange = any(_no_figures(line) >= _STRANGE for line in lines)
    mirrored = _read_mirrored(through, crop, plain) if strange else None
    if mirrored is not None:
        because = (
            "{text} reads on the cab side in mirror image, as in a mirror or in a flipped photo"
        )
        return _cue(photo, mirrored, because), mirrored
    open_one = _one_open(plain)
    if open_one is not None:
        because = "{text} reads on the cab side, {px:.0f} pixels high; the ? cannot be told"
        return _cue(photo, open_one, because), open_one
    return None, unclear


@dataclass(frozen=True, slots=True)
class _Through:
    """What crops of a photo are read by, and how they are shown to it."""

    photo: Photo
    reader: Network
    shown: Callable[[Pixels], Pixels] = np.asarray

    def lines(self, crop: Crop) -> tuple[Reading, ...]:
        return read_lines(self.shown(crop.pixels), self.reader)


def _read(through: _Through, crop: Crop) -> _Found:
    """The most probable number on a crop."""
    return _read_from(through, crop, through.lines(crop))


def _read_from(through: _Through, crop: Crop, lines: Sequence[Reading]) -> _Found:
    """The most probable number of a crop's lines.

    The crop shows where characters may stand; which they are is read from nearer, twice
    unless the first is beyond doubt, since figures that are small and close together run
    into each other.
    """
    found = []
    for line in sorted(lines, key=_promise, reverse=True)[:_PLACES]:
        if _promise(line) < _WORTH_ANOTHER_LOOK:
            break
        found.append(_read_near(through, crop, line))
        if found[-1].p >= _CLEAR and len(found[-1].text) > 1:
            break
    return _best(found, crop)


def _promise(line: Reading) -> float:
    """How far a line may be a number; one character alone is less likely to be one."""
    return line.confidence * (1.0 if len(line.text) > 1 else 0.6)


def _no_figures(line: Reading) -> float:
    """How many characters of a line are none of the ten figures: letters, or a mirror's."""
    return sum(1.0 - sum(step.values()) for step in line.steps)


def _read_near(through: _Through, crop: Crop, line: Reading) -> _Found:
    """What reads in a place from nearer; each look starts from what the one before saw."""
    looks = []
    for tall in _NEAR_PX:
        near = nearer(through.photo, crop, line, tall, through.reader)
        seen = _in_the_middle(through, near, tall) if near is not None else None
        looks.append(spell(seen) if seen is not None else {})
        if max(looks[-1].values(), default=0.0) >= _BEYOND_DOUBT:
            break
        if near is not None and seen is not None:
            crop, line = near, seen
    return _Found(blend(looks), line.box, crop)


def _in_the_middle(through: _Through, crop: Crop, tall: float) -> Reading | None:
    """The likeliest line in the middle of a crop whose figures are about `tall` pixels high."""
    x, y = crop.pixels.shape[1] / 2, crop.pixels.shape[0] / 2
    there = [
        line
        for line in through.lines(crop)
        if abs(line.box.centre[1] - y) < 0.7 * tall
        and line.box.left - 0.5 * tall < x < line.box.right + 0.5 * tall
    ]
    return max(there, key=_promise, default=None)


def _read_mirrored(through: _Through, crop: Crop, plain: _Found) -> _Found | None:
    """The number that reads when left and right are swapped, far better than without."""
    width = crop.pixels.shape[1]
    swap = np.array([[-1.0, 0, width], [0, 1, 0], [0, 0, 1]])
    turned = np.ascontiguousarray(crop.pixels[:, ::-1])
    flipped = replace(crop, pixels=turned, to_photo=crop.to_photo @ swap)
    found = _read(through, flipped)
    if len(found.text) < 2 or not _MIRROR_PROOF & set(found.text):
        return None
    if found.p < _SURE_MIRRORED or _weight(found) - _weight(plain) < _FAR_BETTER:
        return None
    return found


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


def _one_open(found: _Found) -> _Found | None:
    """The number with the one figure left open that its likeliest readings differ in."""
    sums: dict[str, float] = {}
    for text, p in found.values.items():
        holes = [text.index(ILLEGIBLE)] if ILLEGIBLE in text else range(len(text))
        for at in holes if len(text) >= _OPEN_FIGURES else ():
            shape = f"{text[:at]}{ILLEGIBLE}{text[at + 1 :]}"
            sums[shape] = sums.get(shape, 0.0) + p
    shape = max(sums, key=lambda text: sums[text], default="")
    if sums.get(shape, 0.0) < _SURE_OPEN:
        return None
    return replace(found, open_text=shape, open_p=sums[shape])


def _unclear(found: _Found) -> _Found:
    """What counts of a reading that is not believed; no values where it is next to none."""
    values = {text: p for text, p in found.values.items() if text != _STROKE}
    return replace(found, values=values if sum(values.values()) >= _GLIMPSED else {})


def _cue(photo: Photo, found: _Found, because: str) -> Cue:
    values = {text: min(p, _CEILING) for text, p in found.values.items() if p >= 0.001}
    where = found.crop.photo_box(found.box).clipped(*photo.size)
    return Cue(
        NAME,
        State.PRESENT,
        value=found.text,
        confidence=min(found.p, _CEILING),
        where=where,
        because=because.format(text=found.text, px=where.height),
        values=MappingProxyType(values),
    )
