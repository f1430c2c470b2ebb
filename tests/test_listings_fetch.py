"""Fetching photos: only pictures, only so much, only from where it is allowed."""

from __future__ import annotations

import contextlib
import datetime
import gzip
import hashlib
import socketserver
import ssl
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from typing import Any, ClassVar

import pytest

pytest.importorskip("urllib3")

from shapes import encoded, engine
from vision.listings.cache import Cache
from vision.listings.fetch import Fetcher, FetchError, is_picture, refused_address

PICTURE = encoded(engine(), "JPEG")


class Shop(BaseHTTPRequestHandler):
    """Every way in which a server can go wrong, by path."""

    asked: ClassVar[list[tuple[str, str]]] = []
    protocol_version = "HTTP/1.1"

    def log_message(self, *_: Any) -> None:
        pass

    def reply(self, status: int, body: bytes, **headers: str) -> None:
        self.send_response(status)
        for name, value in {"Content_Length": str(len(body)), **headers}.items():
            self.send_header(name.replace("_", "-"), value)
        self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self) -> None:
        self.asked.append((self.headers["Host"], self.path))
        name = self.path.strip("/").partition("?")[0]
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            getattr(self, f"show_{name}")()

    def show_good(self) -> None:
        self.reply(200, PICTURE, Content_Type="image/jpeg")

    def show_octets(self) -> None:
        self.reply(200, PICTURE, Content_Type="application/octet-stream")

    def show_missing(self) -> None:
        self.reply(404, b"<html>no</html>")

    def show_page(self) -> None:
        self.reply(200, b"<!DOCTYPE html><html>sold</html>", Content_Type="image/jpeg")

    def show_empty(self) -> None:
        self.reply(200, b"")

    def show_stated(self) -> None:
        """States two gigabytes, and would send them."""
        self.send_response(200)
        self.send_header("Content-Length", str(2 * 10**9))
        self.end_headers()
        self.wfile.write(PICTURE)

    def show_endless(self) -> None:
        """States no length and does not stop."""
        self.send_response(200)
        self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(PICTURE)
        while True:
            self.wfile.write(bytes(65536))

    def show_bomb(self) -> None:
        """A kilobyte that unfolds to a gigabyte."""
        packed = gzip.compress(PICTURE + bytes(10_000_000))
        self.reply(200, packed, Content_Encoding="gzip")

    def show_short(self) -> None:
        self.reply(200, PICTURE[:500], Content_Length=str(len(PICTURE)))

    def show_drip(self) -> None:
        """One byte of a header at a time, each in time."""
        self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        for _ in range(100):
            self.wfile.write(b"x")
            time.sleep(0.1)

    def show_loop(self) -> None:
        self.reply(302, b"", Location="/loop")

    def show_moved(self) -> None:
        self.reply(301, b"", Location="/good")

    def show_inside(self) -> None:
        port = self.server.server_address[1]
        self.reply(302, b"", Location=f"http://127.0.0.1:{port}/good")

    def show_file(self) -> None:
        self.reply(302, b"", Location="file:///etc/hostname")


class Server(socketserver.ThreadingMixIn, socketserver.TCPServer):
    allow_reuse_address = True
    daemon_threads = True


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with Server(("127.0.0.1", 0), Shop) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        yield server.server_address[1]
        server.shutdown()


def fetcher(**more: Any) -> Fetcher:
    """The shop's name leads to this machine, and a person has allowed that name."""
    more.setdefault("allowed", frozenset({"shop.example"}))
    more.setdefault("pause_s", 0.0)
    return Fetcher(
        resolve=lambda host, _: {"shop.example": ["127.0.0.1"]}.get(host, [host]), **more
    )


@pytest.mark.parametrize("path", ["good", "octets", "moved", "good?size=large"])
def test_a_picture_comes_whatever_it_is_called(port: int, path: str) -> None:
    assert fetcher().fetch(f"http://shop.example:{port}/{path}") == PICTURE


def test_the_server_is_asked_by_its_name(port: int) -> None:
    Shop.asked.clear()
    fetcher().fetch(f"http://shop.example:{port}/good")
    assert Shop.asked == [(f"shop.example:{port}", "/good")]


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("missing", "404"),
        ("page", "a web page"),
        ("empty", "sent nothing"),
        ("stated", "2000 MB"),
        ("endless", "more than 1 MB"),
        ("bomb", "packed"),
        ("short", "middle|IncompleteRead"),
        ("loop", "redirects"),
        ("inside", "private or local"),
        ("file", "not an http or https address"),
    ],
)
def test_what_is_not_taken(port: int, path: str, words: str) -> None:
    with pytest.raises(FetchError, match=words):
        fetcher(most_bytes=1_000_000).fetch(f"http://shop.example:{port}/{path}")


def test_a_server_that_drips_is_left(port: int) -> None:
    begun = time.monotonic()
    with pytest.raises(FetchError, match="longer than"):
        fetcher(whole_s=0.5).fetch(f"http://shop.example:{port}/drip")
    assert time.monotonic() - begun < 3


@pytest.mark.parametrize(
    "url",
    [
        "http://127.0.0.1:{port}/good",
        "http://localhost:{port}/good",
        "http://2130706433:{port}/good",
        "http://[::1]:{port}/good",
        "http://[::ffff:127.0.0.1]:{port}/good",
        "http://0.0.0.0:{port}/good",
    ],
)
def test_this_machine_is_not_asked_unless_allowed_by_name(port: int, url: str) -> None:
    Shop.asked.clear()
    with pytest.raises(FetchError):
        Fetcher(pause_s=0).fetch(url.format(port=port))
    assert Shop.asked == []


def test_a_host_allowed_by_name_is_asked(port: int) -> None:
    allowed = Fetcher(frozenset({"127.0.0.1"}), pause_s=0)
    assert allowed.fetch(f"http://127.0.0.1:{port}/good") == PICTURE


def test_a_name_with_one_private_address_among_public_ones_is_refused() -> None:
    two = Fetcher(resolve=lambda *_: ["93.184.216.34", "10.0.0.1"])
    with pytest.raises(FetchError, match="private"):
        two.fetch("http://shop.example/")


def test_a_name_is_resolved_once_a_request(port: int) -> None:
    """A name that answers differently the second time leads nowhere else."""
    answers = iter([["127.0.0.1"]])
    once = Fetcher(frozenset({"shop.example"}), 0.0, resolve=lambda *_: next(answers))
    assert once.fetch(f"http://shop.example:{port}/good") == PICTURE


@pytest.mark.parametrize(
    "url",
    [
        "ftp://x/a",
        "file:///etc/passwd",
        "http://",
        "//x/a",
        "data:,x",
        "http://u:p@shop.example/a",
        "http://x:99999/a",
    ],
)
def test_other_addresses_are_refused(url: str) -> None:
    with pytest.raises(FetchError):
        fetcher().fetch(url)


# Blocks of the IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890), from
# memory, and RFC 6052 (NAT64), RFC 3056 (6to4); the last row is public.
@pytest.mark.parametrize(
    "number",
    [
        *("0.0.0.0", "10.1.2.3", "100.64.0.1", "127.0.0.1", "169.254.169.254", "172.16.0.1"),
        *("192.0.2.1", "192.168.1.1", "198.18.0.1", "203.0.113.5", "224.0.0.1", "240.0.0.1"),
        *(
            "255.255.255.255",
            "::",
            "::1",
            "fe80::1",
            "fe80::1%eth0",
            "fc00::1",
            "fd12::1",
            "ff02::1",
        ),
        *("::ffff:10.0.0.1", "64:ff9b::a00:1", "2002:a00:1::", "2001:db8::1"),
    ],
)
def test_special_purpose_addresses_are_refused(number: str) -> None:
    assert refused_address(number)


@pytest.mark.parametrize("number", ["93.184.216.34", "2606:2800:220:1::1", "::ffff:93.184.216.34"])
def test_public_addresses_are_not_refused(number: str) -> None:
    assert not refused_address(number)


def test_one_host_is_not_hurried(port: int) -> None:
    polite = fetcher(pause_s=0.3)
    begun = time.monotonic()
    for _ in range(3):
        polite.fetch(f"http://shop.example:{port}/good")
    assert time.monotonic() - begun >= 0.6


def test_a_picture_is_fetched_once_and_kept_by_its_content(port: int, tmp_path: Path) -> None:
    Shop.asked.clear()
    for _ in range(2):
        cache = Cache(tmp_path)
        first = cache.get(f"http://shop.example:{port}/good", fetcher())
        second = cache.get(f"http://shop.example:{port}/octets", fetcher())
        cache.close()
    assert first == second == tmp_path / hashlib.sha256(PICTURE).hexdigest()
    assert first.read_bytes() == PICTURE
    assert len(Shop.asked) == 2


def test_a_damaged_picture_in_the_cache_is_fetched_anew(port: int, tmp_path: Path) -> None:
    cache = Cache(tmp_path)
    url = f"http://shop.example:{port}/good"
    cache.get(url, fetcher()).write_bytes(b"\xff\xd8\xff half")
    assert cache.get(url, fetcher()).read_bytes() == PICTURE
    cache.close()


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP", "AVIF", "TIFF", "GIF", "BMP", "PPM"])
def test_every_format_that_is_read_is_known_by_its_beginning(format: str) -> None:
    assert is_picture(encoded(engine(), format)[:32])


@pytest.mark.parametrize(
    "head", [b"", b"<html>", b"%PDF-1.7", b"PK\x03\x04", b"\x1f\x8b", b"RIFF0000WAVE"]
)
def test_other_data_is_not(head: bytes) -> None:
    assert not is_picture(head)


# --- https ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tls(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, Path]]:
    """The shop behind TLS, with a certificate that only itself vouches for."""
    pytest.importorskip("cryptography")
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "shop.example")])
    now = datetime.datetime.now(datetime.UTC)
    certificate = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(hours=1))
        .not_valid_after(now + datetime.timedelta(hours=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("shop.example")]), False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), True)
        .sign(key, hashes.SHA256())
    )
    folder = tmp_path_factory.mktemp("tls")
    public = folder / "public.pem"
    public.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    private = folder / "private.pem"
    private.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(public, private)
    with Server(("127.0.0.1", 0), Shop) as server:
        server.socket = context.wrap_socket(server.socket, server_side=True)
        server.handle_error = lambda *_: None  # type: ignore[method-assign]
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        yield server.server_address[1], public
        server.shutdown()


def test_a_certificate_that_nobody_vouches_for_is_refused(tls: tuple[int, Path]) -> None:
    with pytest.raises(FetchError, match="certificate"):
        fetcher().fetch(f"https://shop.example:{tls[0]}/good")


def test_a_certificate_is_checked_for_the_name_asked(
    tls: tuple[int, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """OpenSSL trusts what SSL_CERT_FILE names, but the name on it must be the host's."""
    monkeypatch.setenv("SSL_CERT_FILE", str(tls[1]))
    assert fetcher().fetch(f"https://shop.example:{tls[0]}/good") == PICTURE
    other = Fetcher(frozenset({"other.example"}), 0.0, resolve=lambda *_: ["127.0.0.1"])
    with pytest.raises(FetchError, match="match"):
        other.fetch(f"https://other.example:{tls[0]}/good")
