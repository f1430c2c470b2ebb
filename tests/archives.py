"""Small archives, and a watcher that remembers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from eyes import fake_eye
from shapes import encoded, engine
from vision.archive import Index, Order, Summary, tag_archive
from vision.guide import load_guide

GUIDE = load_guide("wayfarer")


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


def state(root: Path) -> dict[str, tuple[bytes, int]]:
    """Bytes and time of change of every file that is not in our own folder."""
    return {
        str(path.relative_to(root)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(root.rglob("*"))
        if path.is_file() and ".telltale" not in path.parts
    }


def rows(root: Path) -> dict[str, dict[str, object]]:
    """Every engine's answer, as the index keeps it."""
    index = Index(root / ".telltale" / "index.sqlite")
    try:
        return {row.name: row.answer for row in index.engines()}
    finally:
        index.close()
