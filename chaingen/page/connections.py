"""Connections to the server: how many there may be, how long one may say nothing, and what is no HTTP.

The server gives a connection time between two requests, but none for the lines of a request to come, nor for
its own answer to be taken: both are here.
"""

import asyncio
from typing import Any, cast

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.utils import get_remote_addr

from chaingen.errors import Problem
from chaingen.page.guards import HEADERS, refusal
from chaingen.page.owners import is_others

MOST_CONNECTIONS = 128
"""So many of this user are open at once; a browser has at most 6 to a server."""

HEAD_LIMIT = 20.0
"""The first lines of a request come within this time [s] of the connection, or of the first of them."""

STALLED = 300.0
"""An answer that nobody has taken anything of for so long [s] is given up."""


class Connection(H11Protocol):
    """One connection."""

    _head: asyncio.TimerHandle | None = None
    _stalled: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin, unless it may not be."""
        super().connection_made(transport)
        if self._is_others():
            # Closed before it has asked anything, and not counted: the room is for who serves the page.
            self.connections.discard(self)
            got, expected = "another user of this machine", "a request of who serves the page"
            self._refuse(403, Problem("the request", got, expected))
        elif get_remote_addr(transport) is None or len(self.connections) > MOST_CONNECTIONS:
            # Who has gone is listed no longer, and could have been anyone; what he sent is still there. This
            # is asked after the lists were read, lest he goes in between.
            self.connections.discard(self)
            transport.abort()
        else:
            self._time_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        for timer in (self._head, self._stalled):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take bytes."""
        if self.transport.is_closing():
            return
        super().data_received(data)
        self._time_head()

    def pause_writing(self) -> None:
        """Wait until something of the answer is taken."""
        super().pause_writing()
        self._stalled = self.loop.call_later(STALLED, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on."""
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None
        super().resume_writing()

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP."""
        self._refuse(400, Problem("the request", "bytes that are no HTTP", "HTTP/1.1"))

    def _is_others(self) -> bool:
        """Whether it is of another user of this machine."""
        if self.client is None or self.server is None or self.server[1] is None:
            return False
        return is_others(self.client, cast("tuple[str, int]", self.server))

    def _time_head(self) -> None:
        """Give up where no request is under way and none has come whole in time."""
        if self.cycle is not None and not self.cycle.response_complete:
            if self._head is not None:
                self._head.cancel()
                self._head = None
        elif self._head is None and not self.transport.is_closing():
            self._head = self.loop.call_later(HEAD_LIMIT, self._give_up)

    def _give_up(self) -> None:
        """Close, unless a request has come by now."""
        self._head = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()

    def _refuse(self, status: int, problem: Problem) -> None:
        """Answer, if nothing of an answer was sent yet, and close."""
        if self.cycle is not None:
            self.cycle.disconnected = True
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            answer = refusal(status, problem, HEADERS)
            headers: list[Any] = [*answer.raw_headers, (b"connection", b"close")]
            for event in (
                h11.Response(status_code=status, headers=headers),
                h11.Data(data=bytes(answer.body)),
                h11.EndOfMessage(),
            ):
                self.transport.write(self.conn.send(event))
        self.transport.close()
