"""One listing, whole: its photos looked at, its claims judged, as plain values to keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vision.listings.claims import find_claims
from vision.listings.parts import Lexicon
from vision.listings.pictures import FLAT_SHARE, flat_share, likeness, listed_path, open_listed
from vision.listings.ranking import qualities
from vision.listings.values import Listing
from vision.listings.verdicts import Judged, judge, overall
from vision.photo import open_photo
from vision.pipeline import date_item
from vision.records import BINARY_CUES, Answer, Cue, NotFound, Photo, Sighting, State, TelltaleError
from vision.report import answer_json
from vision.report.words import next_looks

if TYPE_CHECKING:
    from vision.pipeline import Eye

# Photos of one listing that are looked at; the rest are named as left out. Chosen: all
# are in memory at once, and the thirteenth hardly shows another side.
MOST_PHOTOS = 12
# How sure two photos must be of opposite things for them to show two engines. Chosen.
DIFFERENT_FROM = 0.95


@dataclass(frozen=True, slots=True)
class Task:
    """One listing to examine.

    Attributes
    ----------
    key : str
        Under which its record is kept.
    listing : Listing
    folder : Path
        That its photos' paths are relative to.
    fetched : tuple of (str, str, str)
        For each address the file it was fetched to, or "" and then why not.
    """

    key: str
    listing: Listing
    folder: Path
    fetched: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Examined:
    """What came of a task: a record of plain values. `again`: it is worth another try."""

    key: str
    record: dict[str, Any]
    again: bool = False


@dataclass(slots=True)
class _Memory:
    """An eye that looks at each photo once and keeps what it saw."""

    eye: Eye
    looks: dict[str, tuple[Sighting | NotFound, tuple[Cue, ...]]] = field(default_factory=dict)

    @property
    def version(self) -> str:
        """Version of the eye behind."""
        return self.eye.version

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        """Look, or remember."""
        key = f"{photo.sha256} {photo.name}"
        if key not in self.looks:
            self.looks[key] = self.eye.look(photo)
        return self.looks[key]


def examine(task: Task, lexicon: Lexicon, load_eye: Callable[[], Eye]) -> Examined:
    """Examine one listing. A photo that cannot be read is recorded, and no other harmed."""
    listing, guide = task.listing, lexicon.guide
    photos, rows, again = _open(task)
    eye = _Memory(load_eye()) if photos else None
    answer = date_item(photos, guide, eye) if eye is not None else None
    differ = _differences(photos, eye) if eye is not None else ()
    claims = find_claims(listing, lexicon)
    judged = judge(claims, answer, guide, one_engine=not differ)
    shown = _shown(judged, answer)
    together, complete = qualities(answer, guide)
    record = {
        "id": listing.id,
        "source": listing.source,
        "title": listing.title,
        "description": listing.description,
        "price": None if listing.price is None else str(listing.price),
        "currency": listing.currency,
        "link": listing.link,
        "notes": [*listing.notes, *differ],
        "photos": rows,
        "verdict": overall(judged).value,
        "claims": [_claim(item, rows) for item in judged],
        "together": round(together, 4),
        "complete": round(complete, 4),
        "ask": _ask(answer),
        "shown": None if shown is None else _row_of(rows, shown),
        "answer": None if answer is None else answer_json(answer),
    }
    return Examined(task.key, record, again)


def _open(task: Task) -> tuple[list[Photo], list[dict[str, Any]], bool]:
    """Open photos; what each became, in the order of the listing; whether to try again."""
    fetched = {url: (path, why) for url, path, why in task.fetched}
    photos: list[Photo] = []
    rows: list[dict[str, Any]] = []
    again = False
    for position, reference in enumerate(task.listing.photos):
        row: dict[str, Any] = {"path": reference}
        rows.append(row)
        path, why = fetched.get(reference, ("", ""))
        if position >= MOST_PHOTOS:
            row["error"] = f"not looked at: only the first {MOST_PHOTOS} photos are"
        elif is_address(reference) and not path:
            row["error"] = why or "an address; give --fetch to have it fetched"
            again = again or bool(why)
        else:
            try:
                photo = open_photo(Path(path)) if path else open_listed(task.folder, reference)
            except TelltaleError as error:
                row["error"] = _without_name(
                    str(error), (path, str(task.folder / reference), reference)
                )
                continue
            except MemoryError:
                row["error"] = "too large for this machine's memory"
                continue
            row |= {"file": path or str(listed_path(task.folder, reference))}
            row |= {"sha256": photo.sha256, "size": list(photo.size), "alike": likeness(photo)}
            row["index"] = len(photos)
            if flat_share(photo) >= FLAT_SHARE:
                row["drawn"] = True
            photos.append(photo)
    return photos, rows, again


def _without_name(text: str, names: Sequence[str]) -> str:
    """Return an error without the file's name before it: the row has it already."""
    for name in names:
        if name and text.startswith(f"{name}: "):
            return text[len(name) + 2 :]
    return text


def is_address(reference: str) -> bool:
    """Whether a photo is named by an address rather than a path."""
    return reference.lower().startswith(("http://", "https://"))


def _differences(photos: Sequence[Photo], eye: _Memory) -> tuple[str, ...]:
    """Say which photos are sure of opposite things, so that they may show two engines."""
    looks = [eye.look(photo)[1] for photo in photos]
    said = []
    for (i, first), (j, second) in combinations(enumerate(looks), 2):
        for name in (*BINARY_CUES, "cab_number", "tender_axles"):
            readings = [_sure(cues, name) for cues in (first, second)]
            if None not in readings and readings[0] != readings[1]:
                words = name.replace("_", " ")
                said.append(
                    f"photos {i + 1} and {j + 1} may show different engines: "
                    f"{words} {readings[0]} in one, {readings[1]} in the other"
                )
                break
    return tuple(said)


def _sure(cues: Sequence[Cue], name: str) -> str | None:
    for cue in cues:
        if cue.name == name and cue.state is not State.UNSEEN and cue.confidence >= DIFFERENT_FROM:
            return cue.state.value if name in BINARY_CUES else cue.value
    return None


def _shown(judged: Sequence[Judged], answer: Answer | None) -> int | None:
    """Which photo to put on the card: that of a contradiction, else the first engine's."""
    if answer is None:
        return None
    for verdict in ("contradicted", "supported"):
        for item in judged:
            if item.verdict.value == verdict and item.photo is not None:
                return item.photo
    found = (i for i, s in enumerate(answer.sightings) if isinstance(s, Sighting))
    return next(found, 0)


def _row_of(rows: Sequence[dict[str, Any]], index: int) -> int:
    return next(i for i, row in enumerate(rows) if row.get("index") == index)


def _claim(item: Judged, rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    claim = item.claim
    return {
        "kind": claim.kind.value,
        "about": claim.about,
        "value": claim.value,
        "words": claim.text,
        "span": [claim.span.field, claim.span.start, claim.span.end],
        "hedged": claim.hedged,
        "verdict": item.verdict.value,
        "text": item.text,
        "p_true": None if item.p_true is None else float(f"{item.p_true:.6g}"),
        "ratio": None if item.ratio is None else float(f"{item.ratio:.6g}"),
        "photo": None if item.photo is None else _row_of(rows, item.photo),
        "where": None if item.where is None else [round(e, 1) for e in item.where.as_tuple()],
        "region": None
        if item.region is None
        else [[round(x, 1), round(y, 1)] for x, y in item.region],
    }


def _ask(answer: Answer | None) -> dict[str, str] | None:
    """Return the next best look as what to ask of the seller."""
    if answer is None or answer.estimate is None:
        return None
    looks = next_looks(answer.estimate)
    if not looks:
        return None
    return {"name": looks[0].name, "text": looks[0].instruction, "caution": looks[0].caution}
