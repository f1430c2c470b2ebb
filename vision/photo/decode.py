"""From an opened picture to upright pixels."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any

import numpy as np
from PIL import ExifTags, Image, ImageOps

from vision.photo.header import DAMAGE
from vision.photo.turbo import jpeg_pixels, turned_upright
from vision.records import (
    Photo,
    PhotoUnreadable,
    Pixels,
)

# Pixels. The longer side is never reduced below this at first.
WORKING_SIDE_PX = 1000
# The scales at which the JPEG transform can be cut short (ITU-T T.81 has 8 x 8 blocks),
# each with the longer side, pixels, from which it comes first. Undoing the entropy code
# takes most of the time at any of them: half scale costs a sixth more than a quarter,
# while decoding again, for an engine that is small in the picture, doubles it. So a
# 12-megapixel phone picture (4000 x 3000) is decoded once, at half scale.
REDUCED_FROM = ((8, 10 * WORKING_SIDE_PX), (4, 5 * WORKING_SIDE_PX), (2, 2 * WORKING_SIDE_PX))
# Rows handed over at a time: Pillow copies what it hands over twice, which in strips
# stays within the processor's cache instead of asking the system for fresh memory.
_STRIP_ROWS = 128
# Pillow hands a picture's memory back to the system and asks for it anew with the next
# one, which costs a fifth of the decoding. One block (16 MB) is kept instead: half of a
# 12-megapixel photo's scale fills 12 MB of it (Pillow's documentation, "Block Allocator").
_memory: Any = vars(Image)["core"]
_memory.set_blocks_max(max(1, _memory.get_blocks_max()))

SIXTEEN_BIT_GREY = ("I;16", "I;16L", "I;16B", "I;16N")
# 32-bit integers and floats have no agreed white, so a brightness would be a guess.
UNSUPPORTED_MODES = ("I", "F")


def decode(
    image: Image.Image,
    data: bytes,
    name: str,
    *,
    reduction: int | None = None,
    sha256: str | None = None,
) -> Photo:
    """Upright RGB pixels of an opened picture, reduced as `reduction` says or as fits.

    `sha256` is the hash of `data` where it is known already.
    """
    size = image.size
    stored = _stored_orientation(image)
    if reduction is None:
        reduction = next((r for r, side in REDUCED_FROM if max(size) >= side), 1)
    notes = []
    if image.format != "MPO" and getattr(image, "is_animated", False):
        # TIFF has pages, and nothing that moves.
        several = "several pictures" if image.format == "TIFF" else "animated"
        first = "picture" if image.format == "TIFF" else "frame"
        notes.append(f"{several}; only the first {first} was read")
    pixels = jpeg_pixels(image, data, reduction)
    if pixels is None:
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
        turn = pixels is None and orientation in range(2, 9)
        upright = ImageOps.exif_transpose(image) if turn else image
    except DAMAGE:
        notes.append("damaged EXIF block; read as stored, orientation unknown")
        orientation, taken, upright = 1, None, image
    if orientation in (5, 6, 7, 8):
        size = (size[1], size[0])
    if pixels is None:
        rgb = _rgb(upright, name)
        if reduction > 1 and rgb.size == size:
            rgb = rgb.reduce(reduction)
        pixels = _handed_over(rgb)
    else:
        pixels = turned_upright(pixels, orientation)
    pixels.setflags(write=False)
    return Photo(
        pixels=pixels,
        size=size,
        sha256=hashlib.sha256(data).hexdigest() if sha256 is None else sha256,
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
    # Converting what is RGB already would copy it.
    return image if image.mode == "RGB" else image.convert("RGB")


def _handed_over(rgb: Image.Image) -> Pixels:
    width, height = rgb.size
    pixels: Pixels = np.empty((height, width, 3), dtype=np.uint8)
    for top in range(0, height, _STRIP_ROWS):
        bottom = min(height, top + _STRIP_ROWS)
        pixels[top:bottom] = np.asarray(rgb.crop((0, top, width, bottom)))
    return pixels


def _taken(exif: Image.Exif) -> str | None:
    text = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.DateTimeOriginal)
    if not isinstance(text, str):
        return None
    # Cameras with an unset clock write blanks or zeros here, which is no damage.
    try:
        return datetime.strptime(text.strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None
