"""The waiting room: a bounded number of places, served in turn."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import TypeVar

T = TypeVar("T")

ARRIVING, WAITING, READING = "arriving", "waiting", "reading"


class Busy(Exception):
    """No place left."""


@dataclass(eq=False, slots=True)
class Place:
    """One request from its first byte to its answer."""

    phone: str
    ticket: str
    state: str = ARRIVING
    turn: asyncio.Event = field(default_factory=asyncio.Event)


class WaitingRoom:
    """Places and turns. Served are requests in the order in which their upload ended.

    Parameters
    ----------
    places : int
        Requests at the same time.
    places_each : int
        Of one phone.
    """

    def __init__(self, *, places: int, places_each: int) -> None:
        self._most, self._most_each = places, places_each
        self._places: list[Place] = []
        self._queue: deque[Place] = deque()
        self._free = 1  # desks: one request is read at a time

    def enter(self, phone: str, ticket: str) -> Place:
        """Take a place.

        Raises
        ------
        Busy
            All places, or all that one phone may hold, are taken.
        """
        mine = sum(place.phone == phone for place in self._places)
        if len(self._places) >= self._most or mine >= self._most_each:
            raise Busy
        place = Place(phone, ticket)
        self._places.append(place)
        return place

    def leave(self, place: Place) -> None:
        """Give a place back, answered or not."""
        self._places.remove(place)
        if place in self._queue:
            self._queue.remove(place)

    async def serve(self, place: Place, work: Callable[[], Awaitable[T]]) -> T:
        """Wait for the turn of `place`, then do its work."""
        place.state = WAITING
        self._queue.append(place)
        self._call()
        try:
            await place.turn.wait()
            return await work()
        finally:
            if place.turn.is_set():
                self._free += 1
                self._call()

    def before(self, phone: str, ticket: str) -> tuple[str, int]:
        """State of a phone's request, and how many are read before it."""
        for place in self._places:
            if place.phone == phone and place.ticket == ticket:
                if place.state != WAITING:
                    return place.state, 0
                reading = sum(p.state == READING for p in self._places)
                return WAITING, reading + self._queue.index(place)
        return "unknown", 0

    def _call(self) -> None:
        while self._free > 0 and self._queue:
            place = self._queue.popleft()
            place.state = READING
            self._free -= 1
            place.turn.set()
