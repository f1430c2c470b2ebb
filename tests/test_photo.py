"""The decoder against the EXIF and PNG standards, and against every kind of bad file."""

from __future__ import annotations

import hashlib
import io
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from shapes import corners, encoded, engine, ramp
from vision.photo import WORKING_SIDE_PX, Limits, closer, open_photo, photo_from_bytes
from vision.photo.turbo import jpeg_pixels, turned_upright
from vision.records import (
    PhotoEmpty,
    PhotoIsFolder,
    PhotoMissing,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
    TelltaleError,
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


def exif_block(orientation: int | None = None, taken: str | None = None) -> bytes:
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    if taken is not None:
        exif.get_ifd(0x8769)[0x9003] = taken
    return exif.tobytes()


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


def test_grey_and_palette_pictures() -> None:
    image = Image.fromarray(corners())
    grey = np.asarray(image.convert("L"))
    photo = photo_from_bytes(encoded(Image.fromarray(grey)), "grey.png")
    np.testing.assert_array_equal(photo.pixels, np.repeat(grey[:, :, None], 3, axis=2))
    palette = photo_from_bytes(encoded(image.quantize(4), "GIF"), "palette.gif")
    np.testing.assert_array_equal(palette.pixels, corners())
    bilevel = photo_from_bytes(encoded(Image.fromarray(ramp()).convert("1", dither=0)), "1.png")
    np.testing.assert_array_equal(np.unique(bilevel.pixels), [0, 255])


@pytest.mark.parametrize("file_format", ["PNG", "TIFF"])
def test_sixteen_bit_grey_keeps_its_brightness(file_format: str) -> None:
    # PNG specification (ISO/IEC 15948), "Sample depth rescaling": the exact value is
    # round(sample * 255 / 65535); dropping the low byte is allowed and within one.
    deep = np.linspace(0, 65535, 64).astype(np.uint16)
    picture = np.tile(deep, (40, 1))
    photo = photo_from_bytes(encoded(Image.fromarray(picture), file_format), "deep")
    exact = np.round(deep * 255.0 / 65535.0)
    assert np.abs(photo.pixels[7, :, 0] - exact).max() <= 1.0


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def test_sixteen_bit_colour_png() -> None:
    # Written by hand from the PNG specification, since Pillow cannot write one.
    width, height = 48, 40
    sample = struct.pack(">3H", 0x8000, 0x40FF, 0xFFFF)
    raw = b"".join(b"\0" + sample * width for _ in range(height))

    header = struct.pack(">2I5B", width, height, 16, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header)
    data += png_chunk(b"IDAT", zlib.compress(raw)) + png_chunk(b"IEND", b"")
    photo = photo_from_bytes(data, "deep.png")
    assert photo.size == (48, 40)
    np.testing.assert_allclose(photo.pixels[3, 5], (128, 64, 255), atol=1)


def test_cmyk_jpeg_has_the_right_colours() -> None:
    # Process colours, common practice, no source: cyan and yellow ink make green.
    inks = Image.new("CMYK", (48, 40), (255, 0, 255, 0))
    photo = photo_from_bytes(encoded(inks, "JPEG", quality=95), "inks.jpg")
    red, green, blue = photo.pixels.reshape(-1, 3).mean(axis=0)
    assert green > 240
    assert red < 15
    assert blue < 15


def test_transparency_is_laid_on_white() -> None:
    layer = np.zeros((40, 60, 4), np.uint8)
    layer[:, :20] = (200, 0, 0, 255)
    layer[:, 20:40] = (0, 0, 0, 128)
    photo = photo_from_bytes(encoded(Image.fromarray(layer)), "layer.png")
    assert tuple(photo.pixels[5, 5]) == (200, 0, 0)
    # The "over" operator of Porter and Duff (1984): 0 * 128/255 + 255 * 127/255.
    assert tuple(photo.pixels[5, 25]) == (127, 127, 127)
    assert tuple(photo.pixels[5, 55]) == (255, 255, 255)


def test_transparent_palette_is_laid_on_white() -> None:
    image = Image.fromarray(corners()).quantize(4)
    index = image.getpixel((0, 0))
    photo = photo_from_bytes(encoded(image, "PNG", transparency=index), "p.png")
    assert tuple(photo.pixels[2, 2]) == (255, 255, 255)
    assert tuple(photo.pixels[2, 50]) == (0, 255, 0)


@pytest.mark.parametrize("file_format", ["GIF", "PNG", "WEBP"])
def test_of_an_animation_the_first_frame_is_read(file_format: str) -> None:
    first, second = Image.new("RGB", (48, 40), "red"), Image.new("RGB", (48, 40), "blue")
    options = {"lossless": True} if file_format == "WEBP" else {}
    data = encoded(first, file_format, save_all=True, append_images=[second], **options)
    photo = photo_from_bytes(data, "moving")
    np.testing.assert_array_equal(photo.pixels[20, 20], (255, 0, 0))
    assert photo.notes == ("animated; only the first frame was read",)


def test_of_a_multi_picture_jpeg_the_first_picture_is_read() -> None:
    # CIPA DC-007: the first picture is the photo, the others are views or depth.
    first, second = Image.new("RGB", (3200, 1600), "red"), Image.new("RGB", (3200, 1600), "blue")
    data = encoded(first, "MPO", save_all=True, append_images=[second], exif=exif_block(6))
    photo = photo_from_bytes(data, "phone.jpg")
    assert photo.size == (1600, 3200)
    assert photo.pixels.shape == (1600, 800, 3)
    assert np.abs(photo.pixels[20, 20].astype(int) - (254, 0, 0)).max() <= 2
    assert photo.notes == ()


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


def test_heif_is_read_where_its_extra_is_installed() -> None:
    pytest.importorskip("pi_heif", reason='needs the extra "heic"')
    # heif-enc of libheif 1.15 made it from shapes.corners(64, 48).
    photo = open_photo(Path(__file__).parent / "cases" / "corners.heic")
    assert photo.size == (64, 48)
    for row, column in ((12, 16), (12, 48), (36, 16), (36, 48)):
        expected = corners(64, 48)[row, column].astype(int)
        assert np.abs(photo.pixels[row, column].astype(int) - expected).max() <= 8


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
