"""Uploads that mean no good: never a stack trace, a stuck worker, or a file left behind."""

from __future__ import annotations

import io
import json
import logging
import struct
import tempfile
import threading
import time
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from page_server import BOUNDARY, KIND, Phone, form, raw, running
from shapes import encoded, engine
from vision.page import PageLimits
from vision.page.assets import english
from vision.pipeline import load_eye

Rng = np.random.Generator
# What a request may be told. 500 is a fault of ours, and none may come.
STATUSES = {200, 400, 401, 403, 404, 405, 408, 413, 415, 421, 422, 503}
FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF", "PPM")
# Small enough that what is slow or large is met in a test's time.
LIMITS = PageLimits(
    photo_bytes=2_000_000, request_bytes=3_000_000, upload_s=0.3, header_s=0.3, places_each=4
)


def chunk(kind: bytes, data: bytes) -> bytes:
    """One chunk of a PNG file (ISO/IEC 15948, 5.3)."""
    body = kind + data
    return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))


def png(width: int, height: int, *, data: bytes = b"", extra: bytes = b"") -> bytes:
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + extra + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def with_exif(block: bytes) -> bytes:
    """A sound JPEG with this EXIF block (JEITA CP-3451, 4.7.2: APP1 marker)."""
    jpeg = encoded(engine(), "JPEG")
    body = b"Exif\0\0" + block
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + jpeg[2:]


def sound(rng: Rng) -> bytes:
    return encoded(
        engine(int(rng.integers(64, 400)), int(rng.integers(48, 300))), rng.choice(FORMATS)
    )


def truncated(rng: Rng) -> bytes:
    data = sound(rng)
    return data[: int(rng.integers(0, len(data)))]


def flipped(rng: Rng) -> bytes:
    data = bytearray(sound(rng))
    for at in rng.integers(0, len(data), int(rng.integers(1, 60))):
        data[at] = int(rng.integers(256))
    return bytes(data)


def noise(rng: Rng) -> bytes:
    start = rng.choice(np.array([b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"RIFF"], object))
    return bytes(start) + rng.bytes(int(rng.integers(0, 5000)))


def renamed(rng: Rng) -> bytes:
    texts = (
        b"Dear sir, the engine is green.\n" * 40,
        b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        b"<html><script>alert(1)</script>" * 9,
        b"%PDF-1.7\n" + rng.bytes(300),
        b"%!PS\n(/etc/passwd) run\n",
        b"\x7fELF" + rng.bytes(300),
        b"#!/bin/sh\nexit\n",
        b"\0\0\0\x18ftypheic" + rng.bytes(300),
    )
    return texts[int(rng.integers(len(texts)))]


def zipped(rng: Rng) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../../engine.jpg", bytes(1_000_000))
    return stream.getvalue() + (encoded(engine(), "JPEG") if rng.random() < 0.3 else b"")


def vast(rng: Rng) -> bytes:
    side = int(rng.choice([7_000, 20_000, 65_000, 2**31 - 1]))
    return png(side, side, data=zlib.compress(bytes(100_000)))


def bomb(rng: Rng) -> bytes:
    """Small, and much larger unpacked."""
    kind = rng.integers(3)
    packed = zlib.compress(bytes(20_000_000))
    if kind == 0:
        return png(200, 200, data=packed)
    text = b"k\0\0" + packed
    extra = chunk(b"zTXt", text) if kind == 1 else chunk(b"iCCP", text)
    return png(200, 200, data=zlib.compress(bytes(200 * 601)), extra=extra * 3)


def exif_bomb(rng: Rng) -> bytes:
    head = b"II*\0\x08\0\0\0"
    kind = rng.integers(4)
    if kind == 0:  # a directory that is its own successor
        return with_exif(head + struct.pack("<H", 0) + struct.pack("<I", 8))
    if kind == 1:  # entries that claim four gigabytes
        entry = struct.pack("<HHII", 0x010F, 2, 0xFFFFFFF0, 0xFFFFFFF0)
        return with_exif(head + struct.pack("<H", 900) + entry * 900)
    if kind == 2:  # sub-directories that point at one another
        entries = struct.pack("<HHII", 0x8769, 4, 1, 8) + struct.pack("<HHII", 0x8825, 4, 1, 8)
        return with_exif(head + struct.pack("<H", 2) + entries)
    return with_exif(head + rng.bytes(int(rng.integers(0, 60_000))))


def slender(rng: Rng) -> bytes:
    long, short = int(rng.integers(2_000, 20_000)), int(rng.integers(32, 40))
    size = (long, short) if rng.random() < 0.5 else (short, long)
    return encoded(Image.new("RGB", size, (40, 90, 60)), "PNG")


PHOTOS = (*(sound, truncated, flipped, noise, renamed, zipped, vast, bomb, exif_bomb, slender),)
NAMES = (
    *("engine.jpg", "../../../etc/passwd", "a\\b.jpg", "\u202egpj.exe", "x" * 3000, "a\0b.jpg"),
    *('"><script>alert(1)</script>.jpg', "", ".", "%n%s%x", "CON", "photo.jpg;filename=b"),
)


def upload(phone: Phone, rng: Rng) -> tuple[str, Any]:
    make = PHOTOS[int(rng.integers(len(PHOTOS)))]
    name = NAMES[int(rng.integers(len(NAMES)))].replace('"', "%22").replace("\0", "")
    fields = {} if rng.random() < 0.8 else {"saw": [NAMES[int(rng.integers(len(NAMES)))]]}
    path = "/share" if rng.random() < 0.1 else "/answer"
    return make.__name__, phone.date((name, make(rng)), path=path, **fields)


def mangled(phone: Phone, rng: Rng) -> tuple[str, Any]:
    """A sound photo in a form that is not."""
    data = bytearray(form([("a.png", encoded(engine()))], saw=["switch_lever=present"]))
    kind = KIND
    way = int(rng.integers(6))
    if way == 0:
        data = data[: int(rng.integers(0, len(data)))]
    elif way == 1:
        for at in rng.integers(0, 300, 8):
            data[at] = int(rng.integers(256))
    elif way == 2:
        kinds = ("", "text/plain", "multipart/form-data", "image/jpeg", "application/json")
        kind = kinds[int(rng.integers(len(kinds)))]
    elif way == 3:
        kind = "multipart/form-data; boundary=" + ("x" * int(rng.integers(1, 400)))
    elif way == 4:
        part = f"--{BOUNDARY}\r\nContent-Disposition: form-data; name=a{{}}\r\n\r\n1\r\n"
        data = bytearray("".join(part.format(n) for n in range(2000)).encode())
    else:
        head = f"--{BOUNDARY}\r\n" + "X-Long: " + "y" * 200_000 + "\r\n\r\n"
        data = bytearray(head.encode())
    return "mangled", phone.ask("POST", "/answer", bytes(data), {"Content-Type": kind})


def unmannered(phone: Phone, rng: Rng) -> tuple[str, Any]:
    """Bytes that are hardly HTTP, and senders that stop half-way."""
    head = f"POST /answer HTTP/1.1\r\nHost: localhost:{phone.port}\r\n"
    own = "".join(f"{k}: {v}\r\n" for k, v in phone.headers.items())
    origin = f"Origin: http://localhost:{phone.port}\r\n"
    texts = (
        rng.bytes(200),
        head.encode(),
        b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 3000,
        f"{head}{own}{origin}Content-Type: {KIND}\r\nContent-Length: 5000\r\n\r\n--".encode(),
        f"{head}Content-Length: 3\r\nContent-Length: 9\r\n\r\nabc".encode(),
        f"{head}Transfer-Encoding: chunked\r\n\r\nFFFFFFFFFFFFFFFFF\r\n".encode(),
        b"GET /\xff\xfe HTTP/9.9\r\n\r\n",
    )
    answer = raw(phone.port, texts[int(rng.integers(len(texts)))], wait_s=3)
    assert b"<still open>" not in answer
    assert b"Traceback" not in answer
    return "unmannered", None


WAYS: tuple[tuple[float, Callable[[Phone, Rng], tuple[str, Any]]], ...] = (
    (0.82, upload),
    (0.14, mangled),
    (0.04, unmannered),
)


def open_files() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir()) if Path("/proc/self/fd").exists() else 0


def fuzz(count: int, seed: int, eye: Any, folder: Path, caplog: Any) -> Counter[str]:
    rng = np.random.default_rng(seed)
    met: Counter[str] = Counter()
    words = english()
    with running(eye, limits=LIMITS) as port:
        phone = Phone(port)
        phone.enter()
        phone.date(("engine.png", encoded(engine())))
        threads, files = threading.active_count(), open_files()
        for number in range(count):
            way = rng.choice(len(WAYS), p=[share for share, _ in WAYS])
            kind, reply = WAYS[way][1](phone, rng)
            if reply is None:
                met[kind] += 1
                continue
            assert reply.status in STATUSES, (number, kind, reply)
            content = json.loads(reply.body)
            if reply.status == 200:
                assert {"answer", "shown"} <= set(content) or set(content) == {"html"}
            else:
                assert f"error_{content['error']}" in words
                assert set(content) <= {"error", "detail"}
                assert "\n" not in content.get("detail", "")
            met[f"{kind} {reply.status}"] += 1
        # Nobody is stuck: the next answer comes at once, and nothing is held open.
        began = time.monotonic()
        assert phone.date(("engine.png", encoded(engine()))).status == 200
        assert time.monotonic() - began < 5
        deadline = time.monotonic() + 5
        while open_files() > files + 2 and time.monotonic() < deadline:
            time.sleep(0.05)
        assert open_files() <= files + 2
        assert threading.active_count() <= threads
    assert list(folder.iterdir()) == []
    assert [r for r in caplog.records if r.levelno >= logging.ERROR] == []
    return met


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the process would put a temporary file."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def test_a_hundred_and_fifty_uploads(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    met = fuzz(150, 7, None, folder, caplog)
    kinds = {key.split()[0] for key in met}
    assert {make.__name__ for make in PHOTOS} | {"mangled", "unmannered"} <= kinds
    # Sound ones are answered, so the refusals mean something.
    assert met["sound 200"] > 0
    assert met["renamed 422"] > 0
    assert met["vast 413"] > 0


@pytest.mark.slow
def test_two_thousand_uploads_to_the_shipped_eye(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    met = fuzz(2000, 11, load_eye(), folder, caplog)
    print(dict(sorted(met.items())))
    assert met["sound 200"] > 50
