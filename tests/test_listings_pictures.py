"""Which pictures are copies of each other, and which are hardly photographs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("extruct")
pytest.importorskip("babel")
pytest.importorskip("price_parser")

from listing_files import judged, write_table
from shapes import encoded, engine
from vision.listings.pictures import flat_share, reused
from vision.photo import open_photo, photo_from_bytes
from vision.pipeline.kept import small_picture
from vision.pipeline.witnesses import picture_hash
from vision.records import Photo

DEMO = Path(__file__).parent.parent / "demo_images"


def _hash(photo: Photo) -> str:
    return f"{picture_hash(small_picture(photo.pixels)):016x}"


def test_a_copy_is_known_and_another_picture_is_not() -> None:
    """Copies as sellers make them: smaller, saved again, brighter; and 15 demo photos."""
    from PIL import Image, ImageEnhance

    photos = {p.stem: open_photo(p) for p in sorted(DEMO.glob("*.jpg"))}
    hashes = {name: [_hash(photo)] for name, photo in photos.items()}
    near = reused(hashes)
    assert set(near) <= {"wayfarer_w4", "wayfarer_w4_swapped_tender"}
    picture = Image.fromarray(photos["wayfarer_w6"].pixels)
    for copy in (picture.resize((600, 450)), ImageEnhance.Brightness(picture).enhance(1.2)):
        again = photo_from_bytes(encoded(copy, "JPEG", quality=60), "copy")
        found = reused(hashes | {"copy": [_hash(again)]})
        assert found["copy"] == ("wayfarer_w6",)


def test_drawings_are_more_even_than_photographs() -> None:
    from vision.listings.pictures import FLAT_SHARE

    for format in ("PNG", "JPEG"):
        assert flat_share(photo_from_bytes(encoded(engine(), format), "x")) >= FLAT_SHARE
    for path in DEMO.glob("*.jpg"):
        assert flat_share(open_photo(path)) < FLAT_SHARE


def test_a_drawing_is_noted(telltale: Any, tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(encoded(engine()))
    (record,) = judged(
        telltale, write_table(tmp_path / "t.csv", [{"id": "1", "title": "x", "photos": "a.png"}])
    )
    assert "perhaps drawn, or a stock picture" in record["notes"][0]
