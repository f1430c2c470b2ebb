"""What every request passes first: Host, Origin, token; and what every response carries."""

from __future__ import annotations

import logging
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from vision.page.door import Door
from vision.page.replies import refusal

logger = logging.getLogger("vision.page")

COOKIE = "telltale"
TOKEN_HEADER = "x-telltale-token"
# No code, style or picture but our own and the photos on the phone itself (blob:);
# nothing may frame the page or be sent anywhere else.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
}
# Browsers heed this one, and do not complain of it, only where they trust the way here:
# over HTTPS, or on this machine.
TRUSTED_HEADERS = {"cross-origin-opener-policy": "same-origin"}
LOOPBACK = ("localhost", "127.0.0.1")
# Open to a browser that has not entered; /enter takes a code instead of a token.
WITHOUT_TOKEN = ("/enter",)


class Guard:
    """ASGI middleware around the whole app.

    Parameters
    ----------
    app : ASGI application
    door : Door
    hosts : collection of str
        Values of the Host header that mean this server. Any other is a page elsewhere
        whose name was pointed at us (DNS rebinding), or a mistake.
    scheme : str
        "http" or "https"; with a host it makes an origin.
    """

    def __init__(self, app: ASGIApp, *, door: Door, hosts: Collection[str], scheme: str) -> None:
        self._app = app
        self._door = door
        self._hosts = frozenset(host.lower() for host in hosts)
        self._scheme = scheme

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on and add the headers."""
        if scope["type"] != "http":
            return
        started = False

        async def send_guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                out = MutableHeaders(scope=message)
                for name, value in (HEADERS | more).items():
                    out[name] = value
                out.setdefault("cache-control", "no-store")
            await send(message)

        headers = Headers(scope=scope)
        name = headers.get("host", "").partition(":")[0]
        more = TRUSTED_HEADERS if self._scheme == "https" or name in LOOPBACK else {}
        scope["telltale_session"] = session = session_of(headers)
        objection = self._objection(scope, headers, session)
        if objection is not None:
            status, error = objection
            await refusal(status, error)(scope, receive, send_guarded)
            return
        try:
            await self._app(scope, receive, send_guarded)
        except Exception:
            # Told on the terminal of who runs the server, never to who asked.
            logger.exception("a fault in answering %s", scope["path"])
            if not started:
                await refusal(500, "fault")(scope, receive, send_guarded)

    def _objection(self, scope: Scope, headers: Headers, session: str) -> tuple[int, str] | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 421, "host"
        if scope["method"] in ("GET", "HEAD"):
            return None
        if scope["method"] != "POST":
            return 405, "method"
        if headers.getlist("origin") != [f"{self._scheme}://{hosts[0].lower()}"]:
            return 403, "origin"
        if headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return 403, "origin"
        if scope["path"] in WITHOUT_TOKEN:
            return None
        if not self._door.token_fits(session, headers.get(TOKEN_HEADER, "")):
            return 401, "door"
        return None


def session_of(headers: Headers) -> str:
    """The session in a request's cookie; empty where there is none."""
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""
