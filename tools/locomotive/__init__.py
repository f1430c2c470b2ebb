"""Parametric model steam locomotives, and other things that stand on rails.

`sample_engine` draws an engine, `build` makes its meshes; see `spec` and `build`.
"""

from tools.locomotive.build import build
from tools.locomotive.demo import demo_spec
from tools.locomotive.reach import sample_engine, within_reach
from tools.locomotive.spec import (
    BLENDED,
    FAMILIES,
    HELD_FAMILIES,
    MIXED,
    MORE_FAMILIES,
    TRAIN_FAMILIES,
    LocomotiveSpec,
    sample_spec,
)
from tools.locomotive.stock import coach, diesel, railcar, wagon
from tools.locomotive.track import track

__all__ = [
    "BLENDED",
    "FAMILIES",
    "HELD_FAMILIES",
    "MIXED",
    "MORE_FAMILIES",
    "TRAIN_FAMILIES",
    "LocomotiveSpec",
    "build",
    "coach",
    "demo_spec",
    "diesel",
    "railcar",
    "sample_engine",
    "sample_spec",
    "track",
    "wagon",
    "within_reach",
]
