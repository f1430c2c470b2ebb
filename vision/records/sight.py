"""What a photo is and what the eye makes of it: sightings, measurements, cues."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from vision.records.geometry import Box, Pixels, Region

WORTH_NAMING = 0.3  # of a value that an unclear cue may have; chosen
BINARY_CUES = ("switch_lever", "side_linkage", "edge_stripe")
ILLEGIBLE = "?"  # stands in a cab number for a character that cannot be told
FIGURES = "0123456789"  # all that is read of a cab number
MOST_FIGURES = 5  # of a cab number that is read
# What a photo may tell a painted line's colour as; nothing else can be compared with one.
LINE_COLOURS = ("white", "cream", "yellow", "orange", "red", "green", "blue", "purple")
DRIVING = "driving_axles"
VALUED_CUES = (DRIVING, "tender_axles", "tender_lamps", "cab_number")
# Of these a photo tells that they are there, never that they are not.
COUPLED, LETTERING = "tender_coupled", "tender_lettering"
# Everything that is read of a photo, in the order in which it is told.
PHOTO_CUES = (
    *(*BINARY_CUES, DRIVING, COUPLED),
    *("tender_axles", "tender_lamps", LETTERING, "cab_number"),
)
REGION_OF_CUE: Mapping[str, str] = MappingProxyType(
    {
        "switch_lever": "boiler_top",
        "side_linkage": "side_rods",
        "edge_stripe": "running_board",
    }
)


def can_be_read(number: str) -> bool:
    """Whether photos are read for such a cab number: one to five figures, no letters.

    Examples
    --------
    >>> can_be_read("316"), can_be_read("A10"), can_be_read("310316")
    (True, False, False)
    """
    return 1 <= len(number) <= MOST_FIGURES and set(number) <= set(FIGURES)


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
    tender_score : float | None
        The finder's score of the tender; None where there is none, or none was kept.
    another : Box | None
        Another steam locomotive, clear of this one and its tender, of which nothing is
        read; None where none is surely seen.
    """

    locomotive: Box
    tender: Box | None
    faces: Heading
    regions: Mapping[str, Region]
    visible: Mapping[str, float]
    score: float
    another: Box | None = None
    tender_score: float | None = None


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
class Closely:
    """What a closer look at one place of a region says of a part.

    Attributes
    ----------
    place : float
        Share of the region's length from its front.
    p_present : float
        Probability that the part is present, given that it stands there.
    clear : float
        Probability that it could be seen there.
    in_sight : bool
        Whether a state may be called from this look.
    """

    place: float
    p_present: float
    clear: float
    in_sight: bool


@dataclass(frozen=True, slots=True)
class Cue:
    """What one photo (or one person) says of one dating cue.

    Attributes
    ----------
    name : str
        One of PHOTO_CUES, or a hands-on check of the guide.
    state : State
        Valued cues that were read are PRESENT and carry `value`.
    p_present : float | None
        Calibrated probability that the part is present; None where not judged.
    value : str | None
        For valued cues: "6", "322", "0" where there is none of what is counted; else None,
        but for a colour that a person names.
    confidence : float
        Probability that `state` (and `value`) is right, 0 to 1; 0 if UNSEEN.
    where : Box | None
        Where to look, pixels of the upright photo.
    because : str
        One line a collector can check against the picture.
    values : mapping of str to float
        For valued cues: probability of each candidate value; of a stripe, of each colour
        it has if it is there; empty otherwise.
    source : str
        "photo" or "person".
    in_sight : bool
        Of an UNSEEN cue: its place can be seen, but not what is there.
    clear : float | None
        Probability that the part could be seen if it were there; None where not judged.
    photo : int
        Which of the answer's photos `where` refers to, counted from 0.
    along : tuple of float
        Of a part that may stand anywhere along its region: probability that it is
        present, given that it stands in the first, second, ... of so many equal parts
        of the region from front to rear. Empty where it was not judged so.
    near : tuple of Closely
        Places that were looked at closely, and what was seen there.
    along_in_sight : bool
        Whether a state may be called from `along`; otherwise the region is hidden or too
        unclear, and the probabilities are all there is.
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
    in_sight: bool = False
    photo: int = 0
    along: tuple[float, ...] = ()
    near: tuple[Closely, ...] = ()
    along_in_sight: bool = False
    clear: float | None = None

    @property
    def leaning(self) -> float | None:
        """Probability that the part is there, by an UNSEEN cue whose place is in sight.

        With the probability `clear` the reading tells what it says, otherwise nothing. None
        of any other cue.
        """
        if self.state is not State.UNSEEN or not self.in_sight:
            return None
        if self.p_present is None or self.clear is None:
            return None
        return 0.5 + self.clear * (self.p_present - 0.5)

    @property
    def may_be(self) -> Mapping[str, float]:
        """Probability of each value that an UNSEEN valued cue may have, its place in sight.

        May sum to less than 1. Empty of any other cue.
        """
        unclear = self.state is State.UNSEEN and self.in_sight and self.name in VALUED_CUES
        return self.values if unclear else MappingProxyType({})

    @property
    def likeliest(self) -> str | None:
        """The likeliest of the values that it may have; None where it may have none of several."""
        return max(self.may_be, key=lambda v: self.may_be[v], default=None)

    @property
    def perhaps(self) -> str | None:
        """The likeliest of the values that it may have; None where that is not worth naming."""
        value = self.likeliest
        return value if value is not None and self.may_be[value] >= WORTH_NAMING else None

    @property
    def speaks(self) -> bool:
        """Whether anything follows from it: it is stated, or unclear and may be told."""
        leans = self.leaning is not None or bool(self.may_be)
        return self.state is not State.UNSEEN or leans
