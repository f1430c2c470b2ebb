"""Listening: where, for whom, and until Ctrl-C."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Sequence
from dataclasses import dataclass

import uvicorn
from starlette.types import ASGIApp

from vision.page.limits import PageLimits
from vision.page.protocol import PatientProtocol
from vision.records import PageError

LOOPBACK = "127.0.0.1"
# Reserved for documentation (RFC 5737), never routed: asking the way there sends
# nothing, and tells which of our addresses others on the network see.
ELSEWHERE = ("192.0.2.1", 9)
# Connections that the system holds until they are accepted.
BACKLOG = 128
# A connection that waits this long for the next request is closed, seconds.
IDLE_S = 20


@dataclass(frozen=True, slots=True)
class Addresses:
    """Where the page listens.

    Attributes
    ----------
    port : int
    lan : str or None
        This machine's address on the local network, where it listens there too.
    scheme : str
        "http" or "https".
    """

    port: int
    lan: str | None = None
    scheme: str = "http"

    @property
    def hosts(self) -> tuple[str, ...]:
        """Host headers that mean this server."""
        names = (LOOPBACK, "localhost", *((self.lan,) if self.lan else ()))
        standard = {"http": 80, "https": 443}[self.scheme]
        bare = names if self.port == standard else ()
        return (*(f"{name}:{self.port}" for name in names), *bare)

    @property
    def here(self) -> str:
        """Address for a browser on this machine."""
        return f"{self.scheme}://localhost:{self.port}/"

    def there(self, code: str) -> str:
        """Address for a phone, with its code after "#", which browsers do not send."""
        return f"{self.scheme}://{self.lan or LOOPBACK}:{self.port}/#{code}"


def find_lan_address() -> str:
    """This machine's address on the local network.

    Raises
    ------
    PageError
        It is on none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(ELSEWHERE)
        except OSError:
            raise PageError("no network: a phone cannot reach this machine") from None
        return str(probe.getsockname()[0])


def listen(port: int, lan: str | None) -> tuple[list[socket.socket], int]:
    """Open the sockets: on this machine always, on the network where asked.

    Returns
    -------
    sockets : list of socket
    port : int
        The one asked for, or a free one for 0.

    Raises
    ------
    PageError
        The port is taken or not allowed.
    """
    sockets: list[socket.socket] = []
    for host in (LOOPBACK, *((lan,) if lan else ())):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, port))
            sock.listen(BACKLOG)
        except (OSError, OverflowError) as error:
            sock.close()
            for other in sockets:
                other.close()
            why = getattr(error, "strerror", None) or str(error)
            raise PageError(f"port {port}: cannot be used ({why}); try another --port") from None
        port = sock.getsockname()[1]
        sockets.append(sock)
    return sockets, port


def make_server(
    app: ASGIApp, *, limits: PageLimits, context: ssl.SSLContext | None = None
) -> uvicorn.Server:
    """Build the server around the app, with its limits."""
    protocol = type("Protocol", (PatientProtocol,), {"header_s": limits.header_s})
    config = uvicorn.Config(
        app,
        http=protocol,
        ws="none",
        lifespan="off",
        access_log=False,
        log_config=None,
        log_level="error",
        server_header=False,
        proxy_headers=False,
        limit_concurrency=limits.connections,
        timeout_keep_alive=IDLE_S,
        timeout_graceful_shutdown=2,
        ssl_context_factory=None if context is None else lambda config, default: context,
    )
    return uvicorn.Server(config)


def serve(
    app: ASGIApp,
    sockets: Sequence[socket.socket],
    *,
    limits: PageLimits | None = None,
    context: ssl.SSLContext | None = None,
) -> None:
    """Serve until interrupted."""
    server = make_server(app, limits=limits or PageLimits(), context=context)
    try:
        server.run(sockets=list(sockets))
    except KeyboardInterrupt:
        return
