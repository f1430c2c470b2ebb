"""Who may ask: one session for each browser, by a one-time code where others reach us."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable

# Without 0 O 1 I L: the code is read off one screen and typed on another.
LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
# Six of 31 letters are 887 million codes; at `TRIES` a minute and address, guessing one
# takes centuries. Chosen to be typed with one thumb.
CODE_LENGTH = 6
TRIES = 10
TRIES_S = 60.0
# Addresses whose wrong tries are counted at the same time.
ADDRESSES = 256


class TooManyTries(Exception):
    """Several wrong codes from one address; it must wait."""


class Door:
    """Sessions and one-time codes. Nothing of it survives the process.

    Parameters
    ----------
    with_code : bool
        Whether a browser needs a code to enter. Where only this machine can reach the
        page it does not.
    sessions : int
        How many browsers are remembered.
    on_code : callable
        Told of each new code, at once and after each use.
    clock : callable
        Seconds, never going back.
    """

    def __init__(
        self,
        *,
        with_code: bool,
        sessions: int = 64,
        on_code: Callable[[str], None] = lambda code: None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.with_code = with_code
        self._most = sessions
        self._on_code = on_code
        self._clock = clock
        self._key = secrets.token_bytes(32)
        self._sessions: OrderedDict[str, None] = OrderedDict()
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self.code = ""
        if with_code:
            self._renew()

    def enter(self, code: str, address: str) -> str | None:
        """Admit a browser and return its session, or None for a wrong code.

        Raises
        ------
        TooManyTries
            The address has tried too often; even the right code must wait.
        """
        if self.with_code:
            self._count_try(address)
            said = code.strip().upper().encode()
            if not hmac.compare_digest(said, self.code.encode()):
                return None
            self._wrong.pop(address, None)
            self._renew()
        session = secrets.token_urlsafe(24)
        self._sessions[session] = None
        while len(self._sessions) > self._most:
            self._sessions.popitem(last=False)
        return session

    def knows(self, session: str) -> bool:
        """Whether a browser has entered."""
        if session not in self._sessions:
            return False
        self._sessions.move_to_end(session)
        return True

    def token(self, session: str) -> str:
        """What a page of ours, and no other, can send along with a request."""
        return hmac.new(self._key, session.encode(), hashlib.sha256).hexdigest()

    def token_fits(self, session: str, token: str) -> bool:
        """Whether `token` belongs to a session that has entered."""
        return self.knows(session) and hmac.compare_digest(
            self.token(session).encode(), token.encode()
        )

    def _renew(self) -> None:
        self.code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
        self._on_code(self.code)

    def _count_try(self, address: str) -> None:
        now = self._clock()
        count, since = self._wrong.get(address, (0, now))
        if now - since >= TRIES_S:
            count, since = 0, now
        if count >= TRIES:
            raise TooManyTries
        self._wrong[address] = (count + 1, since)
        while len(self._wrong) > ADDRESSES:
            self._wrong.popitem(last=False)
