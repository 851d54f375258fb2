"""The page's server as a process, and the browser that opens it.

CHROMIUM names the browser, else it is taken from the path. WebGL is drawn in software.
"""

from __future__ import annotations

import os
import queue
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    # Where the tests in a browser are left out, what drives it need not be there.
    from playwright.sync_api import Browser

GRAPHICS = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist"]
PATIENCE = 120.0
"""The longest anything may take on a busy machine [s]."""


class Server:
    """``chaingen page`` as a process of its own, on a port of its own choice unless one is given."""

    def __init__(self, folder: Path, *arguments: str, port: str = "0") -> None:
        self.lines: list[str] = []
        said: queue.Queue[str] = queue.Queue()
        command = [sys.executable, "-m", "chaingen.cli", "page", *arguments, "--no-browser", "--port", port]
        self.process = subprocess.Popen(
            command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )

        def listen() -> None:
            assert self.process.stdout is not None
            for line in self.process.stdout:
                self.lines.append(line)
                said.put(line)

        self.listener = threading.Thread(target=listen, daemon=True)
        self.listener.start()
        try:
            self.address = self._address(said)
        except BaseException:
            self.end()
            raise

    def _address(self, said: queue.Queue[str]) -> str:
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            try:
                line = said.get(timeout=0.2)
            except queue.Empty:
                assert self.process.poll() is None, "".join(self.lines)
                continue
            if found := re.search(r"http://127\.0\.0\.1:\d+/?", line):
                return found[0].rstrip("/") + "/"
        raise AssertionError(f"no address within {PATIENCE} s: {''.join(self.lines)}")

    def children(self) -> list[int]:
        """Its processes, by their numbers."""
        tasks = Path(f"/proc/{self.process.pid}/task")
        return sorted(
            {int(pid) for task in tasks.iterdir() for pid in (task / "children").read_text().split()}
        )

    def busiest(self, seconds: float = 0.5) -> int:
        """The child that works hardest for a while."""
        before = {pid: _ticks(pid) for pid in self.children()}
        time.sleep(seconds)
        worked = {pid: _ticks(pid) - ticks for pid, ticks in before.items()}
        pid = max(worked, key=worked.__getitem__)
        assert worked[pid] > 0, "no child works"
        return pid

    def kill(self) -> None:
        """End it without any farewell."""
        self.process.kill()
        self.process.wait()

    def end(self) -> None:
        """End it as Ctrl-C does, and see that it is gone."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.kill()
            raise AssertionError("the server did not end") from None
        finally:
            self.listener.join(10)
            assert self.process.stdout is not None
            self.process.stdout.close()
        assert "Traceback" not in "".join(self.lines), "".join(self.lines)


def _ticks(pid: int) -> int:
    """What a process has worked so far, in clock ticks; 0 when it is gone."""
    try:
        # The name of a process, in brackets, may hold spaces; user and system time are 12 and 13 after it.
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except (FileNotFoundError, ProcessLookupError):
        return 0
    return int(fields[11]) + int(fields[12])


@contextmanager
def served(folder: Path, *arguments: str, port: str = "0") -> Iterator[Server]:
    """A server, ended afterwards."""
    server = Server(folder, *arguments, port=port)
    try:
        yield server
    finally:
        server.end()


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser, closed afterwards."""
    place = os.environ.get("CHROMIUM") or shutil.which("chromium")
    assert place, "no chromium on the path"
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=place, args=["--no-sandbox", *GRAPHICS])
        yield browser
        browser.close()
