"""The decoder against every kind of bad file."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from photo_files import exif_block, png_chunk
from shapes import corners, encoded, engine
from vision.photo import Limits, open_photo, photo_from_bytes
from vision.records import (
    PhotoEmpty,
    PhotoIsFolder,
    PhotoMissing,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
    TelltaleError,
)


def test_missing_folder_and_empty(tmp_path: Path) -> None:
    with pytest.raises(PhotoMissing, match="no such file"):
        open_photo(tmp_path / "none.jpg")
    with pytest.raises(PhotoIsFolder, match="a folder"):
        open_photo(tmp_path)
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(PhotoEmpty, match="empty"):
        open_photo(tmp_path / "empty.jpg")
    with pytest.raises(PhotoMissing):
        open_photo(tmp_path / "empty.jpg" / "inside.jpg")


def test_a_pipe_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(PhotoUnreadable, match="not an ordinary file"):
        open_photo(tmp_path / "pipe.jpg")


def test_text_and_heif_are_named_for_what_they_are() -> None:
    with pytest.raises(PhotoUnreadable, match="not a picture"):
        photo_from_bytes(b"Dear sir, the engine is green.\n" * 9, "letter.jpg")
    with pytest.raises(PhotoUnreadable, match="save it as JPEG"):
        photo_from_bytes(b"\0\0\0\x18ftypheic" + b"\0" * 99, "phone.heic")


def test_page_descriptions_are_not_opened() -> None:
    # Pillow would hand these to another program.
    with pytest.raises(PhotoUnreadable, match="not a picture"):
        photo_from_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 99 99\n", "a.jpg")


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("size", [(320, 180), (3200, 1800)])
def test_truncated_jpeg(share: float, size: tuple[int, int]) -> None:
    data = encoded(engine(*size), "JPEG")
    with pytest.raises(PhotoUnreadable, match=r"^cut\.jpg: "):
        photo_from_bytes(data[: int(len(data) * share)], "cut.jpg")


def test_too_small() -> None:
    with pytest.raises(PhotoTooSmall, match="1 x 1 pixels"):
        photo_from_bytes(encoded(Image.new("RGB", (1, 1))), "dot.png")
    with pytest.raises(PhotoTooSmall, match="400 x 8 pixels"):
        photo_from_bytes(encoded(Image.new("RGB", (400, 8))), "line.png")


def header_only_png(width: int, height: int) -> bytes:
    """A PNG that claims a size and holds no pixel: decoding it would fail."""
    header = struct.pack(">2I5B", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IDAT", b"")


@pytest.mark.parametrize("size", [(20_000, 20_000), (10_001, 10_000), (100_000_001, 1)])
def test_too_many_pixels_are_refused_before_decoding(size: tuple[int, int]) -> None:
    with pytest.raises(PhotoTooLarge, match="100 megapixels"):
        photo_from_bytes(header_only_png(*size), "vast.png")


def test_just_under_the_pixel_limit_is_not_refused_for_its_size() -> None:
    # Above Pillow's own warning level, which must not reach anyone.
    with pytest.raises(PhotoUnreadable, match="damaged"):
        photo_from_bytes(header_only_png(10_000, 10_000), "large.png")


def test_too_many_bytes_are_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(encoded(corners()))
    with pytest.raises(PhotoTooLarge, match="the limit is"):
        open_photo(path, limits=Limits(bytes=10))
    sparse = tmp_path / "sparse.jpg"
    with sparse.open("wb") as stream:
        stream.truncate(201_000_000)
    with pytest.raises(PhotoTooLarge, match="201 MB; the limit is 200 MB"):
        open_photo(sparse)


def test_float_pixels_are_refused() -> None:
    image = Image.fromarray(np.zeros((40, 60), np.float32))
    with pytest.raises(PhotoUnreadable, match="mode F"):
        photo_from_bytes(encoded(image, "TIFF"), "depth.tif")


SOUND = {
    name: encoded(engine(48, 36), name, exif=exif_block(6, "2020:01:02 03:04:05"))
    for name in ("JPEG", "PNG", "WEBP", "TIFF", "AVIF")
} | {name: encoded(engine(48, 36), name) for name in ("GIF", "BMP", "PPM")}


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from(sorted(SOUND)),
    st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=12),
    st.floats(0, 1),
)
def test_damaged_bytes_give_a_photo_or_one_clear_line(
    file_format: str, edits: list[tuple[float, int]], keep: float
) -> None:
    data = bytearray(SOUND[file_format])
    for place, value in edits:
        data[int(place * len(data))] = value
    del data[max(1, int(keep * len(data))) :]
    try:
        photo = photo_from_bytes(bytes(data), "damaged")
    except TelltaleError as error:
        assert str(error).startswith("damaged: ")
        assert "\n" not in str(error)
    else:
        height, width = photo.pixels.shape[:2]
        assert photo.size == (width, height)


def test_every_format_in_the_fuzz_is_readable() -> None:
    for file_format, data in SOUND.items():
        photo = photo_from_bytes(data, file_format)
        turned = file_format in ("JPEG", "PNG", "WEBP", "TIFF", "AVIF")
        assert photo.size == ((36, 48) if turned else (48, 36)), file_format
