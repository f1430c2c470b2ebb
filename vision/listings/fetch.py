"""Photos from http(s) addresses, with guards: a listing is a stranger's text.

Every address is resolved here and the connection goes to the very number that was
checked, so that a name cannot change its mind between the check and the call; redirects
are followed by hand, each checked as the first.
"""

from __future__ import annotations

import ipaddress
import queue
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urljoin, urlsplit, urlunsplit

from vision import __version__
from vision.listings.pictures import LIMITS

if TYPE_CHECKING:
    from urllib3 import BaseHTTPResponse, HTTPConnectionPool

# Seconds. Chosen: a photo that takes longer is not worth the wait.
CONNECT_S, READ_S, WHOLE_S = 10.0, 10.0, 60.0
# Seconds between two requests to one host. Chosen: no faster than a person turns pages.
PAUSE_S = 1.0
MOST_REDIRECTS = 5
# How the formats that are read begin; what begins otherwise is not taken.
SIGNATURES = (
    b"\xff\xd8\xff",
    b"\x89PNG\r\n\x1a\n",
    b"GIF8",
    b"BM",
    b"II*\0",
    b"MM\0*",
    b"P6",
    b"P5",
)
# All that IANA has given out for the public Internet (RFC 4291, section 2.4, and the IPv6
# Global Unicast registry): outside lie site-local addresses (RFC 3879), NAT64 for local use
# (RFC 8215), addresses that carry an IPv4 one (compatible, RFC 4291, section 2.5.5.1;
# translated, RFC 2765), and whatever is yet to come.
_UNICAST = ipaddress.ip_network("2000::/3")
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
_REDIRECTS = (301, 302, 303, 307, 308)


class FetchError(Exception):
    """A photo that could not be fetched; one line for the listing's record."""


def is_picture(head: bytes) -> bool:
    """Whether a file begins as a picture does, whatever it calls itself."""
    if head[:4] == b"RIFF":
        return head[8:12] == b"WEBP"
    if head[4:8] == b"ftyp":
        return head[8:12] in (b"avif", b"avis", b"mif1")
    return head.startswith(SIGNATURES)


def refused_address(number: str) -> bool:
    """Whether an IP address is none of the public Internet's.

    Private, loopback, link-local, reserved, multicast and unspecified addresses (the
    IANA special-purpose registries, as Python's `ipaddress` has them), also where they
    hide inside an IPv6 address (mapped, 6to4, NAT64, Teredo); and IPv6 addresses outside
    what is given out, but for mapped ones and NAT64.
    """
    address = ipaddress.ip_address(number.partition("%")[0])
    inner: list[Any] = [address]
    if isinstance(address, ipaddress.IPv6Address):
        inner += [address.ipv4_mapped, address.sixtofour, *(address.teredo or ())]
        if address in _NAT64:
            inner.append(ipaddress.ip_address(int(address) & 0xFFFFFFFF))
        elif address.ipv4_mapped:
            inner.remove(address)
        elif address not in _UNICAST:
            return True
    return any(a is not None and (not a.is_global or a.is_multicast) for a in inner)


@dataclass(slots=True)
class Fetcher:
    """Fetches pictures, politely and within limits.

    Attributes
    ----------
    allowed : frozenset of str
        Hosts that a person has named: these may have private addresses.
    pause_s, whole_s : float
        Seconds between two requests to one host; seconds that one picture may take.
    most_bytes : int
    resolve : callable
        (host, port) to IP addresses; for tests.
    """

    allowed: frozenset[str] = frozenset()
    pause_s: float = PAUSE_S
    whole_s: float = WHOLE_S
    most_bytes: int = LIMITS.bytes
    resolve: Callable[[str, int], list[str]] | None = None
    _last: dict[str, float] = field(default_factory=dict)

    def fetch(self, url: str) -> bytes:
        """Fetch one picture.

        Raises
        ------
        FetchError
            With the reason, in one line.
        """
        answer: queue.SimpleQueue[bytes | BaseException] = queue.SimpleQueue()

        def work() -> None:
            try:
                answer.put(self._follow(url))
            except BaseException as error:
                answer.put(error)

        # A server may send a byte just before every time-out, for ever: the whole is
        # timed from outside.
        threading.Thread(target=work, daemon=True).start()
        try:
            result = answer.get(timeout=self.whole_s)
        except queue.Empty:
            raise FetchError(f"took longer than {self.whole_s:g} s") from None
        if isinstance(result, FetchError):
            raise result
        if isinstance(result, BaseException):
            raise FetchError(f"{type(result).__name__}: {result}"[:200]) from None
        return result

    def _follow(self, url: str) -> bytes:
        for _ in range(MOST_REDIRECTS + 1):
            found = self._request(url)
            if isinstance(found, bytes):
                return found
            url = urljoin(url, found)
        raise FetchError(f"more than {MOST_REDIRECTS} redirects")

    def _request(self, url: str) -> bytes | str:
        """Return the picture, or where to look instead."""
        parts = urlsplit(url)
        try:
            host, port = (parts.hostname or "").lower(), parts.port
        except ValueError:
            raise FetchError("not an address") from None
        if parts.scheme not in ("http", "https") or not host:
            raise FetchError("not an http or https address")
        if parts.username is not None:
            raise FetchError("an address with a name and password in it")
        port = port or (443 if parts.scheme == "https" else 80)
        number = self._checked(host, port)
        self._wait(host)
        pool = _pool(parts.scheme, host, number, port)
        target = urlunsplit(("", "", parts.path or "/", parts.query, ""))
        headers = {
            "Host": parts.netloc,
            "User-Agent": f"telltale/{__version__}",
            "Accept": "image/*",
            # What is not packed cannot unfold to a thousand times its size.
            "Accept-Encoding": "identity",
        }
        with pool:
            response = pool.urlopen(
                "GET",
                target,
                headers=headers,
                redirect=False,
                preload_content=False,
                decode_content=False,
            )
            try:
                return self._take(response)
            finally:
                response.close()

    def _checked(self, host: str, port: int) -> str:
        """Return the first address of a host; refuse the host if any is not public."""
        try:
            numbers = (self.resolve or _resolve)(host, port)
        except (OSError, UnicodeError):
            raise FetchError(f"no such host: {host}") from None
        if not numbers:
            raise FetchError(f"no such host: {host}")
        if host not in self.allowed and any(map(refused_address, numbers)):
            raise FetchError(f"{host} is at a private or local address, which is not asked")
        return numbers[0]

    def _wait(self, host: str) -> None:
        now = time.monotonic()
        ready = self._last.get(host, -self.pause_s) + self.pause_s
        if ready > now:
            time.sleep(ready - now)
        self._last[host] = time.monotonic()

    def _take(self, response: BaseHTTPResponse) -> bytes | str:
        if response.status in _REDIRECTS:
            place = response.headers.get("Location")
            if not place:
                raise FetchError(f"status {response.status} without a place to go to")
            return place
        if response.status != 200:
            raise FetchError(f"the server says {response.status}")
        packed = response.headers.get("Content-Encoding", "identity").lower()
        if packed not in ("", "identity"):
            raise FetchError(f"packed ({packed}), though that was not asked for")
        stated = response.headers.get("Content-Length", "")
        if stated.isdigit() and int(stated) > self.most_bytes:
            raise FetchError(
                f"{int(stated) / 1e6:.0f} MB; the limit is {self.most_bytes / 1e6:g} MB"
            )
        data = bytearray()
        sniffed = False
        while chunk := response.read(16384):
            data += chunk
            if not sniffed:
                sniffed = True
                if not is_picture(bytes(data[:32])):
                    raise FetchError(f"not a picture ({_looks_like(bytes(data[:300]))})")
            if len(data) > self.most_bytes:
                raise FetchError(f"more than {self.most_bytes / 1e6:g} MB")
        if not data:
            raise FetchError("the server sent nothing")
        if stated.isdigit() and len(data) < int(stated):
            raise FetchError("the server stopped in the middle")
        return bytes(data)


def _pool(scheme: str, host: str, number: str, port: int) -> HTTPConnectionPool:
    """Connect to an address that was checked, under the name that was asked for."""
    import urllib3

    timeout = urllib3.Timeout(connect=CONNECT_S, read=READ_S)
    if scheme == "https":
        return urllib3.HTTPSConnectionPool(
            number, port, timeout, retries=False, server_hostname=host, assert_hostname=host
        )
    return urllib3.HTTPConnectionPool(number, port, timeout, retries=False)


def _resolve(host: str, port: int) -> list[str]:
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return [str(entry[4][0]) for entry in found]


def _looks_like(head: bytes) -> str:
    start = head.lstrip().lower()
    return (
        "a web page" if start.startswith((b"<!doctype html", b"<html", b"<head")) else "other data"
    )
