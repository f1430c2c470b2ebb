"""An argument from cues to years, and the whole answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from vision.records.sight import Cue, NotFound, Photo, Sighting


@dataclass(frozen=True, slots=True)
class Candidate:
    """One variation of a guide, or "not in this guide", with its probability."""

    id: str
    years: str
    p: float


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the argument.

    `likelihoods` holds P(evidence | hypothesis) for every hypothesis id; the
    product over all steps with the prior, normalised, is the answer. A step that
    changes nothing (an unseen cue) holds equal likelihoods.

    `strength` says in words what `ratio` is: how often more probable the evidence is under
    `leader`, the likeliest variation or "other", than under all others together. `fits` are
    the variations that were made as was read most probably, or of which the guide does not
    say. `why` is the reason why nothing was made of an unused cue.

    `taken_for` is empty but for a cab number of a photo that may well be another misread:
    the probability of each number that it is weighed as, "unlisted" for all that the guide
    lacks.
    """

    kind: str
    cue: str | None
    text: str
    likelihoods: Mapping[str, float]
    strength: str = ""
    ratio: float | None = None
    leader: str = ""
    fits: tuple[str, ...] = ()
    why: str = ""
    taken_for: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


# Kind of the conflict that photos put together seem to be of several engines.
SEVERAL_ENGINES = "engines"
# And where they may, though one is likelier.
PERHAPS_SEVERAL = "perhaps_engines"


@dataclass(frozen=True, slots=True)
class Conflict:
    """Evidence that does not belong together, and the likely story."""

    kind: str
    cues: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class NextLook:
    """What to look at next: a cue no photo settled, or a hands-on check.

    `candidates_left` is the effective number of variations ("other" counts as one)
    that are expected to remain after the look: 2 to the power of the entropy in bits.
    `caution` is what to mind while looking; may be empty.
    """

    name: str
    instruction: str
    gain_bits: float
    hands_on: bool
    candidates_left: float | None = None
    caution: str = ""


# EDTF for a year of which no figure is known: what is said when the engine is more
# probably in no variation of the guide than in all of them together.
YEAR_UNKNOWN = "XXXX"


@dataclass(frozen=True, slots=True)
class Estimate:
    """Years and variations with the whole argument.

    `years` is EDTF (ISO 8601-2): a year, an interval, or a set of either, or `YEAR_UNKNOWN`.
    `confidence` is the posterior mass of the variation-years in `years`.
    """

    years: str
    confidence: float
    variations: tuple[Candidate, ...]
    steps: tuple[Step, ...]
    conflicts: tuple[Conflict, ...]
    look_next: tuple[NextLook, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """Everything the tool says about one engine.

    `sightings` has one entry per photo; `cues` are the fused ones that the
    estimate used. `estimate` is None where no photo shows a locomotive. `by_default` is
    whether nobody named a guide, so that the built-in example was taken. `views` are the
    cues of each photo by itself, before they were fused; empty where they were not kept.
    """

    photos: tuple[Photo, ...]
    sightings: tuple[Sighting | NotFound, ...]
    cues: tuple[Cue, ...]
    estimate: Estimate | None
    versions: Mapping[str, str]
    by_default: bool = False
    views: tuple[tuple[Cue, ...], ...] = ()
