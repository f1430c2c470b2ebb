"""HTTP that does not wait for ever for the head of a request."""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from vision.page.limits import PageLimits


class PatientProtocol(H11Protocol):
    """uvicorn's h11 protocol with a limit on how long a client may owe the rest of a request.

    uvicorn itself times only the pause between two requests, so a client that sends one
    byte of a header a minute would hold its connection for good.
    """

    header_s = PageLimits().header_s
    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Start the clock with the connection."""
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Look whether the head of a request is whole now."""
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        """Look whether the client still owes a body, or has begun the next head."""
        super().on_response_complete()
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the clock."""
        self._stop()
        super().connection_lost(exc)

    def _watch(self) -> None:
        """Run the clock exactly while something is owed that no one else times."""
        state = self.conn.their_state
        fresh = self.cycle is None
        if state is h11.IDLE:
            owed = fresh or bool(self.conn.trailing_data[0])
        else:
            owed = state is h11.SEND_BODY and not fresh and self.cycle.response_complete
        if not owed:
            self._stop()
        elif self._late is None:
            self._late = self.loop.call_later(self.header_s, self._give_up)

    def _stop(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _give_up(self) -> None:
        self._late = None
        if not self.transport.is_closing():
            self.transport.close()
