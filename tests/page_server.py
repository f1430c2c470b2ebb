"""A page that really listens, for the tests that talk to it, and a client without manners."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

import pytest

from answers import FakeEye
from vision.guide import load_guide
from vision.page import Addresses, Door, PageLimits, build_app, listen
from vision.page.certificate import make_certificate
from vision.page.serve import make_server

BOUNDARY = "a-line-that-no-photo-holds"
KIND = f"multipart/form-data; boundary={BOUNDARY}"


class SlowEye(FakeEye):
    """Reads when it is let."""

    gate = threading.Event()

    def look(self, photo: Any) -> Any:
        assert self.gate.wait(20)
        return super().look(photo)


@dataclass
class Reply:
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass
class Phone:
    """One browser: its session and its token."""

    port: int
    headers: dict[str, str] = field(default_factory=dict)

    def ask(
        self, method: str, path: str, body: bytes = b"", headers: Mapping[str, str | None] = {}
    ) -> Reply:
        own = {"Host": f"localhost:{self.port}"} | self.headers
        if method == "POST":
            own |= {"Origin": f"http://localhost:{self.port}"}
        sent = {k: v for k, v in (own | dict(headers)).items() if v is not None}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in sent.items():
                connection.putheader(name, value)
            if method == "POST" and "Content-Length" not in sent:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders()
            # It may be refused before it is all sent; the reply says why.
            with suppress(BrokenPipeError, ConnectionResetError):
                connection.send(body)
            answer = connection.getresponse()
            found = {k.lower(): v for k, v in answer.getheaders()}
            return Reply(answer.status, found, answer.read())
        finally:
            connection.close()

    def enter(self, code: str | None = None) -> Reply:
        if code is None:
            reply = self.ask("GET", "/start")
        else:
            reply = self.ask("POST", "/enter", code.encode())
        if reply.status == 200:
            self.headers["X-Telltale-Token"] = reply.json["token"]
            if "set-cookie" in reply.headers:
                self.headers["Cookie"] = reply.headers["set-cookie"].partition(";")[0]
        return reply

    def date(self, *photos: tuple[str, bytes], path: str = "/answer", **fields: Any) -> Reply:
        return self.ask("POST", path, form(photos, **fields), {"Content-Type": KIND})


def form(photos: Sequence[tuple[str, bytes]], **fields: Sequence[str]) -> bytes:
    parts = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="photo"; filename="{name}"\r\n'
        "Content-Type: image/jpeg\r\n\r\n".encode()
        + data
        + b"\r\n"
        for name, data in photos
    ]
    for name, values in fields.items():
        for value in values:
            head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n'
            parts.append(f"{head}{value}\r\n".encode())
    return b"".join(parts) + f"--{BOUNDARY}--\r\n".encode()


@contextmanager
def running(
    eye: Any = None,
    *,
    guide: str = "wayfarer",
    limits: PageLimits | None = None,
    door: Door | None = None,
    port: int = 0,
    lan: str | None = None,
    scheme: str = "http",
    **more: Any,
) -> Iterator[int]:
    """Serve the page in a thread; gives the port."""
    limits = PageLimits(retry_s=0.3) if limits is None else limits
    sockets, port = listen(port, lan)
    app = build_app(
        load_guide(guide),
        FakeEye() if eye is None else eye,
        door=Door(with_code=False) if door is None else door,
        hosts=Addresses(port, lan, scheme).hosts,
        scheme=scheme,
        limits=limits,
        **more,
    )
    context = make_certificate(("127.0.0.1", lan))[0] if lan and scheme == "https" else None
    server = make_server(app, limits=limits, context=context)
    thread = threading.Thread(target=server.run, kwargs={"sockets": sockets}, daemon=True)
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield port
    finally:
        server.should_exit = True
        thread.join(timeout=10)
        for sock in sockets:
            sock.close()
        assert not thread.is_alive(), "the server did not stop"


def raw(port: int, data: bytes, *, wait_s: float = 5.0) -> bytes:
    """Send bytes as they are and return what comes back until the end or the wait is over."""
    with socket.create_connection(("127.0.0.1", port), timeout=wait_s) as sock:
        sock.sendall(data)
        received = b""
        try:
            while chunk := sock.recv(65536):
                received += chunk
        except TimeoutError:
            received += b"<still open>"
        return received


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """Where a page listens that all tests of a file share."""
    with running() as port:
        yield port


@pytest.fixture
def phone(port: int) -> Phone:
    """A phone that has entered."""
    phone = Phone(port)
    assert phone.enter().status == 200
    return phone
