"""From what the eye saw of an engine's photos to its answer; no pixels any more."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.guide import Guide
from vision.pipeline.item import Seen, date_seen
from vision.pipeline.look import Look
from vision.pipeline.witnesses import grouped
from vision.records import Answer, Photo

_NO_PIXELS = np.zeros((1, 1, 3), dtype=np.uint8)
_NO_PIXELS.setflags(write=False)


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
