"""Answers that come in lines, and files that are sent as they are read."""

import asyncio
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from starlette.types import Receive, Scope, Send

CHUNK = 256_000
"""A file is read and sent in parts of so many bytes."""

LINES = "application/x-ndjson"


class Lines:
    """An answer of lines of JSON, each sent at once.

    Args:
        lines: The lines, without their ends.
        on_leave: Called when whoever asked goes away before the last one.
    """

    def __init__(self, lines: AsyncIterator[bytes], on_leave: Callable[[], None] | None = None) -> None:
        self.lines = lines
        self.on_leave = on_leave

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send the lines until they end, or whoever asked goes away."""
        sending = asyncio.create_task(self._send(send))
        leaving = asyncio.create_task(_left(receive))
        try:
            await asyncio.wait({sending, leaving}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            whole = sending.done() and not sending.cancelled() and sending.exception() is None
            if not whole and self.on_leave is not None:
                self.on_leave()
            for task in (sending, leaving):
                task.cancel()
            results = await asyncio.gather(sending, leaving, return_exceptions=True)
        if isinstance(results[0], Exception) and not isinstance(results[0], OSError):
            raise results[0]

    async def _send(self, send: Send) -> None:
        headers: list[Any] = [(b"content-type", LINES.encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        async for line in self.lines:
            await send({"type": "http.response.body", "body": line + b"\n", "more_body": True})
        await send({"type": "http.response.body", "body": b"", "more_body": False})


async def _left(receive: Receive) -> None:
    """Wait until whoever asked goes away."""
    while (await receive())["type"] != "http.disconnect":
        pass


class SentFile:
    """A file, whole and as it is.

    Args:
        path: The file.
        kind: Its type.
        headers: What is said about it besides.
    """

    def __init__(self, path: Path, kind: str, headers: dict[str, str]) -> None:
        self.path = path
        self.kind = kind
        self.headers = headers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it.

        Raises:
            OSError: It is there no longer.
        """
        stream = await asyncio.to_thread(self.path.open, "rb")
        try:
            size = (await asyncio.to_thread(self.path.stat)).st_size
            told = {"content-type": self.kind, "content-length": str(size), **self.headers}
            headers = [(name.encode("ascii"), value.encode("ascii")) for name, value in told.items()]
            await send({"type": "http.response.start", "status": 200, "headers": headers})
            while size > 0 and scope["method"] != "HEAD":
                part = await asyncio.to_thread(stream.read, min(CHUNK, size))
                if not part:
                    break
                size -= len(part)
                await send({"type": "http.response.body", "body": part, "more_body": True})
            await send({"type": "http.response.body", "body": b"", "more_body": False})
        finally:
            stream.close()
