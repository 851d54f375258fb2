"""A server of the page with its workers, at a port of its own, for as long as a test needs it."""

import socket
import threading
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx

from chaingen.page.serve import bound, server_of
from chaingen.page.server import First, application
from chaingen.page.workers import Workers


@dataclass
class Served:
    port: int
    folder: Path
    workers: Workers

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}"

    def client(self, **options):
        return httpx.Client(base_url=self.address, timeout=60.0, trust_env=False, **options)

    @contextmanager
    def page(self):
        """A client with a session of its own, as a page has it."""
        with self.client() as client:
            client.headers["X-Session"] = client.post("/api/session", json={}).json()["session"]
            yield client

    def raw(self, content, *, end=True):
        """The bytes that come back for bytes; nothing more is sent after them when `end`."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=30.0) as connection:
            parts = []
            # A server that refuses what it was sent may close before it has all of it.
            with suppress(ConnectionError, BrokenPipeError):
                connection.sendall(content)
            with suppress(OSError):
                if end:
                    connection.shutdown(socket.SHUT_WR)
                while part := connection.recv(65_536):
                    parts.append(part)
        return b"".join(parts)


@contextmanager
def served(jobs="tests.page_jobs", first=None, opening=None):
    with bound(0) as listening, TemporaryDirectory() as folder:
        port = listening.getsockname()[1]
        workers = Workers(jobs)
        first = first or First("the first design", "first.toml")
        app = application(workers, folder=Path(folder), port=port, first=first, opening=opening or {})
        server = server_of(app, workers)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            wait_until(lambda: server.started or not thread.is_alive())
            yield Served(port, Path(folder), workers)
        finally:
            server.should_exit = True
            thread.join(60.0)
            assert not thread.is_alive()


def wait_until(there):
    """Wait until something is so, for a minute at the most."""
    for _ in range(6_000):
        if there():
            return
        time.sleep(0.01)
    raise AssertionError("it did not come about within a minute")
