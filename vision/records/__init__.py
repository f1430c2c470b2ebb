"""Every frozen value that flows between stages, and every error.

Conventions, stated here once and used everywhere:

* A box is left, top, right, bottom in pixels of the upright photo at its full
  size, half-open, x to the right, y down. (row, col) only when indexing an array.
* A region is a quadrilateral, corners in the order front-top, rear-top,
  rear-bottom, front-bottom, where "front" is the chimney end of the engine.
* Angles are radians inside and degrees at surfaces.
* UNSEEN is never ABSENT: an unseen cue changes no probability. One whose place is in sight
  but too unclear to call is UNSEEN too; it counts by what it leans to, `Cue.leaning`,
  or by what it may be, `Cue.may_be`.

This module imports numpy and the standard library only.
"""

from vision.records.argument import (
    PERHAPS_SEVERAL,
    SEVERAL_ENGINES,
    YEAR_UNKNOWN,
    Answer,
    Candidate,
    Conflict,
    Estimate,
    NextLook,
    Step,
)
from vision.records.errors import (
    ArchiveBusy,
    ArchiveError,
    EvidenceError,
    GuideError,
    ListingsError,
    ModelError,
    OutputError,
    PageError,
    PhotoEmpty,
    PhotoIsFolder,
    PhotoMissing,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
    SidecarError,
    TelltaleError,
    did_you_mean,
    nearest,
)
from vision.records.files import OWN_FOLDER
from vision.records.geometry import (
    Box,
    Pixels,
    Point,
    Region,
)
from vision.records.sight import (
    BINARY_CUES,
    COUPLED,
    DRIVING,
    FIGURES,
    ILLEGIBLE,
    LETTERING,
    LINE_COLOURS,
    MOST_FIGURES,
    PHOTO_CUES,
    REGION_OF_CUE,
    VALUED_CUES,
    Closely,
    Cue,
    Heading,
    Measurement,
    NotFound,
    Photo,
    Probability,
    Sighting,
    State,
    can_be_read,
)

__all__ = [
    "BINARY_CUES",
    "COUPLED",
    "DRIVING",
    "FIGURES",
    "ILLEGIBLE",
    "LETTERING",
    "LINE_COLOURS",
    "MOST_FIGURES",
    "OWN_FOLDER",
    "PERHAPS_SEVERAL",
    "PHOTO_CUES",
    "REGION_OF_CUE",
    "SEVERAL_ENGINES",
    "VALUED_CUES",
    "YEAR_UNKNOWN",
    "Answer",
    "ArchiveBusy",
    "ArchiveError",
    "Box",
    "Candidate",
    "Closely",
    "Conflict",
    "Cue",
    "Estimate",
    "EvidenceError",
    "GuideError",
    "Heading",
    "ListingsError",
    "Measurement",
    "ModelError",
    "NextLook",
    "NotFound",
    "OutputError",
    "PageError",
    "Photo",
    "PhotoEmpty",
    "PhotoIsFolder",
    "PhotoMissing",
    "PhotoTooLarge",
    "PhotoTooSmall",
    "PhotoUnreadable",
    "Pixels",
    "Point",
    "Probability",
    "Region",
    "SidecarError",
    "Sighting",
    "State",
    "Step",
    "TelltaleError",
    "can_be_read",
    "did_you_mean",
    "nearest",
]
