"""One listing, whole: its photos looked at, its claims judged, as plain values to keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vision.estimate.strength import six_digits
from vision.listings.claims import find_claims
from vision.listings.parts import Lexicon
from vision.listings.pictures import FLAT_SHARE, LIMITS, flat_share, listed_path
from vision.listings.ranking import qualities
from vision.listings.values import Listing, View
from vision.listings.verdicts import Judged, fits_together, judge, overall
from vision.photo import open_photo
from vision.pipeline.kept import date_looks, look_kept
from vision.pipeline.look import Look, look_from_text, look_to_text
from vision.pipeline.views import agree
from vision.records import BINARY_CUES, DRIVING, Answer, Cue, Sighting, State, TelltaleError
from vision.report import answer_json
from vision.report.narrowing import shows_several
from vision.report.words import SEVERAL, next_looks

if TYPE_CHECKING:
    from vision.pipeline import Eye

# Photos of one listing that are looked at; the rest are named as left out. Chosen: the
# thirteenth hardly shows another side, and a listing must not cost an hour.
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
    known : tuple of (str, View)
        For photos, as the listing names them, that need not be looked at again.
    """

    key: str
    listing: Listing
    folder: Path
    fetched: tuple[tuple[str, str, str], ...] = ()
    known: tuple[tuple[str, View], ...] = ()


@dataclass(frozen=True, slots=True)
class Examined:
    """What came of a task.

    Attributes
    ----------
    key : str
    record : dict
        Plain values.
    again : bool
        It is worth another try.
    views : tuple of View
        What was seen in photos that were not known.
    """

    key: str
    record: dict[str, Any]
    again: bool = False
    views: tuple[View, ...] = ()


def examine(task: Task, lexicon: Lexicon, load_eye: Callable[[], Eye]) -> Examined:
    """Examine one listing. A photo that cannot be read is recorded, and no other harmed."""
    listing, guide = task.listing, lexicon.guide
    desk = _Desk(task, load_eye)
    rows = [desk.row(place, photo) for place, photo in enumerate(listing.photos)]
    looks = desk.looks
    answer = date_looks(desk.names, looks, guide, load_eye().version) if looks else None
    differ = _differences(looks)
    if not differ and answer is not None and shows_several(answer.estimate):
        # Each photo alone is sure of too little; together they fit no one engine.
        differ = (SEVERAL,)
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
        "verdict": overall(judged, fits=fits_together(answer)).value,
        "claims": [_claim(item, rows) for item in judged],
        "together": six_digits(together),
        "complete": round(complete, 4),
        "ask": _ask(answer),
        "shown": None if shown is None else _row_of(rows, shown),
        "answer": None if answer is None else answer_json(answer),
    }
    return Examined(task.key, record, desk.again, desk.new)


class _Desk:
    """The photos of one listing, each opened, looked at, and put away again."""

    def __init__(self, task: Task, load_eye: Callable[[], Eye]) -> None:
        self._task, self._load_eye = task, load_eye
        self._fetched = {url: (path, why) for url, path, why in task.fetched}
        self._views = {view.sha256: view for _, view in task.known}
        self._known = dict(task.known)
        self.looks: list[Look] = []
        self.names: list[str] = []
        self.again = False

    @property
    def new(self) -> tuple[View, ...]:
        """What was seen just now."""
        known = {view.sha256 for view in self._known.values()}
        return tuple(view for sha, view in self._views.items() if sha not in known)

    def row(self, place: int, reference: str) -> dict[str, Any]:
        """What became of a photo, in plain values."""
        row: dict[str, Any] = {"path": reference}
        path, why = self._fetched.get(reference, ("", ""))
        if place >= MOST_PHOTOS:
            return row | {"error": f"not looked at: only the first {MOST_PHOTOS} photos are"}
        if is_address(reference) and not path:
            self.again = self.again or bool(why)
            return row | {"error": why or "an address; give --fetch to have it fetched"}
        folder = self._task.folder
        try:
            file = Path(path) if path else listed_path(folder, reference)
            view = self._known.get(reference) or self._view(file)
        except TelltaleError as error:
            names = (path, str(folder / reference), reference)
            return row | {"error": _without_name(str(error), names)}
        except MemoryError:
            return row | {"error": "too large for this machine's memory"}
        look = look_from_text(view.look)
        row |= {"file": str(file), "sha256": look.sha256, "size": list(look.size)}
        row |= {"alike": f"{look.alike:016x}", "index": len(self.looks)}
        self.looks.append(look)
        self.names.append(str(file))
        return row | ({"drawn": True} if view.is_drawn else {})

    def _view(self, file: Path) -> View:
        photo = open_photo(file, limits=LIMITS)
        if photo.sha256 not in self._views:
            look = look_kept(photo, self._load_eye(), with_picture=False)
            self._views[photo.sha256] = View(
                photo.sha256,
                file.stat().st_size,
                look_to_text(look),
                flat_share(photo) >= FLAT_SHARE,
            )
        return self._views[photo.sha256]


def _without_name(text: str, names: Sequence[str]) -> str:
    """Return an error without the file's name before it: the row has it already."""
    for name in names:
        if name and text.startswith(f"{name}: "):
            return text[len(name) + 2 :]
    return text


def is_address(reference: str) -> bool:
    """Whether a photo is named by an address rather than a path."""
    return reference.lower().startswith(("http://", "https://"))


def _differences(looks: Sequence[Look]) -> tuple[str, ...]:
    """Say which photos are sure of opposite things, so that they may show two engines."""
    said = []
    for (i, first), (j, second) in combinations(enumerate(look.cues for look in looks), 2):
        for name in (*BINARY_CUES, DRIVING, "cab_number", "tender_axles"):
            one, other = (_sure(cues, name) for cues in (first, second))
            if one is not None and other is not None and not agree(one, other):
                words = name.replace("_", " ")
                said.append(
                    f"photos {i + 1} and {j + 1} may show different engines: "
                    f"{words} {one} in one, {other} in the other"
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
        "tentative": claim.tentative,
        "verdict": item.verdict.value,
        "text": item.text,
        "p_true": None if item.p_true is None else six_digits(item.p_true),
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
