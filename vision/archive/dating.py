"""From what the eye saw of an engine's photos to its answer; no pixels any more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from vision import __version__
from vision.archive.values import Look
from vision.estimate import estimate
from vision.guide import Guide
from vision.pipeline.views import fuse_views
from vision.pipeline.witnesses import NEAR_DUPLICATE_BITS
from vision.records import Answer, Photo, Sighting

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
    found = any(isinstance(look.sighting, Sighting) for look in looks)
    fused, disputes = fuse_views([look.cues for look in looks], _witnesses(looks))
    dated = estimate(guide, fused) if found else None
    if dated is not None and disputes:
        dated = replace(dated, conflicts=dated.conflicts + disputes)
    return Answer(
        photos=tuple(_photo(path, look) for path, look in zip(paths, looks, strict=True)),
        sightings=tuple(look.sighting for look in looks),
        cues=fused if found else (),
        estimate=dated,
        versions={
            "telltale": __version__,
            "guide": f"{guide.name} {guide.version}",
            "model": model,
        },
    )


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


def _witnesses(looks: Sequence[Look]) -> list[int]:
    """As `vision.pipeline.witnesses`, from hashes that were taken while there were pixels."""
    label = list(range(len(looks)))
    for (i, first), (j, second) in combinations(enumerate(looks), 2):
        if first.engine is None or second.engine is None:
            continue
        near = min((first.engine[0] ^ other).bit_count() for other in second.engine)
        if _faces(first) == _faces(second) or near <= NEAR_DUPLICATE_BITS:
            keep, drop = label[i], label[j]
            label = [keep if name == drop else name for name in label]
    return label


def _faces(look: Look) -> str:
    return look.sighting.faces.value if isinstance(look.sighting, Sighting) else ""
