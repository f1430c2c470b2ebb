"""What an answer says, as the values of a sidecar; knows nothing of XML."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass

from vision.estimate.strength import six_digits
from vision.guide import Guide, covered_years
from vision.pipeline.look import Look
from vision.records import YEAR_UNKNOWN, Answer, Box, Cue, Estimate, Sighting, State
from vision.report.narrowing import (
    NOT_IN_GUIDE,
    names_no_year,
    shows_several,
    tells_nothing,
)
from vision.report.words import (
    NOT_NARROWED,
    OUTSIDE_GUIDE,
    cue_words,
    headline,
    reading,
    years_words,
)

# Every keyword of ours begins so, as the branches of a keyword tree do; common practice
# of photo programs, no source.
ROOT = "telltale"
# Ids of our regions begin so, which is how they are told from other people's.
REGION_ID = "telltale:"
# Keyword of photos that were put together and seem to show several engines.
MIXED = "more than one engine"
# What stands in place of a name for an engine that the guide has none for.
UNKNOWN_ENGINE = "unknown engine"
# Relative coordinates: a hundred-thousandth is a tenth of a pixel of a 100-megapixel photo.
DIGITS = 6


@dataclass(frozen=True, slots=True)
class RegionTag:
    """One region: left, top, width, height as shares of the picture as it is stored."""

    id: str
    name: str
    role: str
    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Tags:
    """Everything that a sidecar says of one photo.

    Attributes
    ----------
    keywords : tuple of str
    description : str
    title : str
        Of the engine; empty where none was found.
    years : str
        EDTF (ISO 8601-2); empty where no year is named, or every year of the guide stays
        possible because nothing in view tells one variation from another.
    first_year, last_year : int or None
    regions : tuple of RegionTag
    more : tuple of (name, text)
        Further values in our own namespace.
    """

    keywords: tuple[str, ...]
    description: str
    title: str
    years: str
    first_year: int | None
    last_year: int | None
    regions: tuple[RegionTag, ...]
    more: tuple[tuple[str, str], ...]


def tags_of(answer: Answer, look: Look, guide: Guide, alone: Answer | None = None) -> Tags:
    """Tags for one photo of an engine.

    Parameters
    ----------
    answer : Answer
        Of the whole engine: keywords and years come from it.
    look : Look
        Of this photo: the regions come from it.
    guide : Guide
    alone : Answer or None
        Of this photo by itself, where the photos seem to show several engines: what these
        show together, none of them need show.
    """
    years = _years(answer)
    covered = covered_years(years)
    title = _title(answer, guide)
    shown = (alone or answer).cues
    more = [("Software", answer.versions["telltale"]), ("Guide", answer.versions["guide"])]
    more.append(("Model", answer.versions["model"]))
    if answer.estimate is not None and not tells_nothing(answer.estimate):
        more.append(("Confidence", f"{six_digits(answer.estimate.confidence):g}"))
        more.append(("Variation", answer.estimate.variations[0].id))
    return Tags(
        keywords=tuple(dict.fromkeys(_keywords(answer, shown, covered))),
        description=_description(answer, shown, guide),
        title=title,
        years=years,
        first_year=covered[0] if covered else None,
        last_year=covered[-1] if covered else None,
        regions=tuple(_regions(look, title, {cue.name for cue in shown})),
        more=tuple(more),
    )


def stored_box(box: Box, size: tuple[int, int], orientation: int) -> Box:
    """Carry a box of the upright photo to the picture as it is stored in the file.

    Parameters
    ----------
    box : Box
        Pixels of the upright photo.
    size : (int, int)
        Width and height of the upright photo.
    orientation : int
        1 to 8: which sides of the scene the stored row 0 and column 0 are (EXIF 2.32,
        CIPA DC-008, tag 0x0112).

    Returns
    -------
    Box
        Shares of the stored picture's width and height, 0 to 1, inside the picture.
    """
    width, height = size
    inside = box.clipped(width, height)
    left, right = inside.left / width, inside.right / width
    top, bottom = inside.top / height, inside.bottom / height
    mirrored = (1 - right, 1 - left)
    turned = (1 - bottom, 1 - top)
    across, down = {
        1: ((left, right), (top, bottom)),
        2: (mirrored, (top, bottom)),
        3: (mirrored, turned),
        4: ((left, right), turned),
        5: ((top, bottom), (left, right)),
        6: ((top, bottom), mirrored),
        7: (turned, mirrored),
        8: (turned, (left, right)),
    }[orientation]
    return Box(across[0], down[0], across[1], down[1])


def _years(answer: Answer) -> str:
    estimate = answer.estimate
    if estimate is None or estimate.years == YEAR_UNKNOWN or names_no_year(estimate):
        return ""
    return estimate.years


def _title(answer: Answer, guide: Guide) -> str:
    if answer.estimate is None:
        return ""
    # The title of the guide would have photo programs find any engine as one of the guide's.
    if shows_several(answer.estimate):
        return f"{UNKNOWN_ENGINE} ({MIXED})"
    best = answer.estimate.variations[0].id
    if best == NOT_IN_GUIDE:
        return f"{UNKNOWN_ENGINE} ({_outside(guide)})"
    return guide.title if tells_nothing(answer.estimate) else f"{guide.title}, {best}"


def _outside(guide: Guide) -> str:
    """Say that an engine is not in the guide where nothing else says which guide."""
    return f"not in guide {guide.name}"


def _keywords(answer: Answer, cues: Sequence[Cue], covered: tuple[int, ...]) -> Iterator[str]:
    yield ROOT
    if answer.estimate is None:
        yield f"{ROOT}/no engine"
        return
    if tells_nothing(answer.estimate):
        # The first of equals and the guide's own years would be found under every search.
        yield f"{ROOT}/{NOT_NARROWED}"
    else:
        yield from _dated(answer.estimate, covered)
    if shows_several(answer.estimate):
        yield f"{ROOT}/{MIXED}"
    for cue in cues:
        if cue.state is not State.UNSEEN:
            yield f"{ROOT}/{cue_words(cue.name)}/{reading(cue)}"
    if any(conflict.kind == "engine_tender" for conflict in answer.estimate.conflicts):
        yield f"{ROOT}/tender does not belong"


def _dated(estimate: Estimate, covered: tuple[int, ...]) -> Iterator[str]:
    best = estimate.variations[0].id
    yield f"{ROOT}/{OUTSIDE_GUIDE}" if best == NOT_IN_GUIDE else f"{ROOT}/variation/{best}"
    if covered:
        yield f"{ROOT}/years/{years_words(estimate.years)}"
    for year in covered:
        yield f"{ROOT}/year/{year}"


def _description(answer: Answer, cues: Sequence[Cue], guide: Guide) -> str:
    years, sure = headline(answer, alone=True)
    if answer.estimate is None:
        return f"{years}: {sure}"
    seen = ", ".join([*(_part(cue) for cue in cues if cue.state is State.PRESENT), years])
    if answer.estimate.years == YEAR_UNKNOWN:
        # `sure` says itself that the engine is none of the guide's.
        return f"{seen}: {UNKNOWN_ENGINE}, {sure.replace(OUTSIDE_GUIDE, _outside(guide))}"
    # How sure the years are stands beside them: behind the title it would be the variation's.
    return f"{seen}, {sure}: {_title(answer, guide)}"


def _part(cue: Cue) -> str:
    words = cue_words(cue.name)
    return words if cue.value is None else f"{words} {cue.value}"


def _regions(look: Look, title: str, asked: Set[str]) -> Iterator[RegionTag]:
    sighting = look.sighting
    if not isinstance(sighting, Sighting):
        return
    boxes = [("locomotive", title, "mainSubjectArea", sighting.locomotive)]
    if sighting.tender is not None:
        boxes.append(("tender", "tender", "subjectArea", sighting.tender))
    for cue in look.cues:
        # What this guide asks nothing about is told by no keyword, and found by no search.
        if cue.name in asked and cue.where is not None and cue.state is not State.UNSEEN:
            name = f"{cue_words(cue.name)}: {reading(cue)}"
            boxes.append((cue.name, name, "subjectArea", cue.where))
    for id, name, role, box in boxes:
        share = stored_box(box, look.size, look.orientation)
        if share.area > 0:
            yield RegionTag(
                f"{REGION_ID}{id}",
                name,
                role,
                left=round(share.left, DIGITS),
                top=round(share.top, DIGITS),
                width=round(share.width, DIGITS),
                height=round(share.height, DIGITS),
            )
