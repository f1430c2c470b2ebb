"""The stages composed: look, fuse, date."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from vision import __version__
from vision.estimate import estimate
from vision.guide import Guide
from vision.pipeline.placing import placed
from vision.pipeline.several import one_or_several
from vision.pipeline.views import fuse_views
from vision.pipeline.witnesses import Witnesses, witnesses
from vision.records import COUPLED, Answer, Cue, NotFound, Photo, Sighting

if TYPE_CHECKING:
    from vision.network import Networks


class Eye(Protocol):
    """Whatever finds an engine in a photo and reads its cues."""

    @property
    def version(self) -> str:
        """Version of the model behind the eye, for the answer."""
        ...

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        """Where the engine is, and one cue per cue name; no cues where none is found."""
        ...


@dataclass(frozen=True, slots=True)
class NetworkEye:
    """The shipped eye: `locate`, then `cues`, over one set of loaded networks.

    Attributes
    ----------
    networks : Networks
    places : tuple of float
        Where it looks closely for a lever, shares of the boiler top's length.
    """

    networks: Networks
    places: tuple[float, ...] = ()

    @property
    def version(self) -> str:
        """Version that the networks' metadata states."""
        return self.networks.version

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        """Locate the engine, then read its cues."""
        from vision.cues import read_cues
        from vision.locate import locate

        sighting = locate(photo, self.networks)
        if isinstance(sighting, NotFound):
            return sighting, ()
        return sighting, read_cues(photo, sighting, self.networks, self.places)


def load_eye(models_dir: Path | None = None) -> Eye:
    """Load the shipped networks, or those in `models_dir`.

    Raises
    ------
    ModelError
        A model file is missing, altered, or made for another version.
    """
    from vision.network import load_networks

    return NetworkEye(load_networks(models_dir))


def told(eye: Eye, *lever_at: float | None) -> Eye:
    """The eye that knows where guides' castings have their lever, and looks closely there.

    Any eye but a `NetworkEye` comes back as it is.
    """
    # As exactly as a look is named by it (`eye_name`): kept looks say what fresh ones would.
    places = tuple(round(place, 4) for place in lever_at if place is not None)
    return replace(eye, places=places) if places and isinstance(eye, NetworkEye) else eye


@dataclass(frozen=True)
class LoadTold:
    """Loads an eye that is told where to look closely.

    Can travel to other processes, where whatever it loads is known again by it.
    """

    load_eye: Callable[[], Eye]
    lever_at: float | None

    def __call__(self) -> Eye:
        """Load it and tell it."""
        return told(self.load_eye(), self.lever_at)


def date_item(photos: Sequence[Photo], guide: Guide, eye: Eye, said: Sequence[Cue] = ()) -> Answer:
    """Date one engine.

    Parameters
    ----------
    photos : sequence of Photo
        One or several photos of the same engine; at least one.
    guide : Guide
        The collector's table to date it by.
    eye : Eye
        What looks at the photos.
    said : sequence of Cue
        What a person found or corrects; `estimate` lets it replace what the photos
        show of the same name.

    Returns
    -------
    Answer
        `estimate` is None where no photo shows an engine.
    """
    if not photos:
        raise ValueError("photos: at least one expected, got none")
    eye = told(eye, guide.lever_at)
    looks = [eye.look(photo) for photo in photos]
    sightings = tuple(sighting for sighting, _ in looks)
    seen = Seen(sightings, tuple(cues for _, cues in looks), witnesses(photos, sightings))
    return date_seen(photos, seen, guide, model=eye.version, said=said)


@dataclass(frozen=True, slots=True)
class Seen:
    """What the eye saw in the photos of one engine.

    Attributes
    ----------
    sightings : tuple of Sighting or NotFound
        One for each photo.
    views : tuple of tuple of Cue
        The cues of each photo.
    witnesses : Witnesses
        Whose word each photo is.
    """

    sightings: tuple[Sighting | NotFound, ...]
    views: tuple[tuple[Cue, ...], ...]
    witnesses: Witnesses


def date_seen(
    photos: Sequence[Photo], seen: Seen, guide: Guide, *, model: str, said: Sequence[Cue] = ()
) -> Answer:
    """Date one engine from what was seen, now or when its photos were last looked at.

    Parameters
    ----------
    photos : sequence of Photo
        For the answer alone; their pixels are not read.
    seen : Seen
    guide : Guide
    model : str
        Version of the eye that saw it.
    said : sequence of Cue
        As in `date_item`.
    """
    views = tuple(
        tuple(placed(cue, sighting, guide.lever_at) for cue in cues if _tells(cue, guide))
        for cues, sighting in zip(seen.views, seen.sightings, strict=True)
    )
    fused, disputes = fuse_views(views, *seen.witnesses)
    found = any(isinstance(sighting, Sighting) for sighting in seen.sightings)
    cues = (*fused, *said) if found else ()
    dated = estimate(guide, cues) if found else None
    if dated is not None:
        settled = {cue.name for cue in said}
        disputes = tuple(d for d in disputes if not settled.intersection(d.cues))
        several = one_or_several(guide, views, said, (name for d in disputes for name in d.cues))
        dated = replace(dated, conflicts=several + dated.conflicts + disputes)
    return Answer(
        photos=tuple(photos),
        sightings=seen.sightings,
        cues=cues,
        estimate=dated,
        views=views,
        versions={
            "telltale": __version__,
            "guide": f"{guide.name} {guide.version}",
            "model": model,
        },
    )


def _tells(cue: Cue, guide: Guide) -> bool:
    """Whether this guide could make anything of a cue: a tender is no news but to a tank engine."""
    return cue.name != COUPLED or guide.tank_engine
