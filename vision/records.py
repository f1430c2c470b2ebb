"""Every frozen value that flows between stages, and every error.

Conventions, stated here once and used everywhere:

* A box is left, top, right, bottom in pixels of the upright photo at its full
  size, half-open, x to the right, y down. (row, col) only when indexing an array.
* A region is a quadrilateral, corners in the order front-top, rear-top,
  rear-bottom, front-bottom, where "front" is the chimney end of the engine.
* Angles are radians inside and degrees at surfaces.
* UNSEEN is never ABSENT: an unseen cue changes no probability.

This module imports numpy and the standard library only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Point = tuple[float, float]
Region = tuple[Point, Point, Point, Point]

BINARY_CUES = ("switch_lever", "side_linkage", "edge_stripe")
VALUED_CUES = ("tender_axles", "tender_lamps", "cab_number")
REGION_OF_CUE: Mapping[str, str] = MappingProxyType(
    {
        "switch_lever": "boiler_top",
        "side_linkage": "side_rods",
        "edge_stripe": "running_board",
    }
)


class State(StrEnum):
    """What a photo shows of one cue."""

    PRESENT = "present"
    ABSENT = "absent"
    UNSEEN = "unseen"


class Heading(StrEnum):
    """Where the chimney end of the engine points in the picture."""

    LEFT = "left"
    RIGHT = "right"
    TOWARD = "toward"
    AWAY = "away"


@dataclass(frozen=True, slots=True)
class Box:
    """An axis-aligned rectangle in pixels of the upright photo, half-open."""

    left: float
    top: float
    right: float
    bottom: float

    def __post_init__(self) -> None:
        edges = (self.left, self.top, self.right, self.bottom)
        if not all(math.isfinite(edge) for edge in edges):
            raise ValueError(f"box: finite edges expected, got {edges}")
        if self.right < self.left or self.bottom < self.top:
            raise ValueError(f"box: left <= right and top <= bottom expected, got {edges}")

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.bottom - self.top

    @property
    def area(self) -> float:
        return self.width * self.height

    @property
    def centre(self) -> Point:
        return ((self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0)

    def intersection_over_union(self, other: Box) -> float:
        """Area shared with `other` over area covered by either, 0 to 1."""
        width = min(self.right, other.right) - max(self.left, other.left)
        height = min(self.bottom, other.bottom) - max(self.top, other.top)
        if width <= 0 or height <= 0:
            return 0.0
        shared = width * height
        return shared / (self.area + other.area - shared)

    def clipped(self, width: float, height: float) -> Box:
        """The part of this box inside a picture of `width` by `height` pixels."""
        left, right = (min(max(x, 0.0), width) for x in (self.left, self.right))
        top, bottom = (min(max(y, 0.0), height) for y in (self.top, self.bottom))
        return Box(left, top, right, bottom)

    def scaled(self, factor: float) -> Box:
        """This box in a picture resized by `factor`."""
        return Box(*(edge * factor for edge in self.as_tuple()))

    def padded(self, share: float) -> Box:
        """This box grown on every side by `share` of its width and height."""
        dx, dy = self.width * share, self.height * share
        return Box(self.left - dx, self.top - dy, self.right + dx, self.bottom + dy)

    def as_tuple(self) -> tuple[float, float, float, float]:
        return (self.left, self.top, self.right, self.bottom)


@dataclass(frozen=True, slots=True)
class Photo:
    """A decoded photo, upright.

    Attributes
    ----------
    pixels : ndarray, shape (H, W, 3), uint8, RGB, read-only
        May have been decoded at a reduced scale; `scale` says how much.
    size : (int, int)
        Width and height of the upright photo at full scale, in pixels. All boxes
        and regions refer to this size.
    sha256 : str
        Hexadecimal hash of the file's bytes.
    name : str
        Path or other name, for messages.
    taken : str | None
        Capture time from EXIF as ISO 8601, without zone; None if not recorded.
    notes : tuple of str
        What a reader should know of the decoding: damaged EXIF, an animation.
    orientation : int
        Orientation stored in the file, 1 to 8 (EXIF, CIPA DC-008, tag 0x0112): how the
        stored pixels were turned to make the photo upright. 1 where none is stored.
    content : bytes | None
        The file's bytes where `pixels` were decoded at a reduced scale, so that small
        parts can be looked at more closely; else None.
    """

    pixels: Pixels
    size: tuple[int, int]
    sha256: str
    name: str
    taken: str | None = None
    notes: tuple[str, ...] = ()
    orientation: int = 1
    content: bytes | None = field(default=None, repr=False, compare=False)

    @property
    def scale(self) -> float:
        """Pixels of `pixels` per pixel of the full-size photo."""
        return float(self.pixels.shape[1]) / self.size[0]


@dataclass(frozen=True, slots=True)
class Sighting:
    """Where an engine is in a photo.

    Attributes
    ----------
    locomotive : Box
        The engine without its tender.
    tender : Box | None
    faces : Heading
    regions : mapping of region name to Region
        "boiler_top", "side_rods", "running_board"; a region that is turned away
        or out of the picture is still given where it would be.
    visible : mapping of region name to float
        Estimated share of the region that can be seen, 0 to 1.
    score : float
        Probability that there is a steam locomotive in `locomotive`.
    """

    locomotive: Box
    tender: Box | None
    faces: Heading
    regions: Mapping[str, Region]
    visible: Mapping[str, float]
    score: float


@dataclass(frozen=True, slots=True)
class NotFound:
    """No steam locomotive to judge, and why. False in a condition."""

    reason: str
    score: float = 0.0

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True)
class Measurement:
    """One classical measurement. `where` is in the pixels of the crop measured."""

    name: str
    value: float
    unit: str
    where: Box | None = None


@dataclass(frozen=True, slots=True)
class Probability:
    """One probability out of a network, in [0, 1]."""

    label: str
    p: float


@dataclass(frozen=True, slots=True)
class Cue:
    """What one photo (or one person) says of one dating cue.

    Attributes
    ----------
    name : str
        One of BINARY_CUES or VALUED_CUES, or a hands-on check of the guide.
    state : State
        Valued cues that were read are PRESENT and carry `value`.
    p_present : float | None
        Calibrated probability that the part is present; None where not judged.
    value : str | None
        For valued cues: "6", "322"; else None.
    confidence : float
        Probability that `state` (and `value`) is right, 0 to 1; 0 if UNSEEN.
    where : Box | None
        Where to look, pixels of the upright photo.
    because : str
        One line a collector can check against the picture.
    values : mapping of str to float
        For valued cues: probability of each candidate value; empty otherwise.
    source : str
        "photo" or "person".
    photo : int
        Which of the answer's photos `where` refers to, counted from 0.
    """

    name: str
    state: State
    p_present: float | None = None
    value: str | None = None
    confidence: float = 0.0
    where: Box | None = None
    because: str = ""
    values: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    source: str = "photo"
    photo: int = 0


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
    """

    kind: str
    cue: str | None
    text: str
    likelihoods: Mapping[str, float]
    strength: str = ""


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


@dataclass(frozen=True, slots=True)
class Estimate:
    """Years and variations with the whole argument.

    `years` is EDTF (ISO 8601-2): a year, an interval, or a set of either.
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
    estimate used. `estimate` is None where no photo shows a locomotive.
    """

    photos: tuple[Photo, ...]
    sightings: tuple[Sighting | NotFound, ...]
    cues: tuple[Cue, ...]
    estimate: Estimate | None
    versions: Mapping[str, str]


class TelltaleError(Exception):
    """A failure a person can act on. One line, and an exit code of its own."""

    exit_code = 1


class PhotoMissing(TelltaleError):
    """No file there."""

    exit_code = 10


class PhotoIsFolder(TelltaleError):
    """A folder where a photo was expected."""

    exit_code = 11


class PhotoEmpty(TelltaleError):
    """A file without a byte."""

    exit_code = 12


class PhotoUnreadable(TelltaleError):
    """Not a picture, or a damaged one."""

    exit_code = 13


class PhotoTooLarge(TelltaleError):
    """More pixels or bytes than the limit; refused before decoding."""

    exit_code = 14


class PhotoTooSmall(TelltaleError):
    """Too few pixels to show anything."""

    exit_code = 15


class GuideError(TelltaleError):
    """A guide that cannot be used; the message names the line."""

    exit_code = 20


class EvidenceError(TelltaleError):
    """A --saw statement that the guide does not know."""

    exit_code = 21


class ArchiveError(TelltaleError):
    """An archive that cannot be worked on as asked: no folder, not tagged yet, a bad query."""

    exit_code = 50


class ArchiveBusy(TelltaleError):
    """Another run is at work in the same archive."""

    exit_code = 51


class SidecarError(TelltaleError):
    """A sidecar that is there but cannot be read, or cannot be written; left as it is."""

    exit_code = 52


class ModelError(TelltaleError):
    """A model file that is missing, altered, or made for another version."""

    exit_code = 30


class OutputError(TelltaleError):
    """A result that cannot be written, or would overwrite something."""

    exit_code = 40


class PageError(TelltaleError):
    """The page cannot be opened: a part not installed, a port taken, no network."""

    exit_code = 60


class ListingsError(TelltaleError):
    """Listings that cannot be read as asked: no file, no such kind, a part not installed."""

    exit_code = 70
