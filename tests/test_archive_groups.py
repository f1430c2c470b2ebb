"""Which photos of an archive are of one engine, and which are copies."""

from __future__ import annotations

import csv
import random
from fnmatch import fnmatchcase
from pathlib import Path

import pytest
from PIL import Image, ImageEnhance

from archives import rows, tag
from vision.archive import By
from vision.archive.groups import COPY_BITS, copies_among, group, read_group_file
from vision.records import ArchiveError

DEMO = Path(__file__).parent.parent / "demo_images"


def test_photos_of_one_engine_by_a_group_file(shelf: Path) -> None:
    (shelf / "engines.csv").write_text('photo,engine\n00[01].jpg,"No. 5, blue"\n', "utf-8")
    summary = tag(shelf)
    assert summary.told.engines == 3
    assert [photo["path"] for photo in rows(shelf)["No. 5, blue"]["photos"]] == [
        "000.jpg",
        "001.jpg",
    ]
    assert tag(shelf, by=By.PHOTO).told.engines == 4


@pytest.mark.parametrize("text", ["a,b\n1,2\n", "photo,engine\nx.jpg,\n"])
def test_a_group_file_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "engines.csv").write_text(text, "utf-8")
    with pytest.raises(ArchiveError, match=r"engines\.csv:[12]: "):
        read_group_file(tmp_path / "engines.csv")


def test_a_group_file_with_semicolons_says_the_same(tmp_path: Path) -> None:
    """As spreadsheets write them where the comma is the decimal mark (common practice, no source).

    Python's own writer, told to part by semicolons, makes the file.
    """
    file = tmp_path / "engines.csv"
    wanted = (("00[01].jpg", "No. 5, blue"), ("b;1.jpg", "two; black"))
    for mark in ",;":
        with file.open("w", encoding="utf-8-sig", newline="") as stream:
            csv.writer(stream, delimiter=mark).writerows([("photo", "engine"), *wanted])
        assert read_group_file(file) == wanted


def test_grouping() -> None:
    alike = {"a.jpg": 0, "b.jpg": 3, "c.jpg": 2**63 - 1, "f/d.jpg": 0, "f/e.jpg": 2**60}
    assert group(alike, (), By.FOLDER) == {
        "a.jpg": ("a.jpg", "b.jpg"),
        "c.jpg": ("c.jpg",),
        "f": ("f/d.jpg", "f/e.jpg"),
    }
    # One bit lies between the first photo and the last: copies.
    assert group(alike, (), By.PHOTO)["a.jpg"] == ("a.jpg", "b.jpg", "f/d.jpg", "f/e.jpg")
    assert group(alike, (("*", "all"),), By.PHOTO) == {"all": tuple(sorted(alike))}


@pytest.mark.parametrize("seed", range(40))
def test_the_first_row_that_fits_counts_as_if_every_row_were_tried(seed: int) -> None:
    """Against a plain reading of the rule, row by row (fnmatch of the standard library)."""
    rng = random.Random(seed)
    photos = [f"{a}{b}.jpg" for a in "ab[]*?" for b in "01[1]*"]
    paths = rng.sample(photos, 12)
    patterns = [*photos, "*", "a*", "?0.jpg", "[ab]1.jpg"]
    named = [(rng.choice(patterns), rng.choice("XYZ")) for _ in range(9)]
    expected = {
        path: next((e for name, e in named if path == name or fnmatchcase(path, name)), None)
        for path in paths
    }
    far_apart = {path: 0xFFFF << 16 * (at % 4) | at for at, path in enumerate(paths)}
    engines = group(far_apart, named, By.PHOTO)
    told = {path: engine for engine, mine in engines.items() if engine in "XYZ" for path in mine}
    assert told == {path: engine for path, engine in expected.items() if engine}


def test_copies_of_one_picture_are_found_and_other_pictures_are_not() -> None:
    """Both sides of COPY_BITS, measured on the demo photos."""
    import imagehash

    def bits(image: Image.Image) -> int:
        return int(str(imagehash.phash(image)), 16)

    originals = {path.stem: Image.open(path).convert("RGB") for path in sorted(DEMO.glob("*.jpg"))}
    assert len(originals) >= 14
    plain = {name: bits(image) for name, image in originals.items()}
    assert len(list(copies_among(plain))) == len(plain)
    copies = 0
    for name, image in originals.items():
        small = image.resize((image.width // 3, image.height // 3))
        bright = ImageEnhance.Brightness(image).enhance(1.25)
        for spoilt in (small, bright):
            copies += (bits(spoilt) ^ plain[name]).bit_count() <= COPY_BITS
    assert copies >= 0.9 * 2 * len(originals)
