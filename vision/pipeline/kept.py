"""What the eye saw of a photo, kept; and from that to an answer, with no pixels any more."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.guide import Guide
from vision.pipeline.item import Eye, Seen, date_seen
from vision.pipeline.look import Look
from vision.pipeline.witnesses import engine_hashes, grouped, picture_hash
from vision.records import Answer, Photo, Pixels
from vision.rectify import shrunk_to

# Longer side, pixels, of the picture kept for the shelf: about 6 kB each as JPEG.
PICTURE_PX = 200
_PICTURE_QUALITY = 75
_NO_PIXELS = np.zeros((1, 1, 3), dtype=np.uint8)
_NO_PIXELS.setflags(write=False)


def look_kept(photo: Photo, eye: Eye, *, with_picture: bool) -> Look:
    """Look at a photo and keep what was seen, and what tells copies of it.

    Parameters
    ----------
    photo : Photo
    eye : Eye
    with_picture : bool
        Whether a small JPEG is kept as well.
    """
    sighting, cues = eye.look(photo)
    picture = small_picture(photo.pixels)
    return Look(
        sha256=photo.sha256,
        size=photo.size,
        orientation=photo.orientation,
        taken=photo.taken,
        notes=photo.notes,
        sighting=sighting,
        cues=tuple(cues),
        alike=picture_hash(picture),
        engine=engine_hashes(photo, sighting),
        picture=_jpeg(picture) if with_picture else b"",
    )


def small_picture(pixels: Pixels) -> Pixels:
    """The pixels shrunk until the longer side has `PICTURE_PX`; smaller ones as they are."""
    height, width = pixels.shape[:2]
    factor = PICTURE_PX / max(width, height)
    if factor >= 1.0:
        return pixels
    return shrunk_to(pixels, (max(1, round(width * factor)), max(1, round(height * factor))))[0]


def _jpeg(pixels: Pixels) -> bytes:
    coded, data = cv2.imencode(
        ".jpg",
        cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR),
        [cv2.IMWRITE_JPEG_QUALITY, _PICTURE_QUALITY],
    )
    assert coded
    return data.tobytes()


def date_looks(paths: Sequence[str], looks: Sequence[Look], guide: Guide, model: str) -> Answer:
    """Date one engine from looks that were kept.

    Parameters
    ----------
    paths : sequence of str
        Names of the photos.
    looks : sequence of Look
        One for each.
    guide : Guide
    model : str
        Version of the eye.

    Returns
    -------
    Answer
        The same as `vision.pipeline.date_item` gives for the photos themselves, except
        that the photos have no pixels.
    """
    seen = Seen(
        tuple(look.sighting for look in looks),
        tuple(look.cues for look in looks),
        grouped([look.sighting for look in looks], [look.engine for look in looks]),
    )
    photos = [_photo(path, look) for path, look in zip(paths, looks, strict=True)]
    return date_seen(photos, seen, guide, model=model)


def _photo(path: str, look: Look) -> Photo:
    return Photo(
        pixels=_NO_PIXELS,
        size=look.size,
        sha256=look.sha256,
        name=path,
        taken=look.taken,
        notes=look.notes,
        orientation=look.orientation,
    )
