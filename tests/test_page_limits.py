"""The page's limits: sizes, waiting, and how many at a time."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from page_server import KIND, Phone, SlowEye, form, raw, running
from shapes import encoded, engine
from vision.page import PageLimits
from vision.page.room import Busy, WaitingRoom

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "demo_images"
PHOTO = ("engine.png", encoded(engine()))


def test_each_limit_has_its_refusal() -> None:
    limits = PageLimits(
        photo_bytes=60_000, photo_pixels=200_000, photos=2, request_bytes=90_000, fields=3
    )
    noise = encoded(Image.effect_noise((640, 360), 90).convert("RGB"))
    big = encoded(Image.new("RGB", (640, 360)))
    empty = encoded(Image.new("RGB", (8, 8)))
    with running(limits=limits) as port:
        phone = Phone(port)
        phone.enter()
        assert phone.date(PHOTO).status == 200

        def refused(*photos: tuple[str, bytes], **fields: Any) -> tuple[int, str]:
            reply = phone.date(*photos, **fields)
            return reply.status, reply.json["error"]

        assert refused(("big.png", big)) == (413, "photo_too_large")
        assert refused(("noise.png", noise[:80_000])) == (413, "photo_too_large")
        assert refused(("noise.png", noise)) == (413, "request_too_large")
        assert refused(PHOTO, PHOTO, PHOTO) == (400, "malformed")
        assert refused(PHOTO, saw=["a=b"] * 4) == (400, "malformed")
        assert refused(PHOTO, saw=["nonsense"]) == (422, "statement")
        assert refused(("dot.png", empty)) == (422, "photo_too_small")
        assert refused(("none.png", b"")) == (422, "photo_empty")
        assert refused(("text.jpg", b"dear sir")) == (422, "photo_unreadable")
        assert refused() == (400, "no_photo")


def test_half_a_form_is_not_taken_for_the_whole(phone: Phone) -> None:
    """A second photo that broke off was left out, and the first alone answered."""
    whole = form([PHOTO, ("rear.png", encoded(engine(200, 300)))])
    cut = phone.ask("POST", "/answer", whole[:-400], {"Content-Type": KIND})
    assert (cut.status, cut.json["error"]) == (400, "malformed")


def test_a_stated_length_is_refused_before_the_body(phone: Phone) -> None:
    length = {"Content-Length": str(10**9), "Content-Type": KIND}
    assert phone.ask("POST", "/answer", b"", length).status == 413


def test_a_body_without_a_length_is_counted() -> None:
    with running(limits=PageLimits(request_bytes=10_000, header_s=0.3)) as port:
        phone = Phone(port)
        phone.enter()
        head = {"Transfer-Encoding": "chunked", "Content-Length": None, "Content-Type": KIND}
        lines = [f"Host: localhost:{port}", f"Origin: http://localhost:{port}"]
        lines += [f"{k}: {v}" for k, v in (phone.headers | head).items() if v is not None]
        request = "POST /answer HTTP/1.1\r\n" + "\r\n".join(lines) + "\r\n\r\n"
        chunks = (b"1000\r\n" + b"x" * 0x1000 + b"\r\n") * 4
        answer = raw(port, request.encode() + chunks)
        assert b" 413 " in answer.splitlines()[0]
        # Who never ends the body does not hold the connection either.
        assert b"<still open>" not in answer


def test_slow_heads_and_slow_bodies_are_not_waited_for() -> None:
    with running(limits=PageLimits(header_s=0.3, upload_s=0.3)) as port:
        began = time.monotonic()
        assert raw(port, b"") == b""
        assert raw(port, b"GET / HTTP/1.1\r\nHost: loc") == b""
        # A second request on the same connection is held to the same clock.
        whole = f"GET /nowhere HTTP/1.1\r\nHost: localhost:{port}\r\n\r\n".encode()
        answer = raw(port, whole + b"GET / HT")
        assert answer.startswith(b"HTTP/1.1 404")
        assert b"<still open>" not in answer
        phone = Phone(port)
        phone.enter()
        slow = phone.ask("POST", "/answer", b"--", {"Content-Type": KIND, "Content-Length": "99"})
        assert (slow.status, slow.json["error"]) == (408, "upload_slow")
        assert time.monotonic() - began < 5
        assert phone.date(PHOTO).status == 200


def test_past_the_end_of_the_queue_the_answer_is_busy() -> None:
    SlowEye.gate.clear()
    with running(SlowEye(), limits=PageLimits(places=3, places_each=2)) as port:
        phones = [Phone(port) for _ in range(3)]
        for phone in phones:
            phone.enter()
        statuses: list[int] = []

        def date(phone: Phone, ticket: str) -> None:
            headers = {"Content-Type": KIND, "X-Telltale-Ticket": ticket}
            statuses.append(phone.ask("POST", "/answer", form([PHOTO]), headers).status)

        threads = []
        for number, phone in enumerate((phones[0], phones[0], phones[1])):
            threads.append(threading.Thread(target=date, args=(phone, f"t{number}")))
            threads[-1].start()
            state = {"state": "unknown"}
            while state["state"] not in ("waiting", "reading"):
                time.sleep(0.01)
                state = phone.ask("GET", f"/turn/t{number}").json
            assert state == {"state": "waiting" if number else "reading", "before": number}
        # Another phone's ticket tells nothing.
        assert phones[2].ask("GET", "/turn/t0").json == {"state": "unknown", "before": 0}
        busy = phones[2].date(PHOTO)
        assert (busy.status, busy.json["error"]) == (503, "busy")
        assert int(busy.headers["retry-after"]) > 0
        SlowEye.gate.set()
        for thread in threads:
            thread.join(20)
        assert statuses == [200, 200, 200]
        assert phones[2].date(PHOTO).status == 200


def test_one_phone_cannot_take_every_place() -> None:
    room = WaitingRoom(places=3, places_each=2)
    held = [room.enter("a", "1"), room.enter("a", "2")]
    with pytest.raises(Busy):
        room.enter("a", "3")
    room.enter("b", "1")
    with pytest.raises(Busy):
        room.enter("c", "1")
    room.leave(held[0])
    room.enter("c", "1")


def test_who_waits_too_long_is_told_and_the_place_is_given_back() -> None:
    SlowEye.gate.clear()
    with running(SlowEye(), limits=PageLimits(answer_s=0.2, places=1)) as port:
        phone = Phone(port)
        phone.enter()
        slow = phone.date(PHOTO)
        assert (slow.status, slow.json["error"]) == (503, "slow")
        # The thread still reads, so the place is not free yet: the truth is "busy".
        assert phone.date(PHOTO).json["error"] == "busy"
        SlowEye.gate.set()
        deadline = time.monotonic() + 10
        while phone.date(PHOTO).status != 200:
            assert time.monotonic() < deadline
            time.sleep(0.02)
