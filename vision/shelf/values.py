"""What a shelf is made of: plain frozen values, nothing of files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from vision.report.narrowing import tells_nothing_plain


class Status(StrEnum):
    """Whether a variation stands on the shelf."""

    HAVE = "have"
    DOUBTFUL = "doubtful"
    LACK = "lack"


@dataclass(frozen=True, slots=True)
class ShelfEngine:
    """One engine of a collection.

    Attributes
    ----------
    name : str
    photos : tuple of str
    answer : mapping
        As `vision.report.answer_json` gives it.
    picture : bytes
        A small JPEG; empty for none.
    """

    name: str
    photos: tuple[str, ...]
    answer: Mapping[str, Any]
    picture: bytes = b""

    @property
    def candidates(self) -> tuple[tuple[str, float], ...]:
        """Variations with their probabilities, the most probable first."""
        estimate = self.answer["estimate"]
        if estimate is None:
            return ()
        return tuple((row["id"], row["p"]) for row in estimate["variations"])

    @property
    def narrowed(self) -> bool:
        """Whether anything in its photos tells one variation from another."""
        estimate = self.answer["estimate"]
        return estimate is not None and not tells_nothing_plain(estimate)

    @property
    def contents(self) -> frozenset[str]:
        """Hashes of its photos' contents: two files of one picture have the same."""
        return frozenset(photo["sha256"] for photo in self.answer.get("photos", ()))

    @property
    def missing_because(self) -> str:
        """Why no photo shows an engine; empty where one does, or nothing is known of it."""
        return self.answer.get("not_found") or ""

    def conflicts(self, kind: str) -> tuple[str, ...]:
        """What an answer says of evidence that does not belong together."""
        estimate = self.answer["estimate"] or {"conflicts": ()}
        return tuple(c["text"] for c in estimate["conflicts"] if c["kind"] == kind)


@dataclass(frozen=True, slots=True)
class Holding:
    """One variation of the guide, and the engines that are or may be one, likeliest first."""

    variation: str
    years: str
    status: Status
    have: tuple[ShelfEngine, ...]
    doubtful: tuple[tuple[ShelfEngine, float], ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """An engine that may be several things, and what would settle it.

    `candidates` is empty where nothing in view tells one variation from another, `look`
    where nothing that the guide knows would settle it.
    """

    engine: ShelfEngine
    candidates: tuple[tuple[str, float], ...]
    look: str
    caution: str
    hands_on: bool


@dataclass(frozen=True, slots=True)
class Work:
    """One thing to see to on an engine: a part, and what is the matter with it."""

    engine: str
    variation: str
    part: str
    finding: str


@dataclass(frozen=True, slots=True)
class Stock:
    """A collection against a guide.

    Attributes
    ----------
    guide : str
        Name and version.
    title : str
    holdings : tuple of Holding
        One for each variation, in the guide's order.
    doubts : tuple of Doubt
        Engines that are not surely of one variation, nor surely of none.
    mismatched : tuple of (engine, text)
        Engines whose tender was not made for them.
    duplicates : tuple of (variation, engines)
        Variations of which there are several; of engines that share a picture the first.
    shared : tuple of (variation, engines)
        Engines of one variation that share a picture, and are rather one.
    strangers : tuple of ShelfEngine
        Surely in no variation of the guide.
    without : tuple of ShelfEngine
        No engine was found in their photos.
    work : tuple of Work
    """

    guide: str
    title: str
    holdings: tuple[Holding, ...]
    doubts: tuple[Doubt, ...]
    mismatched: tuple[tuple[ShelfEngine, str], ...]
    duplicates: tuple[tuple[str, tuple[ShelfEngine, ...]], ...]
    shared: tuple[tuple[str, tuple[ShelfEngine, ...]], ...]
    strangers: tuple[ShelfEngine, ...]
    without: tuple[ShelfEngine, ...]
    work: tuple[Work, ...]
