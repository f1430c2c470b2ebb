"""What flows between the stages that judge listings; frozen, plain, nothing of pixels."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Listing:
    """One engine offered for sale, as its seller describes it.

    Attributes
    ----------
    id : str
        The seller's or the file's own name for it; where none is given, `source`.
    title, description : str
        Plain text, as written.
    price : Decimal or None
        None where none is given, or what is given is no amount.
    currency : str
        ISO 4217, three capitals; empty where unknown.
    link : str
    photos : tuple of str
        Paths relative to the folder of the file, or http(s) addresses.
    source : str
        File and line, or file and position on the page.
    notes : tuple of str
        What was odd about the row and did not stop it.
    """

    id: str
    title: str
    description: str = ""
    price: Decimal | None = None
    currency: str = ""
    link: str = ""
    photos: tuple[str, ...] = ()
    source: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that could not be read, and why, in one line. The others are not affected."""

    source: str
    reason: str


@dataclass(frozen=True, slots=True)
class View:
    """What was seen in a photo, whichever listings show it; travels between processes.

    Attributes
    ----------
    sha256 : str
        Of the photo's bytes.
    bytes : int
        How many.
    look : str
        As `vision.pipeline.look.look_to_text` writes it.
    is_drawn : bool
        It is too even for a photograph.
    """

    sha256: str
    bytes: int
    look: str
    is_drawn: bool


# Before the value of a colour that is denied: "not red".
NOT = "not "


class Kind(StrEnum):
    """What a claim is about."""

    YEAR = "year"
    NUMBER = "number"
    PART = "part"
    COLOUR = "colour"
    AXLES = "axles"
    LAMPS = "lamps"
    TENDER = "tender"
    VARIATION = "variation"
    ORIGINAL = "original"
    CHECK = "check"
    CONDITION = "condition"


@dataclass(frozen=True, slots=True)
class Span:
    """Half-open range of characters in one text of a listing."""

    field: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Claim:
    """One statement of a listing that could be true or false.

    Attributes
    ----------
    kind : Kind
    about : str
        A cue, "tender", a check of the guide; "" where the kind says it all.
    value : str
        "present" or "absent" for parts; EDTF for years; a number, colour, count or id;
        a colour that is denied after `NOT`.
    span : Span
        Where it stands, negation included.
    text : str
        The words themselves.
    hedged : bool
        The seller says that they are not sure.
    tentative : bool
        The words may mean something else: photos may bear it out, never contradict it.
    years : tuple of int
        For years: every calendar year that the words allow, ascending, without the
        leeway of "about".
    leeway : int
        Years on either side that "about" allows besides.
    """

    kind: Kind
    about: str
    value: str
    span: Span
    text: str
    hedged: bool = False
    years: tuple[int, ...] = field(default=())
    leeway: int = 0
    tentative: bool = False


class Verdict(StrEnum):
    """What the photos say of a claim."""

    SUPPORTED = "supported"
    CONTRADICTED = "contradicted"
    CANNOT_TELL = "cannot tell"
