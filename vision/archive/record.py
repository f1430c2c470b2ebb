"""One photo of the archive as a flat row: what `find` asks and what an export holds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from vision.archive.index import EngineRow
from vision.guide import covered_years
from vision.records import PHOTO_CUES, SEVERAL_ENGINES, VALUED_CUES
from vision.report.narrowing import names_no_year_plain

CUES = PHOTO_CUES


@dataclass(frozen=True, slots=True)
class Record:
    """One photo and the answer of the engine that it shows.

    Attributes
    ----------
    photo, engine, sha256 : str
    found : bool
        Whether any photo of the engine shows one.
    narrowed : bool
        Whether anything in view tells one variation from another. Where not, there is
        no year, no variation and no confidence: the first of equals and the guide's own
        years would be found by every query.
    years : str
        EDTF; "XXXX" for an engine in no variation, empty without one.
    covered : tuple of int
        Every year of `years`.
    confidence, p : float or None
        Of the years; of the variation.
    variation : str
    mismatched : bool
        The tender does not belong to the engine.
    several : bool
        The engine's photos seem to show more than one; the cues are those of this photo then.
    cues : mapping of str to (state, value, confidence)
    """

    photo: str
    engine: str
    sha256: str
    found: bool
    narrowed: bool
    years: str
    covered: tuple[int, ...]
    confidence: float | None
    variation: str
    p: float | None
    mismatched: bool
    several: bool
    cues: Mapping[str, tuple[str, str | None, float]]


def records_of(row: EngineRow) -> Iterator[Record]:
    """One record for each photo of an engine."""
    estimate: dict[str, Any] = row.answer["estimate"] or {}
    narrowed = bool(estimate) and not names_no_year_plain(estimate)
    dated = estimate if narrowed else {}
    best: dict[str, Any] = next(iter(dated.get("variations", ())), {})
    kinds = {conflict["kind"] for conflict in estimate.get("conflicts", ())}
    # A photo that another engine has taken over since is told of there.
    told = {_plain(photo["path"]): photo for photo in row.answer["photos"]}
    for path in row.photos:
        if (photo := told.get(_plain(path))) is None:
            continue
        yield Record(
            photo=path,
            engine=row.name,
            sha256=photo["sha256"],
            found=bool(estimate),
            narrowed=narrowed,
            years=dated.get("years", ""),
            covered=covered_years(dated.get("years", "")),
            confidence=dated.get("confidence"),
            variation=best.get("id", ""),
            p=best.get("p"),
            mismatched="engine_tender" in kinds,
            several=SEVERAL_ENGINES in kinds,
            cues={
                cue["name"]: (cue["state"], cue.get("value"), cue["confidence"])
                for cue in photo.get("cues", row.answer["cues"])
            },
        )


def variations_of(row: EngineRow) -> set[str]:
    """Ids of all variations of the guide that dated an engine; none where none was found."""
    estimate: dict[str, Any] = row.answer["estimate"] or {"variations": ()}
    return {candidate["id"] for candidate in estimate["variations"]}


def _plain(path: str) -> str:
    """A path as answers are kept with it."""
    return path.encode("utf-8", "backslashreplace").decode()


def columns(record: Record) -> dict[str, str | int | float | bool | None]:
    """Lay a record out as the columns of an export, always the same ones."""
    row: dict[str, str | int | float | bool | None] = {
        "photo": printable(record.photo),
        "engine": printable(record.engine),
        "sha256": record.sha256,
        "engine_found": record.found,
        "narrowed_down": record.narrowed,
        "years": record.years,
        "first_year": record.covered[0] if record.covered else None,
        "last_year": record.covered[-1] if record.covered else None,
        "confidence": record.confidence,
        "variation": record.variation,
        "variation_p": record.p,
        "tender_mismatched": record.mismatched,
        "several_engines": record.several,
    }
    for name in CUES:
        state, value, confidence = record.cues.get(name, ("unseen", None, 0.0))
        row[name] = state
        if name in VALUED_CUES:
            row[f"{name}_value"] = value
        row[f"{name}_confidence"] = confidence
    return row


def printable(path: str) -> str:
    r"""Write a name as text: bytes that are no UTF-8 as backslash and two figures.

    Examples
    --------
    >>> printable("caf\udce9.jpg")
    'caf\\xe9.jpg'
    """
    data = path.encode("utf-8", "surrogateescape")
    return data.decode("utf-8", "backslashreplace")
