"""What a guide holds once it is read: frozen, checked, nothing of pixels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from vision.guide.whyte import driving_axles, names_tank_engine
from vision.records import State

# Shares used where a guide states none. Chosen, not measured: a collector's rough
# experience of old toys that were played with; every guide may state its own.
DEFAULT_LOST = 0.05
DEFAULT_ADDED = 0.02
DEFAULT_RECOLOURED = 0.04
DEFAULT_NUMBER_CHANGED = 0.03
DEFAULT_TENDER_SWAPPED = 0.15
DEFAULT_OTHER = 0.04
DEFAULT_REPRODUCTION = 0.01


@dataclass(frozen=True, slots=True)
class PartRates:
    """How often one part of surviving engines is no longer as the works left it.

    Attributes
    ----------
    lost : float
        Share of engines made with the part that no longer show it, 0 to 0.5.
    added : float
        Share of engines made without the part that show one today, 0 to 0.5.
    """

    lost: float = DEFAULT_LOST
    added: float = DEFAULT_ADDED


@dataclass(frozen=True, slots=True)
class Rates:
    """How often surviving engines differ from what left the works; shares, 0 to 0.5.

    Attributes
    ----------
    other : float
        Engines that belong to no variation of the guide.
    reproduction : float
        Later reproductions and engines put together from parts of several.
    tender_swapped : float
        Engines whose tender is not the one they were sold with.
    number_changed : float
        Engines that carry another number than the works gave them.
    recoloured : float
        Engines whose edge stripe has been repainted in another colour.
    parts : mapping of cue or check name to PartRates
    """

    other: float = DEFAULT_OTHER
    reproduction: float = DEFAULT_REPRODUCTION
    tender_swapped: float = DEFAULT_TENDER_SWAPPED
    number_changed: float = DEFAULT_NUMBER_CHANGED
    recoloured: float = DEFAULT_RECOLOURED
    parts: Mapping[str, PartRates] = field(default_factory=lambda: MappingProxyType({}))

    def of(self, part: str) -> PartRates:
        """Rates of `part`, or the default ones where the guide states none."""
        return self.parts.get(part, PartRates())

    @property
    def outside(self) -> float:
        """Share of engines that are none of the guide's, whatever the reason."""
        return self.other + self.reproduction


@dataclass(frozen=True, slots=True)
class Tender:
    """A tender of the family.

    Attributes
    ----------
    id : str
    axles, lamps : int
        Counts; the lamps at the rear.
    text : str
    lettering : bool | None
        Whether its sides are lettered; None where the guide does not say.
    """

    id: str
    axles: int
    lamps: int
    text: str = ""
    lettering: bool | None = None


@dataclass(frozen=True, slots=True)
class HandsOnCheck:
    """Something that only an engine in the hand can tell.

    Attributes
    ----------
    id : str
        Name of the check, used by variations and by `--saw`.
    question : str
        What is present or absent.
    instruction : str
        How to find out, one sentence that a person can follow.
    caution : str
        What to mind while doing so; may be empty.
    """

    id: str
    question: str
    instruction: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Variation:
    """One row of the guide.

    Attributes
    ----------
    id : str
    edtf : str
        Years as the guide states them (EDTF level 0 or 1).
    years : tuple of int
        Every calendar year that `edtf` covers, ascending.
    expects : mapping of cue or check name to State
        PRESENT or ABSENT; a name that the guide leaves open is missing.
    stripe_colour : str | None
        Colour of the edge stripe, where there is one and the guide states it.
    numbers : tuple of str
        Cab numbers it was sold with; empty where the guide states none.
    tenders : tuple of str
        Ids of the tenders it was sold with; empty for a tank engine.
    output : float
        Engines made a year, relative to other variations; 1 where not stated.
    text : str
    """

    id: str
    edtf: str
    years: tuple[int, ...]
    expects: Mapping[str, State]
    stripe_colour: str | None = None
    numbers: tuple[str, ...] = ()
    tenders: tuple[str, ...] = ()
    output: float = 1.0
    text: str = ""


@dataclass(frozen=True, slots=True)
class Guide:
    """A collector's own knowledge of one family of engines.

    Attributes
    ----------
    name : str
        Short name, such as that of a built-in guide or of the file.
    version : str
        What the author calls this state of the guide.
    title, maker, wheels, gauge : str
        For people; `wheels` in Whyte notation, `gauge` the nominal size ("0", "1").
    gauge_mm : float
        Distance between the rails in millimetres.
    scale : float
        The number n of the scale 1:n.
    lever_at : float | None
        How far along the boiler top this casting's switch lever stands: 0 at the front
        of the smokebox, 1 at the front of the cab. None where the guide does not say.
    sha256 : str
        Hexadecimal hash of the file; empty for a guide built in memory.
    """

    name: str
    version: str
    title: str
    maker: str
    gauge: str
    gauge_mm: float
    scale: float
    wheels: str
    variations: tuple[Variation, ...]
    tenders: tuple[Tender, ...] = ()
    checks: tuple[HandsOnCheck, ...] = ()
    rates: Rates = field(default_factory=Rates)
    lever_at: float | None = None
    sha256: str = ""

    def variation(self, id: str) -> Variation:
        """Return the variation with that id; KeyError if there is none."""
        for variation in self.variations:
            if variation.id == id:
                return variation
        raise KeyError(id)

    @property
    def check_names(self) -> tuple[str, ...]:
        """Ids of the hands-on checks, in the guide's order."""
        return tuple(check.id for check in self.checks)

    @property
    def driving_axles(self) -> int | None:
        """Driving axles of the casting by `wheels`; None where that cannot be read."""
        try:
            return driving_axles(self.wheels)
        except ValueError:
            return None

    @property
    def tank_engine(self) -> bool:
        """Whether the casting is a tank engine by `wheels`, and no tender is listed."""
        try:
            return names_tank_engine(self.wheels) and not self.tenders
        except ValueError:
            return False

    @property
    def numbers(self) -> tuple[str, ...]:
        """Every cab number of the guide once, sorted."""
        return tuple(sorted({number for v in self.variations for number in v.numbers}))

    @property
    def tells_lettering(self) -> bool:
        """Whether it says of any tender that it is lettered, or is not."""
        return any(tender.lettering is not None for tender in self.tenders)

    @property
    def stripe_colours(self) -> tuple[str, ...]:
        """Every stripe colour of the guide once, sorted."""
        return tuple(sorted({v.stripe_colour for v in self.variations if v.stripe_colour}))

    @property
    def years(self) -> tuple[int, ...]:
        """Every year in which any variation was made, ascending."""
        return tuple(sorted({year for v in self.variations for year in v.years}))


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that `check_guide` has to say.

    Attributes
    ----------
    severity : str
        "error": the guide cannot be used; "warning": it can, but look again.
    line : int
        Line of the file, from 1.
    message : str
    name : str
        File or guide that was checked.
    """

    severity: str
    line: int
    message: str
    name: str = ""

    def __str__(self) -> str:
        return f"{self.name}:{self.line}: {self.severity}: {self.message}"
