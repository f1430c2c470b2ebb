"""The only decoder: a path or bytes to an upright RGB photo.

Both ways in share one path, so a file and its bytes give the same photo. The
header is read first and the limits are applied to it; pixels come after.

A large JPEG is decoded at half, quarter or eighth scale, which its transform
gives almost free; `closer` decodes again where the engine is small in the photo.
Of a 12-megapixel JPEG (4000 by 3000, one core), the pixels at a quarter of its scale
took 28 ms, at half 34, and 90 for the whole; OpenCV's reduced decoding took as long
and gave the same pixels. Pillow is used because it also reports truncated files.
"""

from __future__ import annotations

import io
import stat
import warnings
from dataclasses import replace
from pathlib import Path

from PIL import Image

from vision.photo.decode import REDUCED_FROM, WORKING_SIDE_PX, decode
from vision.photo.header import (
    DAMAGE,
    DEFAULT_LIMITS,
    MAX_BYTES,
    MAX_PIXELS,
    MIN_SIDE_PX,
    Limits,
    formats,
    one_line,
    open_header,
    refuse_bytes,
)
from vision.records import (
    Photo,
    PhotoIsFolder,
    PhotoMissing,
    PhotoUnreadable,
)

__all__ = [
    "DEFAULT_LIMITS",
    "MAX_BYTES",
    "MAX_PIXELS",
    "MIN_SIDE_PX",
    "WORKING_SIDE_PX",
    "Limits",
    "closer",
    "open_photo",
    "photo_from_bytes",
]


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
        refuse_bytes(status.st_size, name, limits)
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
    reduction = next((r for r, _ in REDUCED_FROM if 1.0 / r >= scale), 1)
    with (
        warnings.catch_warnings(),
        Image.open(io.BytesIO(photo.content), formats=formats()) as image,
    ):
        warnings.simplefilter("ignore")  # told when the photo was first opened
        try:
            finer = decode(
                image, photo.content, photo.name, reduction=reduction, sha256=photo.sha256
            )
        except DAMAGE as error:
            raise PhotoUnreadable(f"{photo.name}: damaged picture ({one_line(error)})") from error
    return replace(photo, pixels=finer.pixels)


def photo_from_bytes(
    data: bytes, name: str, *, limits: Limits = DEFAULT_LIMITS, sha256: str | None = None
) -> Photo:
    """Decode the bytes of a picture file.

    Parameters
    ----------
    data : bytes
        JPEG, PNG, WebP, AVIF, TIFF, GIF, BMP or PPM; the content decides, not `name`.
    name : str
        For messages.
    limits : Limits
        What is refused before decoding.
    sha256 : str | None
        Hexadecimal hash of `data`, where the caller has taken it already.

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
    refuse_bytes(len(data), name, limits)
    # What Pillow warns of goes into the photo's notes: as a warning it would be a
    # second line on the user's terminal, and without a photo's name.
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        with open_header(data, name, limits) as image:
            try:
                photo = decode(image, data, name, sha256=sha256)
            except DAMAGE as error:
                raise PhotoUnreadable(f"{name}: damaged picture ({one_line(error)})") from error
    # The guard for large pictures has had its say in `limits`.
    doubts = [w for w in caught if not issubclass(w.category, Image.DecompressionBombWarning)]
    notes = photo.notes + tuple(dict.fromkeys(one_line(w.message) for w in doubts))
    return replace(photo, notes=notes)
