"""Which photos of one engine are witnesses of their own, and which repeat another."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from vision.records import NotFound, Photo, Pixels, Sighting

if TYPE_CHECKING:
    from PIL import Image

# Bits of 64 in which the perceptual hashes of two engine crops differ, up to which they
# are copies of one picture. Measured on the demo photos by tests/test_witnesses.py: 95 %
# of spoilt copies lie at or below it, 95 % of different photos above.
NEAR_DUPLICATE_BITS = 16
# Side, pixels, of the picture that imagehash.phash transforms: its hash_size of 8 times
# its highfreq_factor of 4.
_HASHED_PX = 32


class Witnesses(NamedTuple):
    """Whose word each photo is.

    Attributes
    ----------
    sides : tuple of int
        Equal for photos of one side of the engine: the same dome in front of the same slot.
    shots : tuple of int
        Equal for copies of one picture. Copies are of one side too.
    """

    sides: tuple[int, ...]
    shots: tuple[int, ...]


def witnesses(photos: Sequence[Photo], sightings: Sequence[Sighting | NotFound]) -> Witnesses:
    """Sort photos by side and into copies: those share the reasons to be wrong.

    Two photos show one side where the engine heads the same way in both; one is a copy of
    the other however scaled, cropped, lit or mirrored. What is linked through a third
    photo is linked, which errs towards fewer witnesses.

    Parameters
    ----------
    photos : sequence of Photo
    sightings : sequence of Sighting or NotFound
        One for each photo.

    Returns
    -------
    Witnesses
        A photo without an engine stands alone.

    Notes
    -----
    Copies are found by the perceptual hash of the library imagehash (the signs of the
    low frequencies of a discrete cosine transform), taken of the engine's box alone: a
    shelf behind two engines must not make them alike.
    """
    if sum(isinstance(sighting, Sighting) for sighting in sightings) < 2:
        alone = tuple(range(len(photos)))
        return Witnesses(alone, alone)
    pairs = zip(photos, sightings, strict=True)
    return grouped(sightings, [engine_hashes(photo, sighting) for photo, sighting in pairs])


def grouped(
    sightings: Sequence[Sighting | NotFound], hashes: Sequence[tuple[int, int] | None]
) -> Witnesses:
    """`witnesses` from hashes that were taken before, one for each sighting."""
    sides = shots = tuple(range(len(sightings)))
    shown = [
        (index, sighting.faces, own)
        for index, (sighting, own) in enumerate(zip(sightings, hashes, strict=True))
        if isinstance(sighting, Sighting) and own is not None
    ]
    for (i, first, one), (j, second, two) in combinations(shown, 2):
        near = min((one[0] ^ other).bit_count() for other in two) <= NEAR_DUPLICATE_BITS
        if near:
            shots = _linked(shots, i, j)
        if near or first is second:
            sides = _linked(sides, i, j)
    return Witnesses(sides, shots)


def _linked(labels: tuple[int, ...], i: int, j: int) -> tuple[int, ...]:
    keep, drop = labels[i], labels[j]
    return tuple(keep if label == drop else label for label in labels)


def engine_hashes(photo: Photo, sighting: Sighting | NotFound) -> tuple[int, int] | None:
    """Perceptual hashes, 64 bits, of the engine's box and of its mirror image; None without one."""
    from PIL import Image, ImageOps

    if isinstance(sighting, NotFound):
        return None
    height, width = photo.pixels.shape[:2]
    box = sighting.locomotive.scaled(photo.scale).clipped(width, height)
    left, top = int(box.left), int(box.top)
    right, bottom = max(left + 1, round(box.right)), max(top + 1, round(box.bottom))
    # Grey and shrunk as imagehash itself would, but once for both, and roughly first: a
    # tenth of the time, for a bit or two of 64 now and then.
    grey = Image.fromarray(photo.pixels[top:bottom, left:right]).convert("L")
    small = grey.resize((_HASHED_PX, _HASHED_PX), Image.Resampling.LANCZOS, reducing_gap=3.0)
    return _phash(small), _phash(ImageOps.mirror(small))


def picture_hash(pixels: Pixels) -> int:
    """Perceptual hash, 64 bits, of a whole picture (height, width, 3), RGB."""
    from PIL import Image

    return _phash(Image.fromarray(pixels))


def _phash(picture: Image.Image) -> int:
    import imagehash

    return int(str(imagehash.phash(picture)), 16)
