"""All listings of a file: read, look, judge, compare, rank; resumable at any moment."""

from __future__ import annotations

import hashlib
import json
import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import astuple, dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from vision.estimate.strength import six_digits
from vision.guide import Guide, load_guide
from vision.listings.cache import Cache
from vision.listings.crew import work
from vision.listings.examine import Task, is_address
from vision.listings.fetch import Fetcher, FetchError
from vision.listings.pictures import listed_path, reused
from vision.listings.ranking import Weights, cheapness, value, wanted_share
from vision.listings.read import Source, read_listings
from vision.listings.sharing import Sharing
from vision.listings.store import FORMAT, Store, opened
from vision.listings.values import BadRow
from vision.photo.header import formats
from vision.pipeline import LoadTold
from vision.pipeline.look import eye_name
from vision.records import OWN_FOLDER, ListingsError, TelltaleError

if TYPE_CHECKING:
    from vision.pipeline import Eye


class Progress(Protocol):
    """Whoever shows how far a run is."""

    def begin(self, what: str, count: int) -> None:
        """`count` things of one kind are to be done."""
        ...

    def step(self) -> None:
        """One of them is done."""
        ...


@dataclass(frozen=True, slots=True)
class Brief:
    """What to judge, and how.

    Attributes
    ----------
    path : Path
        A file of listings, or a folder of such files.
    guide : str
        Name of a built-in guide, or a file.
    wants : tuple of str
        Ids of wanted variations; empty for all.
    weights : Weights
    jobs : int
        Processes that look; 1 for this one alone.
    state : Path or None
        Folder for what is kept between runs; None for one beside the listings.
    fetcher : Fetcher or None
        Fetches photos from addresses; None for not at all.
    """

    path: Path
    guide: str
    wants: tuple[str, ...] = ()
    weights: Weights = field(default_factory=Weights)
    jobs: int = 1
    state: Path | None = None
    fetcher: Fetcher | None = None

    @property
    def state_folder(self) -> Path:
        """Where records are kept."""
        if self.state is not None:
            return self.state
        return (self.path if self.path.is_dir() else self.path.parent) / OWN_FOLDER


@dataclass(frozen=True, slots=True)
class Ranked:
    """Every listing of a run, the most promising first, and the rows that were not read."""

    records: tuple[dict[str, Any], ...]
    bad: tuple[BadRow, ...]
    guide: Guide
    weights: Weights
    wants: tuple[str, ...]
    examined: int


def judge_listings(brief: Brief, load_eye: Callable[[], Eye], progress: Progress) -> Ranked:
    """Judge and rank the listings of a file.

    Parameters
    ----------
    brief : Brief
    load_eye : callable
        Importable by name where several processes work.
    progress : Progress

    Raises
    ------
    ListingsError, GuideError, OutputError
        The run cannot begin or go on; what is done is kept, and the next run goes on.
    """
    guide = load_guide(brief.guide)
    unknown = [id for id in brief.wants if id not in {v.id for v in guide.variations}]
    if unknown:
        known = ", ".join(v.id for v in guide.variations)
        raise ListingsError(f'wanted "{unknown[0]}": the guide {guide.name} has {known}')
    sources, bad = _read(brief.path)
    load_eye = LoadTold(load_eye, guide.lever_at)
    eye = cache(load_eye)
    with ExitStack() as held:
        store = held.enter_context(opened(brief.state_folder))
        pictures = None
        if brief.fetcher is not None:
            pictures = Cache(brief.state_folder / "fetched")
            held.callback(pictures.close)
        name = eye_name(eye().version, guide.lever_at) if sources else ""
        # The formats too: a picture that could not be read is one again once its extra is
        # installed.
        basis = [FORMAT, name, formats(), _identity(guide)]
        run = _Run(brief, (store, pictures), name, basis, progress)
        records, examined = run.records(sources, eye if brief.jobs == 1 else load_eye)
    _compare(records)
    _rank(records, guide, brief)
    # Nothing seen says nothing of value: such a listing is ranked among its like.
    records.sort(key=lambda r: (not r["engine_seen"], -r["value"]))
    return Ranked(tuple(records), tuple(bad), guide, brief.weights, brief.wants, examined)


def _read(path: Path) -> tuple[list[Source], list[BadRow]]:
    sources, bad = [], []
    for item in read_listings(path):
        if isinstance(item, BadRow):
            bad.append(item)
        else:
            sources.append(item)
    return sources, bad


def _identity(guide: Guide) -> str:
    return guide.sha256 or f"{guide.name} {guide.version}"


class _Run:
    """One run: records are kept here and nowhere else."""

    def __init__(
        self,
        brief: Brief,
        stores: tuple[Store, Cache | None],
        eye: str,
        basis: list[Any],
        progress: Progress,
    ) -> None:
        self._brief, (self._store, self._cache) = brief, stores
        self._eye, self._basis, self._progress = eye, basis, progress
        self._sizes: Counter[int] = Counter()

    def records(
        self, sources: Sequence[Source], load_eye: Callable[[], Eye]
    ) -> tuple[list[dict[str, Any]], int]:
        """Return every record in the order of the file, and how many were made just now."""
        keys = [self._key(source) for source in sources]
        made: dict[str, dict[str, Any]] = {}
        todo = []
        for key, source in zip(keys, sources, strict=True):
            kept = self._store.get(key)
            if kept is None:
                todo.append((key, source))
            else:
                made[key] = kept
        self._progress.begin("listings", len(todo))
        shared = Sharing(self._tasks(todo), self._store, self._eye, self._sizes)
        for done in work(shared, self._brief.guide, load_eye, self._brief.jobs):
            # A photo that could not be fetched may be there tomorrow.
            self._store.put(done.key, None if done.again else done.record, done.views, self._eye)
            shared.done(done)
            made[done.key] = done.record
            self._progress.step()
        return [made[key] for key in keys], len(todo)

    def _tasks(self, todo: Sequence[tuple[str, Source]]) -> Iterator[Task]:
        """Tasks as they are wanted, so that fetching and looking go on side by side."""
        for key, source in todo:
            fetched = tuple(self._fetched(p) for p in source.listing.photos if is_address(p))
            yield Task(key, source.listing, source.folder, fetched)

    def _fetched(self, url: str) -> tuple[str, str, str]:
        if self._cache is None or self._brief.fetcher is None:
            return url, "", ""
        try:
            return url, str(self._cache.get(url, self._brief.fetcher)), ""
        except FetchError as error:
            return url, "", f"not fetched: {error}"
        except OSError as error:
            return url, "", f"fetched, but not kept ({error.strerror})"

    def _key(self, source: Source) -> str:
        """Return a hash of all that goes into a listing's record."""
        stamps = [_stamp(source.folder, photo) for photo in source.listing.photos]
        self._sizes.update(size for _, size, _ in stamps if size is not None)
        fetch = self._cache is not None
        whole = [*self._basis, astuple(source.listing), str(source.folder), stamps, fetch]
        return hashlib.sha256(json.dumps(whole, default=str).encode()).hexdigest()


def _stamp(folder: Path, reference: str) -> tuple[str, int | None, int]:
    """Name, bytes and time of change of a photo; None and 0 where there is no file."""
    if is_address(reference):
        return reference, None, 0
    try:
        status = os.stat(listed_path(folder, reference))  # noqa: PTH116 — follows links, as reading does
    except (TelltaleError, OSError, ValueError):
        return reference, None, 0
    return reference, status.st_size, status.st_mtime_ns


def _compare(records: Sequence[dict[str, Any]]) -> None:
    """Note pictures that several listings show, and such as are hardly photographs."""
    hashes = {r["id"]: [p["alike"] for p in r.get("photos", ()) if "alike" in p] for r in records}
    copies = reused(hashes)
    for record in records:
        notes = record.setdefault("notes", [])
        others = copies.get(record["id"], ())
        record["same_picture_as"] = list(others)
        if others:
            more = f" and {len(others) - 3} more" if len(others) > 3 else ""
            what = "listing" if len(others) == 1 else "listings"
            notes.append(f"a picture is also in {what} {', '.join(others[:3])}{more}")
        for number, photo in enumerate(record.get("photos", ()), 1):
            if photo.get("drawn"):
                notes.append(f"picture {number} is very even: perhaps drawn, or a stock picture")


def _rank(records: Sequence[dict[str, Any]], guide: Guide, brief: Brief) -> None:
    prices = [
        (None if r.get("price") is None else float(r["price"]), r.get("currency", ""))
        for r in records
    ]
    for record, cheap in zip(records, cheapness(prices), strict=True):
        estimate = (record.get("answer") or {}).get("estimate") or {}
        record["engine_seen"] = bool(estimate)
        shares = {v["id"]: v["p"] for v in estimate.get("variations", ())}
        parts = {
            "wanted": wanted_share(shares, guide, brief.wants),
            "together": record.get("together", 0.5),
            "complete": record.get("complete", 0.0),
            "cheap": cheap,
        }
        # The first two are probabilities, the others shares of what can be counted.
        record["worth"] = {
            name: six_digits(share) if name in ("wanted", "together") else round(share, 4)
            for name, share in parts.items()
        }
        record["value"] = round(value(parts, brief.weights), 4)
