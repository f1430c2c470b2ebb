"""Pieces of photo files, by the standards of their formats."""

from __future__ import annotations

import struct
import zlib

from PIL import Image


def exif_block(orientation: int | None = None, taken: str | None = None) -> bytes:
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    if taken is not None:
        exif.get_ifd(0x8769)[0x9003] = taken
    return exif.tobytes()


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
