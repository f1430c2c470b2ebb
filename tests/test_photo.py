"""The decoder: every photo upright, at a scale it can be worked at, by the EXIF standard."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from photo_files import exif_block
from shapes import corners, encoded, engine
from vision.photo import WORKING_SIDE_PX, closer, open_photo, photo_from_bytes
from vision.photo.turbo import jpeg_pixels, turned_upright
from vision.records import (
    PhotoUnreadable,
)

# CIPA DC-008 (also JEITA CP-3451), "Orientation", tag 274: where the 0th row and
# the 0th column of the stored picture lie in the picture as it should be seen.
ORIENTATIONS = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def stored_as(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The picture as a camera stores it, straight from the standard's table."""
    row, column = ORIENTATIONS[orientation]
    stored = upright if row in ("top", "bottom") else np.swapaxes(upright, 0, 1)
    if row in ("bottom", "right"):
        stored = stored[::-1]
    if column in ("bottom", "right"):
        stored = stored[:, ::-1]
    return np.ascontiguousarray(stored)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("file_format", ["PNG", "TIFF", "WEBP"])
def test_all_eight_orientations_give_the_same_picture(orientation: int, file_format: str) -> None:
    upright = engine(64, 40)
    options = {"lossless": True} if file_format == "WEBP" else {}
    data = encoded(
        stored_as(upright, orientation), file_format, exif=exif_block(orientation), **options
    )
    photo = photo_from_bytes(data, "turned")
    assert photo.size == (64, 40)
    assert photo.notes == ()
    np.testing.assert_array_equal(photo.pixels, upright)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_orientation_and_reduced_decoding_go_together(orientation: int) -> None:
    # 16 divides both sides, so that every turn has the same JPEG blocks; colour at
    # full resolution, since its upsampling leans to one side.
    upright = engine(2 * WORKING_SIDE_PX, 992)
    options = {"quality": 95, "subsampling": 0}
    stored = stored_as(upright, orientation)
    data = encoded(stored, "JPEG", exif=exif_block(orientation), **options)
    photo = photo_from_bytes(data, "turned.jpg")
    assert photo.size == (2 * WORKING_SIDE_PX, 992)
    assert photo.pixels.shape == (496, WORKING_SIDE_PX, 3)
    assert photo.scale == 0.5
    plain = photo_from_bytes(encoded(upright, "JPEG", **options), "upright.jpg")
    # The transform rounds differently when its rows and columns change places.
    difference = np.abs(photo.pixels.astype(int) - plain.pixels)
    assert difference.max() <= 4


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_a_closer_look_is_the_whole_decoding(orientation: int) -> None:
    upright = engine(5 * WORKING_SIDE_PX, 1024)
    data = encoded(stored_as(upright, orientation), "JPEG", exif=exif_block(orientation))
    first = photo_from_bytes(data, "large.jpg")
    assert first.scale == 0.25
    assert closer(first, 0.2) is first
    assert closer(first, 0.3).scale == 0.5
    finest = closer(first, 2.0)
    assert finest.scale == 1.0
    assert finest.size == first.size == (5 * WORKING_SIDE_PX, 1024)
    assert finest.sha256 == first.sha256
    assert np.abs(finest.pixels.astype(int) - upright).mean() < 3
    assert closer(finest, 2.0) is finest


@pytest.mark.parametrize("reserved", [0, 9, 65535])
def test_reserved_orientations_leave_the_picture_as_stored(reserved: int) -> None:
    # CIPA DC-008: every value but 1 to 8 is reserved.
    photo = photo_from_bytes(encoded(corners(), exif=exif_block(reserved)), "odd.png")
    np.testing.assert_array_equal(photo.pixels, corners())


def test_damaged_exif_is_noted_and_the_picture_read() -> None:
    broken = b"Exif\0\0MM\0*\0\0\0\x08\0\x7f" + b"\xff" * 40
    photo = photo_from_bytes(encoded(corners(), "JPEG", quality=95, exif=broken), "odd.jpg")
    assert photo.size == (60, 40)
    assert photo.taken is None
    assert len(photo.notes) == 1
    assert "exif" in photo.notes[0].lower()


def test_capture_time_is_iso_8601() -> None:
    # CIPA DC-008, DateTimeOriginal: "YYYY:MM:DD HH:MM:SS".
    data = encoded(corners(), "JPEG", exif=exif_block(taken="2021:03:09 17:05:01"))
    assert photo_from_bytes(data, "a.jpg").taken == "2021-03-09T17:05:01"


@pytest.mark.parametrize("unset", ["    :  :     :  :  ", "0000:00:00 00:00:00", "yesterday", ""])
def test_unset_capture_time_is_none(unset: str) -> None:
    data = encoded(corners(), "JPEG", exif=exif_block(taken=unset))
    photo = photo_from_bytes(data, "a.jpg")
    assert photo.taken is None
    assert photo.notes == ()


@pytest.mark.parametrize(
    ("size", "reduction"),
    [
        ((1600, 1200), 1),
        ((1999, 1500), 1),
        ((2000, 1500), 2),
        ((4000, 3000), 2),
        ((3000, 4000), 2),
        ((4001, 3001), 2),
        ((4999, 400), 2),
        ((5000, 400), 4),
        ((9999, 400), 4),
        ((10000, 400), 8),
    ],
)
@pytest.mark.parametrize("file_format", ["JPEG", "PNG"])
def test_large_photos_are_read_at_reduced_scale(
    size: tuple[int, int], reduction: int, file_format: str
) -> None:
    data = encoded(Image.new("RGB", size, (90, 120, 30)), file_format)
    photo = photo_from_bytes(data, "large")
    assert photo.size == size
    assert photo.pixels.shape == (-(-size[1] // reduction), -(-size[0] // reduction), 3)
    assert max(photo.pixels.shape) >= min(WORKING_SIDE_PX, max(size))
    assert np.abs(photo.pixels.astype(int) - (90, 120, 30)).max() <= 2


def test_reduced_decoding_shows_the_same_picture_as_averaging() -> None:
    # ITU-T T.81: the lowest coefficients of a block are its coarse picture, so a
    # half-scale decode must be close to the mean over 2 x 2 pixels.
    full = engine(3200, 1600)
    half = photo_from_bytes(encoded(full, "JPEG", quality=95), "a.jpg").pixels
    mean = full.reshape(800, 2, 1600, 2, 3).mean(axis=(1, 3))
    assert np.abs(half - mean).mean() < 1.0


@pytest.mark.parametrize("height", [128, 129, 300])
def test_pixels_are_pillows_own_whatever_the_height(height: int) -> None:
    # They are handed over in strips; the last may be a part of one.
    data = encoded(engine(96, height), "JPEG")
    with Image.open(io.BytesIO(data)) as image:
        np.testing.assert_array_equal(photo_from_bytes(data, "a.jpg").pixels, np.asarray(image))


@pytest.mark.parametrize("subsampling", ["4:4:4", "4:2:2", "4:2:0"])
@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("reduction", [1, 2, 4, 8])
def test_the_faster_jpeg_decoder_gives_pillows_pixels(
    subsampling: str, progressive: bool, reduction: int
) -> None:
    pytest.importorskip("simplejpeg")
    data = encoded(
        engine(331, 203), "JPEG", quality=88, subsampling=subsampling, progressive=progressive
    )
    with Image.open(io.BytesIO(data)) as image:
        got = jpeg_pixels(image, data, reduction)
        image.draft(None, (331 // reduction, 203 // reduction))
        np.testing.assert_array_equal(got, np.asarray(image))


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_pixels_are_turned_as_pillow_turns_them(orientation: int) -> None:
    stored = engine(33, 21)
    image = Image.fromarray(stored)
    image.getexif()[0x0112] = orientation
    expected = np.asarray(ImageOps.exif_transpose(image))
    np.testing.assert_array_equal(turned_upright(stored, orientation), expected)


def test_what_the_faster_decoder_refuses_is_left_to_pillow() -> None:
    grey = encoded(Image.new("L", (64, 48), 90), "JPEG")
    cut_short = encoded(engine(64, 48), "JPEG")[:-200]
    for data in (grey, cut_short, encoded(corners())):
        with Image.open(io.BytesIO(data)) as image:
            assert jpeg_pixels(image, data, 1) is None
    assert photo_from_bytes(grey, "grey.jpg").pixels.shape == (48, 64, 3)
    with pytest.raises(PhotoUnreadable, match="truncated"):
        photo_from_bytes(cut_short, "cut.jpg")


def test_a_hash_that_is_known_is_not_taken_again() -> None:
    data = encoded(engine(5 * WORKING_SIDE_PX, 992), "JPEG")
    photo = photo_from_bytes(data, "a.jpg", sha256="0" * 64)
    assert photo.sha256 == closer(photo, 1.0).sha256 == "0" * 64


def test_path_and_bytes_give_the_same_photo(tmp_path: Path) -> None:
    data = encoded(engine(), "JPEG", exif=exif_block(6, "2020:01:02 03:04:05"))
    path = tmp_path / "engine.jpg"
    path.write_bytes(data)
    from_path, from_bytes = open_photo(path), photo_from_bytes(data, str(path))
    np.testing.assert_array_equal(from_path.pixels, from_bytes.pixels)
    for field in ("size", "sha256", "name", "taken", "notes"):
        assert getattr(from_path, field) == getattr(from_bytes, field)
    assert from_path.sha256 == hashlib.sha256(data).hexdigest()
    assert from_path.size == (180, 320)


def test_the_content_decides_not_the_name(tmp_path: Path) -> None:
    path = tmp_path / "really_a_png.jpg"
    path.write_bytes(encoded(corners()))
    np.testing.assert_array_equal(open_photo(path).pixels, corners())


def test_pixels_are_read_only() -> None:
    photo = photo_from_bytes(encoded(corners()), "a.png")
    with pytest.raises(ValueError, match="read-only"):
        photo.pixels[0, 0] = 0
