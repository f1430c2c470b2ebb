"""Eyes that other processes can import; run as a script, the command with one of them."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from answers import FakeEye
from vision.records import Cue, NotFound, Photo, Sighting

TESTS = Path(__file__).parent
# A file in which the slow eye writes a line for every look, and how long each takes.
LOOKS, PAUSE = "LOOKS", "PAUSE"


@dataclass(frozen=True)
class SlowEye:
    """The fake eye, taking its time, so that a kill finds it at work, and counting its looks."""

    pause: float = 0.005
    looks: str = ""
    version: str = "fake"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        time.sleep(self.pause)
        if self.looks:
            # Short lines that are added to the end do not mix, whoever else writes.
            with Path(self.looks).open("a", encoding="utf-8") as stream:
                stream.write(f"{photo.sha256} {Path(photo.name).name}\n")
        return FakeEye().look(photo)


@dataclass(frozen=True)
class DeadlyEye:
    """An eye that kills its process over one photo."""

    version: str = "fake"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        if "deadly" in photo.name:
            os._exit(7)
        return FakeEye().look(photo)


def fake_eye() -> FakeEye:
    return FakeEye()


def newer_eye() -> FakeEye:
    return FakeEye(version="newer")


def slow_eye() -> SlowEye:
    return SlowEye(float(os.environ.get(PAUSE, "0.005")), os.environ.get(LOOKS, ""))


def deadly_eye() -> DeadlyEye:
    return DeadlyEye()


def command(
    *arguments: object, eye: str = "fake_eye", quiet: bool = False, **environment: str
) -> subprocess.Popen[bytes]:
    """The command with one of the eyes above, as a process of its own."""
    path = os.pathsep.join([str(TESTS), str(TESTS.parent), os.environ.get("PYTHONPATH", "")])
    words = [os.fsencode(a) if isinstance(a, Path) else str(a) for a in arguments]
    return subprocess.Popen(
        [sys.executable, str(TESTS / "eyes.py"), eye, *words],
        env={**os.environ, "PYTHONPATH": path, **environment},
        stdout=subprocess.DEVNULL if quiet else subprocess.PIPE,
        stderr=subprocess.DEVNULL if quiet else subprocess.PIPE,
    )


if __name__ == "__main__":
    # Under its own name, so that the processes that it starts find the eye too.
    import eyes
    from vision.cli import run

    sys.exit(run(sys.argv[2:], load_eye=getattr(eyes, sys.argv[1])))
