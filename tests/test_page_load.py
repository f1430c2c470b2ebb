"""The command `telltale page` as a process of its own: many phones, large photos, and the end."""

from __future__ import annotations

import io
import os
import re
import signal
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from page_server import Phone
from vision.page import listen

DEMO = Path(__file__).parent.parent / "demo_images"
# Seconds that the phones keep asking; 60 where the environment asks for it.
SECONDS = float(os.environ.get("TELLTALE_SECONDS", "6"))
PHONES = 20
# A request that is kept shows in the memory as its photo and this much more.
TAIL_BYTES = 1_000_000
# One heap for all threads, and every large block returned to the system when it is freed:
# otherwise the memory shows what the allocator keeps, not what the server does.
ALLOCATOR = {
    "MALLOC_ARENA_MAX": "1",
    "MALLOC_MMAP_THRESHOLD_": "131072",
    "MALLOC_TRIM_THRESHOLD_": "131072",
}


@contextmanager
def command(*options: str) -> Iterator[tuple[subprocess.Popen[str], int, list[str]]]:
    """Run `telltale page` on a free port; gives the process, the port and its first lines."""
    code = "from vision.cli import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", code, "page", "--port", "0", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, **ALLOCATOR},
    )
    assert process.stdout is not None
    try:
        lines: list[str] = []
        while not (found := re.search(r"://localhost:(\d+)/", "".join(lines))):
            line = process.stdout.readline()
            assert line, f"ended: {lines}"
            lines.append(line)
        yield process, int(found[1]), lines
    finally:
        process.kill()
        process.wait(10)
        process.stdout.close()


def memory_mb(process: subprocess.Popen[str]) -> float:
    status = Path(f"/proc/{process.pid}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+) kB", status)
    assert found is not None
    return int(found[1]) / 1000


def ready(port: int) -> Phone:
    phone = Phone(port)
    deadline = time.monotonic() + 30
    while True:
        try:
            assert phone.enter().status == 200
            return phone
        except ConnectionRefusedError:
            assert time.monotonic() < deadline
            time.sleep(0.05)


def load(phones: list[Phone], seconds: float, turn: str) -> list[list[tuple[int, float]]]:
    """Let each phone ask again as soon as it is answered; statuses and waits by phone."""
    photos = [path.read_bytes() for path in sorted(DEMO.glob("*.jpg"))[:6]]
    answers: list[list[tuple[int, float]]] = [[] for _ in phones]
    stop = time.monotonic() + seconds

    def ask(number: int) -> None:
        while time.monotonic() < stop:
            # Bytes after the end of a JPEG change its hash, so that each is read anew.
            count = len(answers[number])
            tail = f"{turn} {number} {count}".encode() + bytes(TAIL_BYTES)
            began = time.monotonic()
            reply = phones[number].date(("a.jpg", photos[count % len(photos)] + tail))
            answers[number].append((reply.status, time.monotonic() - began))

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(len(phones))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(seconds + 60)
    return answers


@pytest.mark.slow
def test_many_phones_at_once() -> None:
    """No error, no growth, and nobody waits while others are served again and again."""
    with command() as (process, port, _):
        phones = [ready(port) for _ in range(PHONES)]
        # Every worker thread keeps buffers of its own, which fill over the first answers.
        parts = [load(phones, SECONDS / 3, name) for name in ("first", "second")]
        warm = memory_mb(process)
        parts.append(load(phones, SECONDS / 3, "third"))
        asked = sum(len(each) for each in parts[-1])
        grown = memory_mb(process) - warm
        answers = [[a for part in turns for a in part] for turns in zip(*parts, strict=True)]
        counts = [len(each) for each in answers]
        waits = [wait for each in answers for _, wait in each]
        print(
            f"{PHONES} phones, {SECONDS:.0f} s: n={sum(counts)} answers, {min(counts)} to "
            f"{max(counts)} a phone, wait median {statistics.median(waits):.2f} s, longest "
            f"{max(waits):.2f} s, memory {warm:.0f} MB {grown:+.0f} MB"
        )
        assert {status for each in answers for status, _ in each} == {200}
        # Each phone has one request in the line, so turns differ by little: by one where
        # each of the three parts of the time ends, and by what a reply takes to come through.
        assert max(counts) - min(counts) <= 3 + max(counts) // 5
        # Two thirds of what kept requests would take, and what 20 threads may waver by.
        assert grown < max(20.0, asked * TAIL_BYTES / 1e6 * 2 / 3)


def twelve_megapixels() -> bytes:
    stream = io.BytesIO()
    with Image.open(DEMO / "wayfarer_w3.jpg") as image:
        large = np.asarray(image.resize((4000, 3000), Image.Resampling.BICUBIC), np.int16)
    # Grain, as a phone's sensor has it, makes the file as large as theirs are.
    grain = np.random.default_rng(5).normal(0.0, 6.0, large.shape)
    noisy = Image.fromarray(np.clip(large + grain, 0, 255).astype(np.uint8))
    noisy.save(stream, "JPEG", quality=88)
    return stream.getvalue()


def test_a_twelve_megapixel_photo_is_answered_within_a_second() -> None:
    """Sent as it is, not shrunk as the page would; median, the first answer left out."""
    photo = twelve_megapixels()
    with command() as (process, port, _):
        # One core, where the system can say so: server and networks share it.
        if hasattr(os, "sched_setaffinity"):
            for task in Path(f"/proc/{process.pid}/task").iterdir():
                os.sched_setaffinity(int(task.name), {min(os.sched_getaffinity(0))})
        phone = ready(port)
        took = []
        for turn in range(8):
            began = time.monotonic()
            assert phone.date(("a.jpg", photo + str(turn).encode())).status == 200
            took.append(time.monotonic() - began)
        median = statistics.median(took[1:])
        load = os.getloadavg()[0]
        print(
            f"12 megapixels, {len(photo) / 1e6:.1f} MB, one core: n={len(took) - 1}, "
            f"median {median:.2f} s, load {load:.1f}"
        )
        # On a machine that is busy with other work the clock measures that work.
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 1
        assert median < 1.0 * max(1.0, load / cores)


def test_the_command_says_where_and_ends_without_a_word() -> None:
    with command() as (process, port, lines):
        ready(port)
        assert lines[0].startswith("by the guide wayfarer 1, an invented example: Ostrander & Fell")
        process.send_signal(signal.SIGINT)
        assert process.wait(15) == 0
        assert process.stdout is not None
        assert process.stdout.read() == ""


def test_a_port_that_is_taken_is_one_line() -> None:
    sockets, port = listen(0, None)
    try:
        code = "from vision.cli import main; main()"
        result = subprocess.run(
            [sys.executable, "-c", code, "page", "--port", str(port)],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
    finally:
        for sock in sockets:
            sock.close()
    assert result.returncode == 60
    assert result.stderr.startswith(f"telltale: port {port}: ")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("https", [False, True])
def test_on_the_network_with_a_code(https: bool) -> None:
    import http.client
    import ssl

    options = ("--lan", *(("--https",) if https else ()))
    try:
        from vision.page import find_lan_address

        address = find_lan_address()
    except Exception:
        pytest.skip("this machine is on no network")
    with command(*options) as (process, port, lines):
        assert process.stdout is not None
        while not (found := re.search(r"(https?)://([\d.]+):(\d+)/#(\w+) ", "".join(lines))):
            lines.append(process.stdout.readline())
        assert found[1] == ("https" if https else "http")
        assert found[2] == address
        assert ("certificate, SHA-256: " in "".join(lines)) == https
        if https:
            context = ssl.create_default_context()
            context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
            connection: http.client.HTTPConnection = http.client.HTTPSConnection(
                address, port, timeout=30, context=context
            )
        else:
            connection = http.client.HTTPConnection(address, port, timeout=30)
        origin = f"{found[1]}://{address}:{port}"
        deadline = time.monotonic() + 30
        while True:
            try:
                connection.request("POST", "/enter", found[4], {"Origin": origin})
                break
            except ConnectionRefusedError:
                assert time.monotonic() < deadline
        reply = connection.getresponse()
        assert reply.status == 200
        assert ("Secure" in (reply.getheader("set-cookie") or "")) == https
        connection.close()
