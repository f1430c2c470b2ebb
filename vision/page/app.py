"""The routes of the page."""

from __future__ import annotations

import asyncio
import functools
import math
from collections.abc import Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.requests import Request as Asked
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from vision.guide import Guide
from vision.page.assets import Asset, load_assets
from vision.page.desk import Desk
from vision.page.door import Door, TooManyTries
from vision.page.guard import COOKIE, Guard
from vision.page.keep import Keeper
from vision.page.limits import PageLimits
from vision.page.replies import Refused, refusal, reply, told
from vision.page.room import Busy, WaitingRoom
from vision.page.share import share_page
from vision.page.shown import guide_table
from vision.pipeline import Eye
from vision.records import TelltaleError

# A show's day; the door forgets everybody when the server stops.
COOKIE_S = 12 * 3600
CODE_BYTES = 64


def build_app(
    guide: Guide,
    eye: Eye,
    *,
    door: Door,
    hosts: Collection[str],
    scheme: str = "http",
    limits: PageLimits | None = None,
    words: Mapping[str, Any] | None = None,
    keeper: Keeper | None = None,
    by_default: bool = False,
) -> ASGIApp:
    """Build the page's application.

    Parameters
    ----------
    guide : Guide
        To date by.
    eye : Eye
    door : Door
        Who may ask.
    hosts : collection of str
        Host headers that mean this server, with the port.
    scheme : str
        "http" or "https".
    limits : PageLimits, optional
    words : mapping, optional
        The page's strings, in place of the English ones.
    keeper : Keeper, optional
        Puts engines into an archive; without one nothing is kept.
    by_default : bool
        Whether `guide` was taken because nobody named one.

    Returns
    -------
    ASGI application
    """
    limits = PageLimits() if limits is None else limits
    desk = Desk(guide, eye, limits, by_default=by_default)
    counter = _Counter(desk, door, limits, keeper=keeper, secure=scheme == "https")
    routes = [
        Route("/start", counter.start, methods=["GET"]),
        Route("/enter", counter.enter, methods=["POST"]),
        Route("/guide", counter.guide, methods=["GET"]),
        Route("/turn/{ticket}", counter.turn, methods=["GET"]),
        Route("/answer", counter.answer, methods=["POST"]),
        Route("/share", counter.share, methods=["POST"]),
        Route("/keep", counter.keep, methods=["POST"]),
    ]
    for path, asset in load_assets(words).items():
        routes.append(Route(path, functools.partial(_asset, asset), methods=["GET"]))
    handlers = {HTTPException: _not_here, Refused: _refused, Exception: _fault}
    app = Starlette(routes=routes, exception_handlers=handlers)
    return Guard(app, door=door, hosts=hosts, scheme=scheme)


async def _asset(asset: Asset, asked: Asked) -> Response:
    headers = {"etag": asset.tag, "cache-control": "no-cache"}
    if asked.headers.get("if-none-match") == asset.tag:
        return Response(status_code=304, headers=headers)
    return Response(asset.content, headers=headers, media_type=asset.media_type)


async def _not_here(asked: Asked, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    return refusal(status, "method" if status == 405 else "not_here")


async def _fault(asked: Asked, error: Exception) -> Response:
    # Starlette raises the error again after this reply; the guard tells the terminal.
    return refusal(500, "fault")


async def _refused(asked: Asked, error: Exception) -> Response:
    if not isinstance(error, Refused):
        raise error
    return refusal(error.status, error.error, error.detail)


class _Counter:
    """What stands behind the routes."""

    def __init__(
        self, desk: Desk, door: Door, limits: PageLimits, *, keeper: Keeper | None, secure: bool
    ) -> None:
        self._desk, self._keeper = desk, keeper
        self._door, self._limits, self._secure = door, limits, secure
        self._table = guide_table(desk.guide)
        self._room = WaitingRoom(places=limits.places, places_each=limits.places_each)
        self._hands = ThreadPoolExecutor(1, thread_name_prefix="desk")

    async def start(self, asked: Asked) -> Response:
        session = asked.scope["telltale_session"]
        fresh = False
        if not self._door.knows(session):
            if self._door.with_code:
                return refusal(401, "door")
            session = self._door.enter("", "") or ""
            fresh = True
        return self._welcome(session, fresh=fresh)

    async def enter(self, asked: Asked) -> Response:
        code = (await self._body(asked, CODE_BYTES)).decode("ascii", "replace")
        address = asked.client.host if asked.client is not None else ""
        try:
            session = self._door.enter(code, address)
        except TooManyTries:
            return refusal(429, "tries", retry_s=60)
        return refusal(403, "code") if session is None else self._welcome(session, fresh=True)

    def _welcome(self, session: str, *, fresh: bool) -> Response:
        limits = self._limits
        response = reply(
            {
                "token": self._door.token(session),
                "photos": limits.photos,
                "photo_bytes": limits.photo_bytes,
                "request_bytes": limits.request_bytes,
                "retry_s": limits.retry_s,
                "archive": self._keeper is not None,
            }
        )
        if fresh:
            response.set_cookie(
                COOKIE,
                session,
                max_age=COOKIE_S,
                httponly=True,
                samesite="strict",
                secure=self._secure,
            )
        return response

    async def guide(self, asked: Asked) -> Response:
        if not self._door.knows(asked.scope["telltale_session"]):
            return refusal(401, "door")
        return reply(self._table)

    async def turn(self, asked: Asked) -> Response:
        session = asked.scope["telltale_session"]
        state, before = self._room.before(session, asked.path_params["ticket"])
        return reply({"state": state, "before": before})

    async def answer(self, asked: Asked) -> Response:
        return await self._served(asked, self._desk.answer)

    async def share(self, asked: Asked) -> Response:
        return await self._served(asked, functools.partial(share_page, self._desk))

    async def keep(self, asked: Asked) -> Response:
        if self._keeper is None:
            return refusal(404, "not_here")
        return await self._served(asked, functools.partial(self._keeper.keep, self._desk))

    async def _served(self, asked: Asked, work: Any) -> Response:
        """Take a place, read the body, wait for the turn, do the work in its thread."""
        if not asked.headers.get("content-type", "").lower().startswith("multipart/form-data"):
            return refusal(415, "content_type")
        ticket = asked.headers.get("x-telltale-ticket", "")[:64]
        try:
            place = self._room.enter(asked.scope["telltale_session"], ticket)
        except Busy:
            return refusal(503, "busy", retry_s=math.ceil(self._limits.retry_s))
        # The place belongs to the work, not to the request: a thread cannot be stopped,
        # so who gives up waiting leaves the place taken until the desk is done with it.
        try:
            body = await self._body(asked, self._limits.request_bytes)
        except BaseException:
            self._room.leave(place)
            raise
        kind = asked.headers["content-type"]
        job = asyncio.ensure_future(self._in_turn(place, functools.partial(work, kind, body)))
        del body
        try:
            return reply(await asyncio.wait_for(asyncio.shield(job), self._limits.answer_s))
        except TimeoutError:
            job.add_done_callback(lambda done: done.exception())
            return refusal(503, "slow", retry_s=math.ceil(self._limits.retry_s))
        except TelltaleError as error:
            return await _refused(asked, told(error))

    async def _in_turn(self, place: Any, work: Any) -> Any:
        loop = asyncio.get_running_loop()
        try:
            return await self._room.serve(place, lambda: loop.run_in_executor(self._hands, work))
        finally:
            self._room.leave(place)

    async def _body(self, asked: Asked, most: int) -> bytes:
        """The whole body, bounded in bytes and in time."""
        stated = asked.headers.get("content-length", "")
        if stated.isdecimal() and int(stated) > most:
            raise Refused(413, "request_too_large")
        body = bytearray()
        try:
            async with asyncio.timeout(self._limits.upload_s):
                async for chunk in asked.stream():
                    body += chunk
                    if len(body) > most:
                        raise Refused(413, "request_too_large")
        except TimeoutError:
            raise Refused(408, "upload_slow") from None
        except ClientDisconnect:
            raise Refused(400, "malformed") from None
        return bytes(body)
