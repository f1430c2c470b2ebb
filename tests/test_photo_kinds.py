"""Kinds of pictures that a photo may come as, against the standards of their formats."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from photo_files import exif_block, png_chunk
from shapes import corners, encoded, ramp
from vision.photo import open_photo, photo_from_bytes


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


def test_heif_is_read_where_its_extra_is_installed() -> None:
    pytest.importorskip("pi_heif", reason='needs the extra "heic"')
    # heif-enc of libheif 1.15 made it from shapes.corners(64, 48).
    photo = open_photo(Path(__file__).parent / "cases" / "corners.heic")
    assert photo.size == (64, 48)
    for row, column in ((12, 16), (12, 48), (36, 16), (36, 48)):
        expected = corners(64, 48)[row, column].astype(int)
        assert np.abs(photo.pixels[row, column].astype(int) - expected).max() <= 8
