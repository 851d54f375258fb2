"""What runs in a worker process: one job at a time, told to the server as it goes.

The two ends of the pipe exchange frames. To the worker: a pickled ``(number, name, arguments)`` for a job, or
``(number, None, None)`` to stop the job of that number. From the worker: a letter of `Frame` and its content.
A worker keeps to its pipe and to the folders that its arguments name; it ends when its server does.
"""

import importlib
import json
import os
import pickle
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from enum import Enum
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait
from pathlib import Path
from types import ModuleType
from typing import Any

from chaingen.errors import BadInput, ChaingenError, Problem

Tell = Callable[[dict[str, Any]], None]
"""Takes one line about how a job goes."""

LEAST_BETWEEN = 0.05
"""Words about how it goes are told no more often than this [s]."""

KEEP = "_keep"
"""Key of an answer for what the server keeps (bytes) and does not send."""


class Frame(bytes, Enum):
    """The first letter of what a worker sends."""

    READY = b"r"
    WORDS = b"w"
    """What is being done, in UTF-8."""
    PASSING = b"p"
    """A line that a newer one may stand for."""
    LINE = b"l"
    """A line that is not left out."""
    KEPT = b"k"
    """What the server keeps."""
    TEXT = b"t"
    """The text of the design that it is of, in UTF-8."""
    ANSWER = b"a"
    """The last line."""
    STOPPED = b"s"
    """The job stopped when it was asked to."""


class Stopped(BaseException):
    """The server asked that the job stop; no job catches it by catching every `Exception`."""


def work(pipe: Connection, jobs: str, priority: int, warm: bool) -> None:
    """Take jobs until the pipe or the server ends.

    Args:
        pipe: The worker's end.
        jobs: Name of the module whose functions are the jobs.
        priority: How far to stand back behind other processes, 0 to 19.
        warm: Whether to call its `warm` before the first job.
    """
    # Ctrl-C in a terminal goes to every process there; it is the server that ends the workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_server, daemon=True).start()
    _stand_back(priority)
    module = importlib.import_module(jobs)
    if warm:
        module.warm()
    pipe.send_bytes(Frame.READY)
    while True:
        try:
            # From the server alone, which started this process.
            number, name, arguments = pickle.loads(pipe.recv_bytes())
        except (EOFError, OSError):
            return
        if name is not None:
            _do(pipe, module, number, name, arguments)


def _end_with_server() -> None:
    """Wait for the end of the server, however it comes, and end too."""
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _stand_back(priority: int) -> None:
    """Leave time to the server and the browser; and be the one that ends where memory runs out."""
    if hasattr(os, "nice"):
        with suppress(OSError):
            os.nice(priority)
    if sys.platform == "linux":
        with suppress(OSError):
            Path("/proc/self/oom_score_adj").write_text("500", encoding="ascii")


def _do(pipe: Connection, module: ModuleType, number: int, name: str, arguments: dict[str, Any]) -> None:
    """One job, from its first word to its last line."""
    teller = _Teller(pipe, number)
    try:
        answer = getattr(module, name)(arguments, teller.tell)
        kept = answer.pop(KEEP, None)
        last = encoded(answer)
    except Stopped:
        pipe.send_bytes(Frame.STOPPED)
        return
    except BadInput as error:
        kept, last = None, encoded({"problems": problems_of(error.problems, arguments.get("text", ""))})
    except ChaingenError as error:
        kept, last = None, encoded({"fault": str(error)})
    except MemoryError:
        kept, last = None, encoded({"fault": "memory ran out"})
    except Exception as error:
        told = f"{type(error).__name__}: {error}"[:500]
        kept, last = None, encoded({"fault": f"a fault in chaingen itself ({told})"})
    if kept is not None:
        pipe.send_bytes(Frame.KEPT + kept)
        if isinstance(text := answer.get("text"), str):
            pipe.send_bytes(Frame.TEXT + text.encode("utf-8", "replace"))
    pipe.send_bytes(Frame.ANSWER + last)


class _Teller:
    """Tells the server how a job goes, and stops the job when the server asks for that."""

    def __init__(self, pipe: Connection, number: int) -> None:
        self.pipe = pipe
        self.number = number
        self.told = float("-inf")

    def tell(self, line: dict[str, Any]) -> None:
        """Send a line; words of progress that come too soon after others are left out.

        Raises:
            Stopped: The server has asked that this job stop.
        """
        if self.pipe.poll() and pickle.loads(self.pipe.recv_bytes())[0] == self.number:
            raise Stopped
        if "progress" in line:
            now = time.monotonic()
            if now - self.told >= LEAST_BETWEEN:
                self.told = now
                self.pipe.send_bytes(Frame.WORDS + str(line["progress"]).encode("utf-8", "replace"))
            return
        self.pipe.send_bytes((Frame.PASSING if set(line) == {"poses"} else Frame.LINE) + encoded(line))


def encoded(line: Mapping[str, Any]) -> bytes:
    """A line as JSON in ASCII, without its end.

    Raises:
        ValueError: It holds a number that is none, which JSON cannot say.
    """
    return json.dumps(line, allow_nan=False, separators=(",", ":")).encode("ascii")


def problems_of(problems: tuple[Problem, ...], text: str = "") -> list[dict[str, Any]]:
    """Problems as they are sent, each with its line in the text of the design where it has one."""
    from chaingen.design.lines import line_of

    return [
        {
            "where": p.where,
            "got": p.got,
            "expected": p.expected,
            "advice": p.advice,
            "line": line_of(text, p.where) if text else None,
        }
        for p in problems
    ]
