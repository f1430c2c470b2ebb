"""A listing's photos: opened within limits, compared with those of other listings."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

from vision.photo import Limits
from vision.records import Photo, PhotoMissing, PhotoUnreadable

# Listings come from strangers: less is opened for them than for one's own photos.
# 40 megapixels decode to 120 MB; no shop shows more. Chosen.
LIMITS = Limits(pixels=40_000_000, bytes=30_000_000)
# Bits of 64 in which the perceptual hashes of two whole photos differ, up to which one is
# a copy of the other, resized, saved again or brightened. Chosen, as strict as for an
# archive: ten thousand photos make fifty million pairs.
COPY_BITS = 6
# Share of pixels that are exactly like their right neighbour, from which a picture is
# hardly a photograph: a lens and a sensor leave no surface that even. Chosen;
# tests/test_listings_pictures.py holds it against drawings and against the demo photos.
FLAT_SHARE = 0.8
# Pixels of the longer side and WebP quality of a picture on a card. Chosen by eye.
CARD_SIDE, CARD_QUALITY = 640, 60


def listed_path(folder: Path, reference: str) -> Path:
    """Path of a photo that a listing names, if it lies in the listing's own folder.

    Parameters
    ----------
    folder : Path
        Where the listing's file lies.
    reference : str
        A path relative to it.

    Raises
    ------
    PhotoMissing
        Outside the folder: a listing is a stranger's text, and must not make a report
        out of other pictures of this machine.
    PhotoUnreadable
        No path at all.
    """
    plain = reference.replace("\\", "/")
    parts = PurePosixPath(plain)
    colon = ":" in plain.partition("/")[0]
    if "\0" in plain or len(plain) > 1000:
        raise PhotoUnreadable("a path that cannot be a path")
    if parts.is_absolute() or colon or plain.startswith("//") or ".." in parts.parts:
        raise PhotoMissing(f"{reference}: not a path inside the folder of the listing's file")
    path = folder / parts
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError) as error:
        raise PhotoUnreadable(f"{reference}: {error}") from None
    if not inside:
        raise PhotoMissing(f"{reference}: leads out of the folder of the listing's file")
    return path


def flat_share(photo: Photo) -> float:
    """Share of pixels that are exactly like their right neighbour, 0 to 1."""
    pixels = photo.pixels
    if pixels.shape[1] < 2:
        return 0.0
    return float((pixels[:, 1:] == pixels[:, :-1]).all(axis=2).mean())


def card_picture(photo: Photo) -> bytes:
    """Encode a small WebP of a photo, without anything that its file said besides."""
    from PIL import Image

    image = Image.fromarray(photo.pixels)
    image.thumbnail((CARD_SIDE, CARD_SIDE), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    image.save(stream, "WEBP", quality=CARD_QUALITY, method=4)
    return stream.getvalue()


def reused(hashes: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    """Which listings show a picture that another one shows too.

    Parameters
    ----------
    hashes : mapping of listing id to sequence of str
        Of its photos.

    Returns
    -------
    dict of listing id to tuple of listing ids
        In the order of `hashes`; those without such a picture are missing.
    """
    owners = [id for id, own in hashes.items() for _ in own]
    values = np.array([int(h, 16) for own in hashes.values() for h in own], dtype=np.uint64)
    found: dict[str, dict[str, None]] = {}
    for i, near in _near(values):
        for j in near:
            if owners[i] != owners[j]:
                found.setdefault(owners[i], {})[owners[j]] = None
    return {id: tuple(others) for id, others in found.items()}


def _near(values: NDArray[np.uint64]) -> Iterator[tuple[int, list[int]]]:
    for i, value in enumerate(values):
        apart = np.bitwise_count(values ^ value)
        yield i, [int(j) for j in np.flatnonzero(apart <= COPY_BITS)]
