"""Small files of listings, and eyes that other processes can import; as a script, the command."""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from answers import CUES, FakeEye
from archives import different
from shapes import encoded
from vision.records import Box, Cue, NotFound, Photo, Sighting, State

TESTS = Path(__file__).parent
COLUMNS = ("id", "title", "description", "price", "currency", "link", "photos")


def part(name: str, state: State, sure: float = 0.99, **more: object) -> Cue:
    """A photo's reading of a part, as sure as said."""
    p = sure if state is State.PRESENT else 1.0 - sure
    return Cue(name, state, p, confidence=sure, where=Box(60, 60, 90, 90), **more)


def engine_cues(
    lever: bool | None, linkage: bool | None, stripe: str | bool | None, axles: str = ""
) -> tuple[Cue, ...]:
    """What a photo shows; None is not seen, a colour is a stripe of it."""
    cues = []
    for name, there in (("switch_lever", lever), ("side_linkage", linkage)):
        if there is None:
            cues.append(Cue(name, State.UNSEEN, because="hidden"))
        else:
            cues.append(part(name, State.PRESENT if there else State.ABSENT))
    if stripe is None:
        cues.append(Cue("edge_stripe", State.UNSEEN, because="glare"))
    elif not stripe:
        cues.append(part("edge_stripe", State.ABSENT))
    else:
        colours = MappingProxyType({stripe: 0.98} if isinstance(stripe, str) else {})
        cues.append(part("edge_stripe", State.PRESENT, values=colours))
    if axles:
        shares = MappingProxyType({axles: 0.97})
        cues.append(Cue("tender_axles", State.PRESENT, value=axles, confidence=0.97, values=shares))
    return tuple(cues)


# The variations of the guide "wayfarer" as its table has them.
W = {
    "W1": engine_cues(True, False, False, "4"),
    "W2": engine_cues(True, True, False, "4"),
    "W3": engine_cues(False, True, "cream", "4"),
    "W4": engine_cues(False, False, "cream", "6"),
    "W5": engine_cues(True, False, "cream", "6"),
    "W6": engine_cues(True, True, "red", "6"),
}
HIDDEN = engine_cues(None, None, None)


def eye(seen: Mapping[str, tuple[Cue, ...] | None]) -> FakeEye:
    """An eye that sees, in the photo of each stem, what is said."""
    return FakeEye(seen)


@dataclass(frozen=True)
class SlowEye:
    """Takes its time, and counts its looks in a file, so that a kill finds it at work."""

    version: str = "fake"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        time.sleep(0.03)
        with Path(os.environ["LOOKS"]).open("a", encoding="utf-8") as stream:
            stream.write(f"{Path(photo.name).name}\n")
        return FakeEye().look(photo)


@dataclass(frozen=True)
class DeadlyEye:
    """Kills its process over one photo."""

    version: str = "fake"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        if "deadly" in photo.name:
            os._exit(7)
        return FakeEye().look(photo)


def slow_eye() -> SlowEye:
    return SlowEye()


def deadly_eye() -> DeadlyEye:
    return DeadlyEye()


def write_table(path: Path, rows: Sequence[Mapping[str, str]]) -> Path:
    """Write a CSV table of listings by RFC 4180."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(stream.getvalue(), encoding="utf-8", newline="")
    return path


def write_photos(folder: Path, names: Sequence[str], start: int = 0) -> None:
    """Write a different picture under each name."""
    for number, name in enumerate(names, start):
        folder.joinpath(name).write_bytes(encoded(different(number), "JPEG"))


def command(*arguments: object, eye: str, **environment: str) -> subprocess.Popen[bytes]:
    """The command with one of the eyes above, as a process of its own."""
    path = os.pathsep.join([str(TESTS), str(TESTS.parent), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(
        [sys.executable, str(TESTS / "listing_files.py"), eye, *map(str, arguments)],
        env={**os.environ, "PYTHONPATH": path, **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def with_confidence(cues: Sequence[Cue], sure: float) -> tuple[Cue, ...]:
    """The same readings of parts, less sure."""
    return tuple(
        c if c.p_present is None else replace(part(c.name, c.state, sure), values=c.values)
        for c in cues
    )


__all__ = ["CUES", "HIDDEN", "W", "command", "eye", "write_photos", "write_table"]

if __name__ == "__main__":
    import listing_files
    from vision.cli import run

    sys.exit(run(sys.argv[2:], load_eye=getattr(listing_files, sys.argv[1])))
