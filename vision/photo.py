"""The only decoder: a path or bytes to an upright RGB photo.

Both ways in share one path, so a file and its bytes give the same photo. The
header is read first and the limits are applied to it; pixels come after.

A large JPEG is decoded at half, quarter or eighth scale, which its transform
gives almost free; `closer` decodes again where the engine is small in the photo.
On a 12-megapixel JPEG (4000 by 3000, one core), half scale took 35 ms with Pillow
and 33 ms with OpenCV's reduced decoding, against 115 ms for the whole; Pillow is
used because it also reports truncated files.
"""

from __future__ import annotations

import functools
import hashlib
import importlib
import io
import re
import stat
import struct
import warnings
import zlib
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from PIL import ExifTags, Image, ImageOps

from vision.records import (
    Photo,
    PhotoEmpty,
    PhotoIsFolder,
    PhotoMissing,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoUnreadable,
    Pixels,
)

# Pixels. Phones and scanners stop near 100 megapixels, and decoded RGB of that
# size still fits in 300 MB of memory.
MAX_PIXELS = 100_000_000
# Bytes. A 100-megapixel picture in 16-bit colour with mild compression stays below.
MAX_BYTES = 200_000_000
# Pixels. Chosen by eye: an engine that fills a picture of this height has a
# boiler about ten pixels high, and nothing on it can be told apart.
MIN_SIDE_PX = 32
# Pixels. The longer side is never reduced below this at first: a 12-megapixel phone
# picture (4000 x 3000) decodes at quarter scale, which the first look needs and no more.
WORKING_SIDE_PX = 1000
# The scales at which the JPEG transform can be cut short (ITU-T T.81 has 8 x 8 blocks).
REDUCTIONS = (8, 4, 2)

# Raster formats only. Pillow would also open page descriptions, which start
# other programs, and those are no photos. JPEG includes the multi-picture kind.
FORMATS = ("JPEG", "PNG", "WEBP", "AVIF", "TIFF", "GIF", "BMP", "PPM")

SIXTEEN_BIT_GREY = ("I;16", "I;16L", "I;16B", "I;16N")
# 32-bit integers and floats have no agreed white, so a brightness would be a guess.
UNSUPPORTED_MODES = ("I", "F")

# What Pillow's decoders raise on damaged input, found by flipping bytes of every
# format above (tests/test_photo.py keeps doing it).
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


def open_photo(path: Path, *, limits: Limits = DEFAULT_LIMITS) -> Photo:
    """Read the photo at `path`.

    Parameters
    ----------
    path : Path
    limits : Limits
        What is refused before decoding.

    Returns
    -------
    Photo
        Upright; the same as `photo_from_bytes` gives for the file's bytes.

    Raises
    ------
    PhotoMissing, PhotoIsFolder, PhotoEmpty, PhotoTooLarge, PhotoTooSmall
    PhotoUnreadable
        Not a picture, a damaged one, or a file that may not be read.
    """
    name = str(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise PhotoIsFolder(f"{name}: a folder; name the photos in it instead")
        if not stat.S_ISREG(status.st_mode):
            raise PhotoUnreadable(f"{name}: not an ordinary file")
        _refuse_bytes(status.st_size, name, limits)
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise PhotoMissing(f"{name}: no such file") from None
    except OSError as error:
        raise PhotoUnreadable(f"{name}: {error.strerror or error}") from error
    return photo_from_bytes(data, name, limits=limits)


def closer(photo: Photo, scale: float) -> Photo:
    """The same photo decoded finer, for parts that are small in it.

    Parameters
    ----------
    photo : Photo
    scale : float
        Wanted decoded pixels per full-size pixel; what the transform offers at or above
        it is taken (1, 1/2, 1/4 or 1/8).

    Returns
    -------
    Photo
        `photo` itself where it is fine enough, or was decoded whole.
    """
    if photo.content is None or photo.scale >= min(scale, 0.99):
        return photo
    reduction = next((r for r in REDUCTIONS if 1.0 / r >= scale), 1)
    with (
        warnings.catch_warnings(),
        Image.open(io.BytesIO(photo.content), formats=_formats()) as image,
    ):
        warnings.simplefilter("ignore")  # told when the photo was first opened
        try:
            finer = _decode(image, photo.content, photo.name, reduction=reduction)
        except DAMAGE as error:
            raise PhotoUnreadable(f"{photo.name}: damaged picture ({_one_line(error)})") from error
    return replace(photo, pixels=finer.pixels)


def photo_from_bytes(data: bytes, name: str, *, limits: Limits = DEFAULT_LIMITS) -> Photo:
    """Decode the bytes of a picture file.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, WebP, AVIF, TIFF, GIF, BMP or PPM; the content decides, not `name`.
    name : str
        For messages.
    limits : Limits
        What is refused before decoding.

    Returns
    -------
    Photo
        Upright by its EXIF orientation. Transparent parts are laid on white;
        of an animation, the first frame. A longer side of twice
        `WORKING_SIDE_PX` or more is decoded at half, quarter or eighth scale.

    Raises
    ------
    PhotoEmpty, PhotoTooLarge, PhotoTooSmall, PhotoUnreadable
    """
    _refuse_bytes(len(data), name, limits)
    # What Pillow warns of goes into the photo's notes: as a warning it would be a
    # second line on the user's terminal, and without a photo's name.
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        with _open_header(data, name, limits) as image:
            try:
                photo = _decode(image, data, name)
            except DAMAGE as error:
                raise PhotoUnreadable(f"{name}: damaged picture ({_one_line(error)})") from error
    # The guard for large pictures has had its say in `limits`.
    doubts = [w for w in caught if not issubclass(w.category, Image.DecompressionBombWarning)]
    notes = photo.notes + tuple(dict.fromkeys(_one_line(w.message) for w in doubts))
    return replace(photo, notes=notes)


def _refuse_bytes(count: int, name: str, limits: Limits) -> None:
    if count == 0:
        raise PhotoEmpty(f"{name}: the file is empty")
    if count > limits.bytes:
        raise PhotoTooLarge(
            f"{name}: {count / 1e6:.0f} MB; the limit is {limits.bytes / 1e6:.0f} MB"
        )


def _open_header(data: bytes, name: str, limits: Limits) -> Image.Image:
    too_many = f"the limit is {limits.pixels / 1e6:g} megapixels"
    try:
        image = Image.open(io.BytesIO(data), formats=_formats())
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


@functools.cache
def _formats() -> tuple[str, ...]:
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
        if "HEIF" in _formats():
            return "a damaged HEIF picture; save it as JPEG where it can still be opened"
        return "a HEIF picture; install telltale-vision with the extra 'heic', or save it as JPEG"
    return "not a picture (JPEG, PNG, WebP, AVIF, TIFF, GIF, BMP, PPM), or a damaged one"


def _decode(image: Image.Image, data: bytes, name: str, *, reduction: int | None = None) -> Photo:
    size = image.size
    stored = _stored_orientation(image)
    if reduction is None:
        reduction = next((r for r in REDUCTIONS if max(size) >= r * WORKING_SIDE_PX), 1)
    notes = []
    if image.format != "MPO" and getattr(image, "is_animated", False):
        notes.append("animated; only the first frame was read")
    # Only JPEG takes the hint; other formats are reduced after decoding.
    image.draft(None, (size[0] // reduction, size[1] // reduction))
    image.load()
    # Read after loading: TIFF turns itself upright while loading and drops the
    # tag, PNG may carry its EXIF block after the pixels.
    try:
        exif = image.getexif()
        orientation = exif.get(ExifTags.Base.Orientation, 1)
        taken = _taken(exif)
        # 1 is upright already, and 0 and 9 upward are reserved: both stay as stored.
        upright = ImageOps.exif_transpose(image) if orientation in range(2, 9) else image
    except DAMAGE:
        notes.append("damaged EXIF block; read as stored, orientation unknown")
        orientation, taken, upright = 1, None, image
    if orientation in (5, 6, 7, 8):
        size = (size[1], size[0])
    rgb = _rgb(upright, name)
    if reduction > 1 and rgb.size == size:
        rgb = rgb.reduce(reduction)
    pixels: Pixels = np.asarray(rgb, dtype=np.uint8)
    pixels.setflags(write=False)
    return Photo(
        pixels=pixels,
        size=size,
        sha256=hashlib.sha256(data).hexdigest(),
        name=name,
        taken=taken,
        notes=tuple(notes),
        content=data if reduction > 1 else None,
        orientation=next((o for o in (stored, orientation) if o in range(2, 9)), 1),
    )


def _stored_orientation(image: Image.Image) -> int:
    # Only TIFF forgets its tag while loading; of the others what loading finds counts.
    if image.format != "TIFF":
        return 1
    try:
        return int(image.getexif().get(ExifTags.Base.Orientation, 1))
    except DAMAGE:
        return 1


def _rgb(image: Image.Image, name: str) -> Image.Image:
    if image.mode in UNSUPPORTED_MODES:
        raise PhotoUnreadable(f"{name}: pixels of a kind that is not read (mode {image.mode})")
    if image.mode in SIXTEEN_BIT_GREY:
        # Pillow clips 16-bit grey at 255 when it converts, which turns it white.
        return Image.fromarray((np.asarray(image) >> 8).astype(np.uint8)).convert("RGB")
    if image.has_transparency_data:
        layer = image.convert("RGBA")
        white = Image.new("RGBA", layer.size, "white")
        return Image.alpha_composite(white, layer).convert("RGB")
    return image.convert("RGB")


def _taken(exif: Image.Exif) -> str | None:
    text = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.DateTimeOriginal)
    if not isinstance(text, str):
        return None
    # Cameras with an unset clock write blanks or zeros here, which is no damage.
    try:
        return datetime.strptime(text.strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None


def _one_line(error: object) -> str:
    return re.sub(r"\s+", " ", str(error)).strip() or type(error).__name__
