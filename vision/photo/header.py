"""What is refused before a pixel is decoded, and what damage looks like."""

from __future__ import annotations

import functools
import importlib
import io
import re
import struct
import zlib
from dataclasses import dataclass
from typing import Any

from PIL import Image

from vision.records import (
    PhotoEmpty,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
)

# Pixels. Phones and scanners stop near 100 megapixels, and decoded RGB of that
# size still fits in 300 MB of memory.
MAX_PIXELS = 100_000_000
# Bytes. A 100-megapixel picture in 16-bit colour with mild compression stays below.
MAX_BYTES = 200_000_000
# Pixels. Chosen by eye: an engine that fills a picture of this height has a
# boiler about ten pixels high, and nothing on it can be told apart.
MIN_SIDE_PX = 32

# Raster formats only. Pillow would also open page descriptions, which start
# other programs, and those are no photos. JPEG includes the multi-picture kind.
FORMATS = ("JPEG", "PNG", "WEBP", "AVIF", "TIFF", "GIF", "BMP", "PPM")

# What Pillow's decoders raise on damaged input, found by flipping bytes of every
# format above (tests/test_photo_refused.py keeps doing it).
DAMAGE = (
    OSError,
    SyntaxError,
    ValueError,
    TypeError,
    LookupError,
    EOFError,
    ArithmeticError,
    RuntimeError,
    NotImplementedError,
    struct.error,
    zlib.error,
)


@dataclass(frozen=True, slots=True)
class Limits:
    """What is refused before decoding.

    Attributes
    ----------
    pixels : int
        Largest width times height. Above 178 956 970 Pillow's own guard speaks first.
    bytes : int
        Largest file, in bytes.
    """

    pixels: int = MAX_PIXELS
    bytes: int = MAX_BYTES


DEFAULT_LIMITS = Limits()


def refuse_bytes(count: int, name: str, limits: Limits) -> None:
    """Refuse an empty file and one with more bytes than the limit."""
    if count == 0:
        raise PhotoEmpty(f"{name}: the file is empty")
    if count > limits.bytes:
        raise PhotoTooLarge(
            f"{name}: {count / 1e6:.0f} MB; the limit is {limits.bytes / 1e6:.0f} MB"
        )


def open_header(data: bytes, name: str, limits: Limits) -> Image.Image:
    """Open a picture without decoding it; refuse too many pixels and too few."""
    too_many = f"the limit is {limits.pixels / 1e6:g} megapixels"
    try:
        image = Image.open(io.BytesIO(data), formats=formats())
    except Image.DecompressionBombError:
        raise PhotoTooLarge(f"{name}: far too many pixels; {too_many}") from None
    except DAMAGE as error:
        raise PhotoUnreadable(f"{name}: {_what_it_is(data)}") from error
    width, height = image.size
    if width * height > limits.pixels:
        image.close()
        raise PhotoTooLarge(f"{name}: {width} x {height} pixels; {too_many}")
    if min(width, height) < MIN_SIDE_PX:
        image.close()
        raise PhotoTooSmall(
            f"{name}: {width} x {height} pixels; at least {MIN_SIDE_PX} on each side are needed"
        )
    return image


# How it is said that a picture can be read, but not as things are installed.
NEEDS_EXTRA = "install telltale-vision with the extra 'heic'"


@functools.cache
def formats() -> tuple[str, ...]:
    """What is read here: HEIF too where the extra for it is installed."""
    try:
        heif: Any = importlib.import_module("pi_heif")
    except ImportError:
        return FORMATS
    heif.register_heif_opener()
    return (*FORMATS, "HEIF")


def _what_it_is(data: bytes) -> str:
    # Phones of one large maker write HEIF by default, so this deserves its own advice.
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"hevc"):
        if "HEIF" in formats():
            return "a damaged HEIF picture; save it as JPEG where it can still be opened"
        return f"a HEIF picture; {NEEDS_EXTRA}, or save it as JPEG"
    return "not a picture (JPEG, PNG, WebP, AVIF, TIFF, GIF, BMP, PPM), or a damaged one"


def one_line(error: object) -> str:
    """Words of an error on one line; its class where it says nothing."""
    return re.sub(r"\s+", " ", str(error)).strip() or type(error).__name__
