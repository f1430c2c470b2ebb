"""Small archives and eyes that other processes can import; run as a script, the command."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from answers import FakeEye
from shapes import encoded, engine
from vision.archive import Order, Summary, tag_archive
from vision.guide import load_guide
from vision.records import Cue, NotFound, Photo, Sighting

TESTS = Path(__file__).parent
GUIDE = load_guide("wayfarer")


@dataclass(frozen=True)
class SlowEye:
    """The fake eye, taking its time, so that a kill finds it at work."""

    pause: float = 0.005
    version: str = "fake"

    def look(self, photo: Photo) -> tuple[Sighting | NotFound, tuple[Cue, ...]]:
        time.sleep(self.pause)
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
    return SlowEye()


def deadly_eye() -> DeadlyEye:
    return DeadlyEye()


class Silent:
    """A watcher that remembers."""

    def __init__(self) -> None:
        self.begun: list[tuple[str, int]] = []
        self.steps: list[bool] = []
        self.failures: list[str] = []

    def begin(self, what: str, count: int) -> None:
        self.begun.append((what, count))

    def step(self, *, failed: bool = False) -> None:
        self.steps.append(failed)

    def failure(self, text: str) -> None:
        self.failures.append(text)


def different(number: int) -> Image.Image:
    """An engine before a backdrop that no other number has, in content and in hash."""
    generator = np.random.default_rng(number)
    coarse = Image.fromarray(generator.integers(0, 255, (9, 16, 3), dtype=np.uint8))
    picture = coarse.resize((320, 180))
    drawn = Image.fromarray(engine())
    picture.paste(drawn.crop((30, 40, 300, 150)), (30, 40))
    return picture


def fill(root: Path, count: int, start: int = 0) -> list[Path]:
    """Write `count` different photos into a folder."""
    root.mkdir(parents=True, exist_ok=True)
    paths = [root / f"{number:03d}.jpg" for number in range(start, start + count)]
    for number, path in enumerate(paths, start):
        path.write_bytes(encoded(different(number), "JPEG"))
    return paths


def tag(root: Path, load_eye=fake_eye, watcher: Silent | None = None, **more) -> Summary:
    more.setdefault("guide", GUIDE)
    return tag_archive(Order(root, **more), load_eye, watcher or Silent())


def command(
    *arguments: object, eye: str = "fake_eye", quiet: bool = False
) -> subprocess.Popen[bytes]:
    """The command with one of the eyes above, as a process of its own."""
    path = os.pathsep.join([str(TESTS), str(TESTS.parent), os.environ.get("PYTHONPATH", "")])
    words = [os.fsencode(a) if isinstance(a, Path) else str(a) for a in arguments]
    return subprocess.Popen(
        [sys.executable, str(TESTS / "archives.py"), eye, *words],
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.DEVNULL if quiet else subprocess.PIPE,
        stderr=subprocess.DEVNULL if quiet else subprocess.PIPE,
    )


def state(root: Path) -> dict[str, tuple[bytes, int]]:
    """Bytes and time of change of every file that is not in our own folder."""
    return {
        str(path.relative_to(root)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(root.rglob("*"))
        if path.is_file() and ".telltale" not in path.parts
    }


if __name__ == "__main__":
    import archives
    from vision.cli import run

    sys.exit(run(sys.argv[2:], load_eye=getattr(archives, sys.argv[1])))
