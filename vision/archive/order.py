"""What a run over an archive is to do, what it did, and who watches it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from vision.archive.groups import By
from vision.archive.told import Told
from vision.guide import Guide
from vision.records import OWN_FOLDER


class Watcher(Protocol):
    """Whoever shows how far a run is."""

    def begin(self, what: str, count: int) -> None:
        """`count` things of one kind are to be done."""
        ...

    def step(self, *, failed: bool = False) -> None:
        """One of them is done, or has failed."""
        ...

    def failure(self, text: str) -> None:
        """Say what failed, in one line."""
        ...


@dataclass(frozen=True, slots=True)
class Order:
    """What to tag, and how.

    Attributes
    ----------
    root : Path
    guide : Guide
    by : By
    jobs : int
        Processes that look; 1 for this one alone.
    scheduler : str or None
        Address of a Dask scheduler to use instead.
    index : Path or None
        Where the index lies; None for inside the archive.
    dry : bool
        Look and date, and write nothing at all.
    place : str
        Where the guide is found again, as `Choice` has it; empty if not known.
    """

    root: Path
    guide: Guide
    by: By = By.FOLDER
    jobs: int = 1
    scheduler: str | None = None
    index: Path | None = None
    dry: bool = False
    place: str = ""

    @property
    def index_path(self) -> Path:
        """The index's file."""
        return index_path(self.root, self.index)

    @property
    def log_path(self) -> Path:
        """Where failures are noted: beside the index."""
        if self.index is None:
            return self.root / OWN_FOLDER / "failures.log"
        return self.index.with_name(f"{self.index.name}.failures.log")


@dataclass(slots=True)
class Summary:
    """What a run did; all counts are of photos unless they say otherwise.

    Every photo is one of `looked_at`, `copies` of what was looked at in this run, `unchanged`,
    which is content known from before, and `unread`, which has failed, now or before.
    `told` says what the engines are, those of before included; `idle` what the group file
    says that fits no photo, `unheeded` what it says against its earlier rows.
    """

    photos: int = 0
    looked_at: int = 0
    copies: int = 0
    unchanged: int = 0
    unread: int = 0
    written: list[str] = field(default_factory=list)
    current: int = 0
    codes: list[int] = field(default_factory=list)
    failed: int = 0
    rebuilt: str = ""
    told: Told = field(default_factory=Told)
    idle: tuple[str, ...] = ()
    unheeded: tuple[tuple[str, str], ...] = ()


def index_path(root: Path, index: Path | None) -> Path:
    """Where an archive's index lies, unless a person says otherwise."""
    return index or root / OWN_FOLDER / "index.sqlite"
