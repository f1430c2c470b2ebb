"""Hand-made answers and one fake eye, for tests of what stands above the stages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from shapes import Drawing, engine
from vision.records import (
    Answer,
    Box,
    Candidate,
    Conflict,
    Cue,
    Estimate,
    Heading,
    NextLook,
    NotFound,
    Photo,
    Sighting,
    State,
    Step,
)

# Where `shapes.engine` draws things, at 320 x 180 pixels.
LOCOMOTIVE = Box(40.0, 50.0, 200.0, 144.0)
TENDER = Box(206.0, 80.0, 290.0, 144.0)
REGIONS = MappingProxyType(
    {
        "boiler_top": ((40.0, 40.0), (170.0, 40.0), (170.0, 72.0), (40.0, 72.0)),
        "side_rods": ((54.0, 112.0), (166.0, 112.0), (166.0, 144.0), (54.0, 144.0)),
        "running_board": ((40.0, 106.0), (200.0, 106.0), (200.0, 112.0), (40.0, 112.0)),
    }
)
CUES = (
    Cue(
        "switch_lever",
        State.ABSENT,
        p_present=0.031234567,
        confidence=0.968765,
        where=Box(40.0, 40.0, 170.0, 72.0),
        because="no thin upright part between chimney and cab",
    ),
    Cue(
        "side_linkage",
        State.PRESENT,
        p_present=0.91,
        confidence=0.91,
        where=Box(60.0, 114.0, 110.0, 132.0),
        because="two slanting rods above the coupling rod",
    ),
    Cue("edge_stripe", State.UNSEEN, because="glare along the running board"),
    Cue(
        "tender_axles",
        State.PRESENT,
        value="4",
        confidence=0.88,
        where=Box(210.0, 112.0, 286.0, 144.0),
        because="four wheel circles",
        values=MappingProxyType({"4": 0.88, "6": 0.12}),
    ),
    Cue("tender_lamps", State.UNSEEN, because="the rear is out of the picture"),
    Cue(
        "tender_lettering",
        State.PRESENT,
        confidence=0.95,
        where=Box(226.0, 86.0, 268.0, 98.0),
        because="8 characters made out in a line on the tender's side",
    ),
    Cue("cab_number", State.UNSEEN, because="too few pixels"),
)


def photo_of(picture: Drawing, name: str = "engine.png") -> Photo:
    pixels = np.array(picture)
    pixels.setflags(write=False)
    height, width = pixels.shape[:2]
    return Photo(pixels, (width, height), "ab" * 32, name)


def sighting(scale: float = 1.0) -> Sighting:
    regions = {
        name: tuple((x * scale, y * scale) for x, y in region) for name, region in REGIONS.items()
    }
    return Sighting(
        locomotive=LOCOMOTIVE.scaled(scale),
        tender=TENDER.scaled(scale),
        faces=Heading.LEFT,
        regions=MappingProxyType(regions),
        visible=MappingProxyType(dict.fromkeys(REGIONS, 1.0)),
        score=0.98123456,
    )


def estimate() -> Estimate:
    """Posterior W3 0.6, W4 0.3, other 0.1: equal priors times one step."""
    likelihoods = MappingProxyType({"W3": 0.6, "W4": 0.3, "other": 0.1})
    return Estimate(
        years="1934/1936",
        confidence=0.93,
        variations=(
            Candidate("W3", "1934", 0.6),
            Candidate("W4", "1935/1937", 0.3),
            Candidate("other", "", 0.1),
        ),
        steps=(
            Step("prior", None, "", MappingProxyType({"W3": 1.0, "W4": 1.0, "other": 1.0})),
            Step(
                "cue",
                "side_linkage",
                "W3 was made with it",
                likelihoods,
                "weak support for W3",
                ratio=3.0,
                leader="W3",
                fits=("W3", "W4"),
            ),
        ),
        conflicts=(Conflict("tender", ("tender_axles",), "The tender belongs to earlier years."),),
        look_next=(
            NextLook("axle_magnets", "Hold a steel pin to a driving axle.", 0.61, True),
            NextLook("edge_stripe", "Photograph the side without flash.", 0.4, False),
        ),
    )


def answer(photo: Photo | None = None, scale: float = 1.0) -> Answer:
    return Answer(
        photos=(photo_of(engine()) if photo is None else photo,),
        sightings=(sighting(scale),),
        cues=tuple(
            replace(cue, where=None if cue.where is None else cue.where.scaled(scale))
            for cue in CUES
        ),
        estimate=estimate(),
        versions=MappingProxyType({"telltale": "0", "guide": "test 1", "model": "none"}),
    )


def no_engine() -> Answer:
    return Answer(
        photos=(photo_of(engine(), "shelf.png"),),
        sightings=(NotFound("nothing like a locomotive", 0.04),),
        cues=(),
        estimate=None,
        versions=MappingProxyType({"telltale": "0", "guide": "test 1", "model": "none"}),
    )


@dataclass(frozen=True)
class FakeEye:
    """An eye that sees what it is told, by the stem of the photo's name.

    A photo that is not listed shows the engine of `shapes.engine` with `CUES`; one
    listed with None shows no engine.
    """

    seen: Mapping[str, tuple[Cue, ...] | None] = field(default_factory=dict)
    version: str = "fake"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        stem = photo.name.rpartition("/")[2].partition(".")[0]
        cues = self.seen.get(stem, CUES)
        if cues is None:
            return NotFound("nothing like a locomotive", 0.04), ()
        return sighting(), cues
