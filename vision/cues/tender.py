"""Counting the tender's axles and rear lamps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.cues.counting import FLOOR, by_count, count_cue, sharpened
from vision.network import Networks
from vision.records import Box, Cue, Photo, Region, State
from vision.rectify import box_crop, region_crop

_Said = Mapping[str, NDArray[np.float32]]

AXLE_COUNTS = (2, 3, 4, 5, 6, 7, 8)
LAMP_COUNTS = (0, 1, 2)
# Share of the tender's box added on every side, as in training.
_PADDING = 0.12
_SURE = 0.97  # of the axles; chosen
_DOUBTLESS = 0.99  # of either count, from which on no other look pays; by trial on renders
# Share of the crop's width below which a face is looked at again, straightened; and the
# probability that it can be counted at all from which that pays. Chosen.
_NARROW, _PERHAPS = 0.62, 0.2
_HIDDEN = {
    "tender_axles": "the tender's wheels cannot be counted in this picture",
    "tender_lamps": "the tender's rear is turned away or hidden",
}
_SEEN = {
    "tender_axles": ("axle counted along the tender", "axles counted along the tender"),
    "tender_lamps": ("lamp at its rear", "lamps at its rear"),
}


@dataclass(frozen=True, slots=True)
class TenderCounts:
    """Raw outputs of the counter: probabilities per count, and that counting is possible."""

    axles: tuple[float, ...]
    lamps: tuple[float, ...]
    countable: tuple[float, float]


@dataclass(frozen=True, slots=True)
class TenderLooks:
    """What the counter says of each look at one tender; None for a look that was not taken.

    Attributes
    ----------
    plain, mirrored : mapping of str to ndarray, float32
        Of the tender's box, and of the box in a mirror.
    side, rear : mapping of str to ndarray, float32
        Of its side straightened, where the axles are, and of its rear, where the lamps are.
    side_at : Region or None
        Corners of the side, pixels of the upright photo; None where it was not looked for.
    """

    plain: _Said
    mirrored: _Said | None
    side: _Said | None
    rear: _Said | None
    side_at: Region | None = None


def count(photo: Photo, tender: Box, networks: Networks) -> TenderCounts:
    """Run the counter on a tender's box (pixels of the upright photo)."""
    return counted(look_at_tender(photo, tender, networks))


def look_at_tender(photo: Photo, tender: Box, networks: Networks) -> TenderLooks:
    """Look at a tender as often as it pays.

    An unsure counter looks at the mirror image too: a tender has no front that a count
    depends on, so that both say the same but for their errors. A face that is turned well
    away and leaves a doubt is looked at again, straightened by the corners that the counter
    found itself: in the box of a tender seen from near its end the rear takes most of the
    room, and the axles stand close together. So is the side, however wide, where its axles
    are unsure.
    """
    network = networks["tender"]
    crop = box_crop(photo, tender.padded(_PADDING), network.size)
    plain = network.run(crop.pixels)
    unsure = plain["axles"].max() < _SURE
    mirrored = network.run(np.ascontiguousarray(crop.pixels[:, ::-1])) if unsure else None
    faces = plain["corners"] * np.asarray(network.size, np.float32)
    again: list[_Said | None] = [None, None]
    for index, (name, corners) in enumerate(zip(("axles", "lamps"), faces.tolist(), strict=True)):
        if plain["countable"][index] < _PERHAPS or plain[name].max() >= _DOUBTLESS:
            continue
        narrow = _width(corners) < _NARROW * network.size[0]
        if not narrow and not (unsure and name == "axles"):
            continue
        a, b, c, d = crop.photo_points([(x, y) for x, y in corners])
        try:
            straight = region_crop(photo, (a, b, c, d), network.size, margin=network.margin)
        except ValueError:  # corners that no flat face has: the first look stands alone
            continue
        again[index] = network.run(straight.pixels)
    a, b, c, d = crop.photo_points([(x, y) for x, y in faces[0].tolist()])
    return TenderLooks(plain, mirrored, again[0], again[1], side_at=(a, b, c, d))


def counted(looks: TenderLooks) -> TenderCounts:
    """What all looks at one tender come to: the geometric mean of their probabilities."""
    both = [looks.plain] if looks.mirrored is None else [looks.plain, looks.mirrored]
    axles, lamps = (
        _mean([_mean([look[name] for look in both]), *([] if face is None else [face[name]])])
        for name, face in (("axles", looks.side), ("lamps", looks.rear))
    )
    seen = np.mean([look["countable"] for look in both], axis=0)
    return TenderCounts(
        tuple(map(float, axles)), tuple(map(float, lamps)), (float(seen[0]), float(seen[1]))
    )


def _width(corners: Sequence[Sequence[float]]) -> float:
    """Mean width of a face of the crop, pixels."""
    (x0, _), (x1, _), (x2, _), (x3, _) = corners
    return (x1 - x0 + x2 - x3) / 2.0


def _mean(said: Sequence[NDArray[np.floating[Any]]]) -> NDArray[np.float64]:
    logs = [np.log(np.maximum(p.astype(np.float64), FLOOR)) for p in said]
    mean = np.exp(np.mean(logs, axis=0))
    return np.asarray(mean / mean.sum(), dtype=np.float64)


def weigh_counts(counts: TenderCounts, tender: Box, fusion: Mapping[str, Any]) -> tuple[Cue, Cue]:
    """The two tender cues from raw counts.

    Parameters
    ----------
    counts : TenderCounts
    tender : Box
    fusion : mapping
        `fusion.json`; "tender" holds for "axles" and "lamps" a temperature (probabilities
        are raised to its inverse), "seen_at_least" and "sure_at_least".
    """
    model = fusion["tender"]
    heads = (
        ("tender_axles", AXLE_COUNTS, counts.axles, model["axles"], counts.countable[0]),
        ("tender_lamps", LAMP_COUNTS, counts.lamps, model["lamps"], counts.countable[1]),
    )
    axles, lamps = (
        _cue(name, labels, raw, model=fitted, seen=seen, where=tender)
        for name, labels, raw, fitted, seen in heads
    )
    return axles, lamps


def _cue(
    name: str,
    labels: Sequence[int],
    raw: Sequence[float],
    *,
    model: Mapping[str, Any],
    seen: float,
    where: Box,
) -> Cue:
    if seen < float(model["seen_at_least"]):
        return Cue(name, State.UNSEEN, where=where, because=_HIDDEN[name])
    return count_cue(
        name,
        by_count(labels, sharpened(raw, float(model["temperature"]))),
        sure_at_least=float(model["sure_at_least"]),
        where=where,
        words=_SEEN[name],
    )
