"""Who is let in to the page, and from where."""

from __future__ import annotations

import re
import socket
import threading
from pathlib import Path
from typing import Any

import pytest

from answers import FakeEye
from conftest import Telltale
from page_server import KIND, Phone, form, raw, running
from shapes import encoded, engine
from vision.cli import WRONG
from vision.page import Addresses, Door, listen
from vision.page.assets import load_assets
from vision.page.door import CODE_LENGTH, LETTERS, TRIES, TooManyTries
from vision.records import PageError

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "demo_images"
PHOTO = ("engine.png", encoded(engine()))


@pytest.mark.parametrize("host", ["evil.example", "localhost", "localhost:1", "", None])
def test_other_hosts_are_refused(phone: Phone, host: str | None) -> None:
    assert phone.ask("GET", "/start", headers={"Host": host}).status in (400, 421)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", None, "https://localhost"])
def test_other_origins_are_refused(phone: Phone, origin: str | None) -> None:
    headers = {"Content-Type": KIND, "Origin": origin}
    reply = phone.ask("POST", "/answer", form([PHOTO]), headers)
    assert (reply.status, reply.json["error"]) == (403, "origin")


def test_a_request_from_another_site_is_refused(phone: Phone) -> None:
    headers = {"Content-Type": KIND, "Sec-Fetch-Site": "cross-site"}
    assert phone.ask("POST", "/answer", form([PHOTO]), headers).status == 403


@pytest.mark.parametrize("lacking", ["Cookie", "X-Telltale-Token"])
def test_without_session_or_token_nothing_is_answered(phone: Phone, lacking: str) -> None:
    headers = {"Content-Type": KIND, lacking: None}
    for path in ("/answer", "/share"):
        assert phone.ask("POST", path, form([PHOTO]), headers).status == 401
    stranger = Phone(phone.port)
    stranger.enter()
    assert stranger.headers["Cookie"] != phone.headers["Cookie"]
    mixed = {"Content-Type": KIND, lacking: stranger.headers[lacking]}
    assert phone.ask("POST", "/answer", form([PHOTO]), mixed).status == 401


def test_the_cookie_is_for_this_page_alone(port: int) -> None:
    cookie = Phone(port).enter().headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie


@pytest.mark.parametrize(
    "path",
    ["/../pyproject.toml", "/..%2f..%2fpyproject.toml", "/static/page.py", "/words.json"]
    + ["/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/page.css/..", "/..\\page.py", "/.", "/\0"],
)
def test_no_path_leads_out_of_the_page(port: int, path: str) -> None:
    request = f"GET {path} HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n"
    status = raw(port, request.encode()).splitlines()[0]
    assert re.match(rb"HTTP/1.1 (404|400) ", status), status


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_are_refused(phone: Phone, method: str) -> None:
    assert phone.ask(method, "/answer").status == 405
    assert phone.ask("GET", "/answer").status == 405


def test_every_reply_carries_the_policy(phone: Phone) -> None:
    for path in (*load_assets(), "/start", "/nowhere", "/guide"):
        reply = phone.ask("GET", path)
        policy = dict(
            part.strip().split(" ", 1)
            for part in reply.headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self'"
        assert "unsafe" not in " ".join(policy.values())
        assert reply.headers["x-content-type-options"] == "nosniff"
        assert "server" not in reply.headers
    assert phone.ask("GET", "/", headers={"Host": "evil"}).headers["content-security-policy"]


def test_a_fault_shows_no_trace(caplog: pytest.LogCaptureFixture) -> None:
    class Broken(FakeEye):
        def look(self, photo: Any) -> Any:
            raise ZeroDivisionError("a secret of the house")

    with running(Broken()) as port:
        phone = Phone(port)
        phone.enter()
        reply = phone.date(PHOTO)
        assert (reply.status, reply.json) == (500, {"error": "fault"})
        assert phone.ask("GET", "/start").status == 200
    assert "a secret of the house" in caplog.text


def test_with_a_code_one_phone_enters_and_the_next_needs_another() -> None:
    shown: list[str] = []
    with running(door=Door(with_code=True, on_code=shown.append)) as port:
        phone, other = Phone(port), Phone(port)
        assert phone.enter().status == 401
        assert phone.ask("GET", "/guide").status == 401
        assert phone.ask("GET", "/").status == 200  # the bare page asks for the code
        assert phone.enter("nonsense").status == 403
        assert phone.enter(shown[0].lower()).status == 200
        assert phone.date(PHOTO).status == 200
        assert other.enter(shown[0]).status == 403
        assert len(shown) == 2
        assert other.enter(shown[1]).status == 200
        assert phone.date(PHOTO).status == 200


def test_guessing_is_slowed_for_the_guesser_alone() -> None:
    now = [0.0]
    door = Door(with_code=True, clock=lambda: now[0])
    assert len(door.code) == CODE_LENGTH
    assert set(door.code) <= set(LETTERS)
    for _ in range(TRIES):
        assert door.enter("WRONG", "10.0.0.9") is None
    with pytest.raises(TooManyTries):
        door.enter(door.code, "10.0.0.9")
    assert door.enter(door.code, "10.0.0.8")
    now[0] = 61.0
    assert door.enter(door.code, "10.0.0.9")


def test_the_door_forgets_who_was_away_longest() -> None:
    door = Door(with_code=False, sessions=2)
    first, second = door.enter("", ""), door.enter("", "")
    assert first and second and door.knows(first)
    third = door.enter("", "")
    assert third and door.knows(first) and door.knows(third)
    assert not door.knows(second)
    assert not door.token_fits(second, door.token(second))


def test_only_this_machine_unless_asked() -> None:
    sockets, port = listen(0, None)
    try:
        assert [sock.getsockname()[0] for sock in sockets] == ["127.0.0.1"]
        with pytest.raises(PageError, match=f"port {port}"):
            listen(port, None)
    finally:
        for sock in sockets:
            sock.close()
    assert set(Addresses(80, "192.168.0.7").hosts) >= {"192.168.0.7", "192.168.0.7:80"}
    assert "192.168.0.7" not in " ".join(Addresses(8377).hosts)
    with pytest.raises(PageError):
        listen(70_000, None)


@pytest.mark.parametrize("port", ["-1", "65536", "99999"])
def test_a_port_that_there_cannot_be_is_wrong_use(telltale: Telltale, port: str) -> None:
    """Ports of TCP have 16 bits (RFC 9293, section 3.1)."""
    code, out, err = telltale("page", "--port", port)
    assert (code, out) == (WRONG, "")
    assert f"{port}: a port from 0 to 65535 expected" in err
    assert err.count("\n") == 1


def test_https_with_a_certificate_made_on_the_spot() -> None:
    import hashlib
    import ssl

    from vision.page.certificate import make_certificate

    context, fingerprint = make_certificate(("127.0.0.1",))
    ours, theirs = socket.socketpair()
    client = ssl.create_default_context()
    client.check_hostname, client.verify_mode = False, ssl.CERT_NONE
    thread = threading.Thread(
        target=lambda: context.wrap_socket(ours, server_side=True).close(), daemon=True
    )
    thread.start()
    with client.wrap_socket(theirs) as secured:
        der = secured.getpeercert(binary_form=True)
    thread.join(10)
    assert der is not None
    # SHA-256 over the DER form is what browsers show as a certificate's fingerprint.
    assert hashlib.sha256(der).hexdigest() == fingerprint.replace(":", "")
