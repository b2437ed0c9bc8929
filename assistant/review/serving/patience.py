"""How long a connection may take to ask for something, and how many may be about to: nobody shuts others out by waiting.

uvicorn waits without end for a connection's first request. Here one that hasn't sent a whole request within
`REQUEST_WITHIN_S` is closed, and where more than `MOST_WAITING` are about to, the one that has waited longest goes, so
that whoever comes with a request is always let in. Requests being answered (the board's stream too) aren't touched.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_WITHIN_S = 10.0
MOST_WAITING = 200


class PatientProtocol(H11Protocol):
    """uvicorn's protocol, with an end to its patience."""

    _timer: asyncio.TimerHandle | None = None

    @property
    def waiting(self) -> dict[PatientProtocol, None]:
        """The server's connections that haven't sent a whole request, the one that has waited longest first."""
        waiting: dict[PatientProtocol, None] = self.server_state.__dict__.setdefault("waiting", {})
        return waiting

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._wait()
        if len(self.waiting) > MOST_WAITING:
            next(iter(self.waiting))._give_up()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._asked()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        if not self.transport.is_closing() and self.conn.their_state is h11.IDLE:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._asked()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._asked()
        self.waiting[self] = None
        self._timer = self.loop.call_later(REQUEST_WITHIN_S, self._give_up)

    def _asked(self) -> None:
        self.waiting.pop(self, None)
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _give_up(self) -> None:
        self._asked()
        self.transport.abort()
