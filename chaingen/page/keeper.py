"""The thread that keeps a worker process running and gives it jobs.

It alone reads and writes the pipe of its process. A process may hang anywhere, also in the middle of what it
sends or is sent, where the pipe blocks both: each frame has its time, and then the process is killed.
"""

import pickle
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Protocol

from chaingen.page.job import Job
from chaingen.page.worker import Frame, encoded, work

MOST_BYTES = 256_000_000
"""Most of what a worker sends at once; more is taken for a fault."""

TICK = 0.1
"""A thread looks this often [s] whether its job was stopped."""

GRACE = 0.4
"""A job has this long [s] to stop by itself."""

STUCK = 10.0
"""A frame takes no longer than this [s] to be sent or to come, unless the process hangs."""

WARM_LIMIT = 300.0
"""Most time [s] in which a worker gets ready; the first one ever compiles."""

PAUSE = 1.0
"""After a process that could not start the next one waits so long [s]."""


class Process(Protocol):
    """What is used of a process."""

    @property
    def exitcode(self) -> int | None:
        """How it ended; None while it goes on."""

    def is_alive(self) -> bool:
        """Whether it goes on."""

    def kill(self) -> None:
        """End it at once."""

    def join(self, timeout: float | None = None) -> None:
        """Wait for its end, for so long [s] at the most."""


class Source(Protocol):
    """Where a keeper gets its jobs from."""

    jobs: str
    gate: threading.Event
    priority: int
    closing: bool

    def next(self, process: Process) -> Job | None:
        """The next job for a process; None where it has died, or all end."""

    def done(self, job: Job) -> None:
        """Take it that a job is no longer being done."""

    def refuse(self, line: bytes) -> None:
        """Give the jobs that wait their last line."""


class Keeper:
    """The thread of a worker: keeps a process running and gives it jobs."""

    def __init__(self, queue: Source) -> None:
        self.queue = queue
        self.number = 0
        self.process: Process | None = None
        self.hung = False  # whether that was killed since it sent or took nothing
        self.bare = False  # whether its next process begins at once, without getting ready

    def keep(self) -> None:
        """Start a process, give it jobs, and start another one whenever it ends."""
        if hasattr(signal, "pthread_sigmask"):
            # A process inherits this: Ctrl-C does not end it while it is still loading.
            signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        failed = 0
        if not self.bare:
            self.queue.gate.wait()
        while not self.queue.closing:
            try:
                process, pipe = self._started()
            except OSError as error:
                why = error.strerror or str(error)
                self.queue.refuse(encoded({"fault": f"no worker could start: {why}"}))
                time.sleep(PAUSE)
                continue
            self.process, self.hung = process, False
            try:
                if self._warmed(process, pipe):
                    failed = 0
                    self._serve(process, pipe)
                elif not self.queue.closing:
                    failed += 1
                    if failed > 1:
                        self.queue.refuse(encoded({"fault": f"no worker could start: {self._end(process)}"}))
                    time.sleep(PAUSE)
            finally:
                pipe.close()
                process.kill()
                process.join(10.0)

    def kill(self) -> None:
        """Kill the process, if there is one; may be called in any thread."""
        if self.process is not None:
            self.process.kill()

    @contextmanager
    def _in_time(self, process: Process) -> Iterator[None]:
        """Kill the process where a frame takes too long; the pipe then breaks."""

        def give_up() -> None:
            self.hung = True
            process.kill()

        timer = threading.Timer(STUCK, give_up)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()

    def _end(self, process: Process) -> str:
        """How a process ended, in words."""
        process.join(5.0)
        code = process.exitcode
        if self.hung:
            return "the work answered no more and was ended"
        if code == -9:
            return "the system ended the work, most likely because memory ran out"
        told = f"signal {-code}" if code is not None and code < 0 else f"exit code {code}"
        return f"a fault in chaingen itself ended the work ({told})"

    def _started(self) -> tuple[Process, Connection]:
        context = get_context("spawn")
        ours, theirs = context.Pipe()
        arguments = (theirs, self.queue.jobs, self.queue.priority, not self.bare)
        self.bare = False
        process = context.Process(target=work, args=arguments, daemon=True, name="chaingen page worker")
        try:
            process.start()
        finally:
            theirs.close()
        return process, ours

    def _warmed(self, process: Process, pipe: Connection) -> bool:
        """Whether a process got ready."""
        limit = time.monotonic() + WARM_LIMIT
        try:
            while not self.queue.closing and time.monotonic() < limit:
                if pipe.poll(TICK):
                    with self._in_time(process):
                        return pipe.recv_bytes(MOST_BYTES) == Frame.READY
        except (EOFError, OSError):
            pass
        return False

    def _serve(self, process: Process, pipe: Connection) -> None:
        """Give a process jobs as long as it goes on."""
        goes_on = True
        while goes_on and (job := self.queue.next(process)) is not None:
            try:
                goes_on = self._do(process, pipe, job)
            except (EOFError, OSError) as error:
                goes_on = False
                # A pipe that is still open has sent more than it may.
                large = isinstance(error, OSError) and not isinstance(error, ConnectionError)
                words = "its answer is too large" if large and process.is_alive() else self._end(process)
                job.from_elsewhere(job.finish, encoded({"fault": words}))
            finally:
                self.queue.done(job)

    def _do(self, process: Process, pipe: Connection, job: Job) -> bool:
        """Have a process do a job; returns whether it can do more.

        Raises:
            EOFError, OSError: The process has ended, or sends what it may not.
        """
        self.number += 1
        order = pickle.dumps((self.number, job.name, job.arguments))
        with self._in_time(process):
            pipe.send_bytes(order)
        limit, asked = time.monotonic() + job.limit, None
        while True:
            now = time.monotonic()
            if job.why is None and now >= limit:
                job.why = f"it took longer than {job.limit:,.0f} s; the command line has no such limit"
                job.from_elsewhere(job.finish, encoded({"stopped": job.why}))
            if job.why is not None and asked is None:
                asked = now
                with self._in_time(process):
                    pipe.send_bytes(pickle.dumps((self.number, None, None)))
            if self.queue.closing or (asked is not None and now - asked >= GRACE):
                return False
            if not pipe.poll(TICK):
                continue
            with self._in_time(process):
                frame = pipe.recv_bytes(MOST_BYTES)
            kind, content = frame[:1], frame[1:]
            if kind == Frame.WORDS:
                job.from_elsewhere(job.say, content.decode("utf-8", "replace"))
            elif kind in (Frame.PASSING, Frame.LINE):
                job.from_elsewhere(job.take, kind == Frame.PASSING, content)
            elif kind == Frame.KEPT:
                job.kept = content
            elif kind == Frame.TEXT:
                job.text = content.decode("utf-8", "replace")
            else:
                if kind == Frame.ANSWER:
                    job.from_elsewhere(job.finish, content)
                return True
