"""One job as the server sees it: what was asked for, and what it tells, line by line, up to its last."""

import asyncio
import time
from collections import deque
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from chaingen.page.worker import encoded

MOST_PENDING = 32
"""So many lines wait for a browser that is slow; then newer poses stand for older ones."""

BEAT = 1.0
"""After so long [s] without a line the browser is told that the work goes on."""


@dataclass(eq=False)
class Job:
    """A job, from when it was asked for to its last line. Its methods are called in the event loop.

    Attributes:
        name: Name of the function that does it.
        arguments: What that is given.
        owner: Whose it is; a newer one of the same owner replaces it. None is nobody's.
        limit: Longest time that it may take once begun [s].
        why: Why it was stopped; None while it was not.
        kept: What the server keeps of it, once it is done.
        text: The text of the design that this is of.
    """

    name: str
    arguments: dict[str, Any]
    owner: str | None
    limit: float
    why: str | None = None
    kept: bytes | None = None
    text: str | None = None
    words: str = "waiting for its turn"
    asked: float = field(default_factory=time.monotonic)
    loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.get_running_loop)

    def __post_init__(self) -> None:
        self.last: asyncio.Future[bytes] = self.loop.create_future()
        self._pending: deque[tuple[bool, bytes]] = deque()
        self._news = asyncio.Event()

    async def lines(self) -> AsyncIterator[bytes]:
        """The lines as they come; the last one ends it."""
        while True:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._news.wait(), BEAT)
            self._news.clear()
            if not self._pending and not self.last.done():
                yield self.beat()
            while self._pending:
                yield self._pending.popleft()[1]
            if self.last.done():
                yield self.last.result()
                return

    async def beats(self) -> AsyncIterator[bytes]:
        """That it goes on, and its last line, for one more who waits for it."""
        while not self.last.done():
            yield self.beat()
            await asyncio.wait([self.last], timeout=BEAT)
        yield self.last.result()

    def beat(self) -> bytes:
        """A line that says what is being done, and how long it has taken [s]."""
        return encoded({"progress": self.words, "seconds": round(time.monotonic() - self.asked, 1)})

    def take(self, passing: bool, line: bytes) -> None:
        """Take a line."""
        full = passing and len(self._pending) >= MOST_PENDING and self._pending[-1][0]
        if full:
            self._pending[-1] = (passing, line)
        else:
            self._pending.append((passing, line))
        self._news.set()

    def say(self, words: str) -> None:
        """Take words about what is being done."""
        self.words = words
        self.take(True, self.beat())

    def finish(self, line: bytes) -> None:
        """Take the last line; whatever comes later is left out."""
        if not self.last.done():
            self.last.set_result(line)
            self._news.set()

    def from_elsewhere(self, call: Any, *values: Any) -> None:
        """Call a method of this in its event loop, if that still runs; may be called in any thread."""
        with suppress(RuntimeError):
            self.loop.call_soon_threadsafe(call, *values)
