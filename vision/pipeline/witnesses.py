"""Which photos of one engine are witnesses of their own, and which repeat another."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from vision.records import NotFound, Photo, Sighting

if TYPE_CHECKING:
    from imagehash import ImageHash

# Bits of 64 in which the perceptual hashes of two engine crops differ, up to which they
# are copies of one picture. Measured on the demo photos by tests/test_witnesses.py: 95 %
# of spoilt copies lie at or below it, 95 % of different photos above.
NEAR_DUPLICATE_BITS = 16


def witnesses(photos: Sequence[Photo], sightings: Sequence[Sighting | NotFound]) -> tuple[int, ...]:
    """Sort photos into witnesses: those that share the reasons to be wrong are one.

    Two photos are one witness where the engine heads the same way in both, since then
    they show the same side, with the same dome in front of the same slot; or where one
    is a copy of the other, however scaled, cropped, lit or mirrored. What is linked
    through a third photo is linked, which errs towards fewer witnesses.

    Parameters
    ----------
    photos : sequence of Photo
    sightings : sequence of Sighting or NotFound
        One for each photo.

    Returns
    -------
    tuple of int
        One number for each photo, equal for photos that are one witness; a photo
        without an engine stands alone.

    Notes
    -----
    Copies are found by the perceptual hash of the library imagehash (the signs of the
    low frequencies of a discrete cosine transform), taken of the engine's box alone: a
    shelf behind two engines must not make them alike.
    """
    label = list(range(len(photos)))
    found = [
        (index, sighting)
        for index, sighting in enumerate(sightings)
        if isinstance(sighting, Sighting)
    ]
    if len(found) < 2:
        return tuple(label)
    hashes = {i: _hashes(photos[i], sighting) for i, sighting in found}
    for (i, first), (j, second) in combinations(found, 2):
        near = min(hashes[i][0] - other for other in hashes[j]) <= NEAR_DUPLICATE_BITS
        if first.faces is second.faces or near:
            keep, drop = label[i], label[j]
            label = [keep if name == drop else name for name in label]
    return tuple(label)


def _hashes(photo: Photo, sighting: Sighting) -> tuple[ImageHash, ImageHash]:
    """Hash of the engine as it is and mirrored."""
    import imagehash
    from PIL import Image, ImageOps

    box = sighting.locomotive.scaled(photo.scale)
    height, width = photo.pixels.shape[:2]
    box = box.clipped(width, height)
    left, top = int(box.left), int(box.top)
    right, bottom = max(left + 1, round(box.right)), max(top + 1, round(box.bottom))
    crop = Image.fromarray(photo.pixels[top:bottom, left:right])
    return imagehash.phash(crop), imagehash.phash(ImageOps.mirror(crop))
