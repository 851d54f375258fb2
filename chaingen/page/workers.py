"""The workers as the server sees them: jobs, their queues, and the processes that do them.

A thread stands for each process. It alone reads and writes the pipe, so that the server's event loop never
waits for a worker; what a job tells goes to the loop as it comes. Jobs that must be quick have a worker of
their own; all others share those of the other queue, one of which is spare as long as one maker is at work.
A job that is stopped has a moment to stop by itself; then its process is killed and another one started.
"""

import asyncio
import pickle
import signal
import threading
import time
from collections import deque
from collections.abc import AsyncIterator, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any, Protocol

from chaingen.page.worker import Frame, encoded, work

JOBS = "chaingen.page.jobs"
"""Where the jobs are."""

MOST_BYTES = 256_000_000
"""Most of what a worker sends at once; more is taken for a fault."""

MOST_PENDING = 32
"""So many lines wait for a browser that is slow; then newer poses stand for older ones."""

TICK = 0.1
"""A thread looks this often [s] whether its job was stopped."""

GRACE = 0.4
"""A job has this long [s] to stop by itself."""

BEAT = 1.0
"""After so long [s] without a line the browser is told that the work goes on."""

WARM_LIMIT = 300.0
"""Most time [s] in which a worker gets ready; the first one ever compiles."""

PAUSE = 1.0
"""After a process that could not start the next one waits so long [s]."""

REPLACED = "a newer change replaced it"
CANCELLED = "it was cancelled"
ENDING = "the program is ending"


class _Process(Protocol):
    """What is used of a process."""

    @property
    def exitcode(self) -> int | None: ...
    def is_alive(self) -> bool: ...
    def kill(self) -> None: ...
    def join(self, timeout: float | None = None) -> None: ...


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


class Workers:
    """All workers.

    Args:
        jobs: Name of the module whose functions are the jobs.
        heavy: How many workers share the jobs that may take long.
    """

    def __init__(self, jobs: str = JOBS, *, heavy: int = 2) -> None:
        self.gate = threading.Event()
        self.quick = _Queue(jobs, self.gate, count=1, priority=2)
        self.heavy = _Queue(jobs, self.gate, count=heavy, priority=8)
        self.started = False

    def start(self, *, one_first: bool = False) -> None:
        """Start all processes, unless that was done; jobs may be asked for at once.

        Args:
            one_first: Start one, which takes the first long job without getting ready for others, and the
                rest at `start_others` or when more is asked for: what is asked first is then done sooner.
        """
        if self.started:
            return
        self.started = True
        if one_first:
            self.heavy.keepers[0].bare = True
        else:
            self.gate.set()
        for queue in (self.heavy, self.quick):
            queue.start()

    def start_others(self) -> None:
        """Start the processes that wait."""
        self.gate.set()

    def close(self) -> None:
        """Stop all jobs and end all processes; it may take a moment, so call it in a thread."""
        self.gate.set()
        for queue in (self.quick, self.heavy):
            queue.close()
        for queue in (self.quick, self.heavy):
            queue.join()

    def do(self, name: str, arguments: dict[str, Any], *, owner: str | None, limit: float) -> Job:
        """Ask for a job that may take long; it replaces the one that its owner waits for."""
        job = Job(name, arguments, owner, limit)
        if owner is not None:
            self.gate.set()
            self.stop(owner, REPLACED)
        self.heavy.add(job)
        return job

    def do_quickly(self, name: str, arguments: dict[str, Any], *, owner: str | None, limit: float) -> Job:
        """Ask for a quick job; it replaces one of the same name that its owner waits for and is not begun."""
        job = Job(name, arguments, owner, limit)
        self.gate.set()
        if owner is not None:
            self.quick.stop((j for j in self.quick.of(owner, begun=False) if j.name == name), REPLACED)
        self.quick.add(job)
        return job

    def stop(self, owner: str, why: str = CANCELLED) -> None:
        """Stop the long jobs of an owner."""
        self.heavy.stop(self.heavy.of(owner), why)

    def drop(self, owner: str) -> None:
        """Stop all jobs of an owner."""
        for queue in (self.quick, self.heavy):
            queue.stop(queue.of(owner), CANCELLED)

    def leave(self, job: Job) -> None:
        """Stop a job that nobody waits for any more."""
        for queue in (self.quick, self.heavy):
            queue.stop([job], CANCELLED)


class _Queue:
    """Jobs that wait, and the threads that take them; shared between these, so all under one lock."""

    def __init__(self, jobs: str, gate: threading.Event, *, count: int, priority: int) -> None:
        self.jobs, self.gate, self.priority = jobs, gate, priority
        self.changed = threading.Condition()
        self.waiting: deque[Job] = deque()
        self.begun: set[Job] = set()
        self.closing = False
        self.keepers = [_Keeper(self) for _ in range(count)]
        self.threads = [threading.Thread(target=keeper.keep, daemon=True) for keeper in self.keepers]

    def start(self) -> None:
        for thread in self.threads:
            thread.start()

    def add(self, job: Job) -> None:
        with self.changed:
            if self.closing:
                job.why = ENDING
                job.finish(encoded({"stopped": ENDING}))
                return
            self.waiting.append(job)
            self.changed.notify()

    def of(self, owner: str, *, begun: bool = True) -> list[Job]:
        """The jobs of an owner that wait, and those that are begun."""
        with self.changed:
            every = [*self.waiting, *(self.begun if begun else ())]
        return [job for job in every if job.owner == owner]

    def stop(self, jobs: Iterable[Job], why: str) -> None:
        """Stop jobs: those who wait for them are told at once, their workers soon."""
        for job in list(jobs):
            if job.last.done():
                continue
            with self.changed:
                job.why = why
                with suppress(ValueError):
                    self.waiting.remove(job)
            job.finish(encoded({"stopped": why}))

    def next(self, process: _Process) -> Job | None:
        """The next job for a process; None where it has died, or all end."""
        with self.changed:
            while not self.closing and process.is_alive():
                if self.waiting:
                    job = self.waiting.popleft()
                    self.begun.add(job)
                    return job
                self.changed.wait(BEAT)
        return None

    def done(self, job: Job) -> None:
        with self.changed:
            self.begun.discard(job)

    def refuse(self, line: bytes) -> None:
        """Give the jobs that wait their last line, for no process will do them."""
        with self.changed:
            jobs = list(self.waiting)
            self.waiting.clear()
        for job in jobs:
            _in_loop(job, job.finish, line)

    def close(self) -> None:
        with self.changed:
            self.closing = True
            self.changed.notify_all()
            jobs = [*self.waiting, *self.begun]
        for job in jobs:
            job.why = ENDING
            _in_loop(job, job.finish, encoded({"stopped": ENDING}))

    def join(self) -> None:
        for thread in self.threads:
            if thread.ident is not None:
                thread.join(10.0)


def _in_loop(job: Job, call: Any, *values: Any) -> None:
    """Call a method of a job in its event loop, if that still runs."""
    with suppress(RuntimeError):
        job.loop.call_soon_threadsafe(call, *values)


class _Keeper:
    """The thread of a worker: keeps a process running and gives it jobs."""

    def __init__(self, queue: _Queue) -> None:
        self.queue = queue
        self.number = 0
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
            process, pipe = self._started()
            try:
                if self._warmed(process, pipe):
                    failed = 0
                    self._serve(process, pipe)
                elif not self.queue.closing:
                    failed += 1
                    if failed > 1:
                        self.queue.refuse(encoded({"fault": f"no worker could start: {_end(process)}"}))
                    time.sleep(PAUSE)
            finally:
                pipe.close()
                process.kill()
                process.join(10.0)

    def _started(self) -> tuple[_Process, Connection]:
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

    def _warmed(self, process: _Process, pipe: Connection) -> bool:
        """Whether a process got ready."""
        limit = time.monotonic() + WARM_LIMIT
        try:
            while not self.queue.closing and time.monotonic() < limit:
                if pipe.poll(TICK):
                    return pipe.recv_bytes(MOST_BYTES) == Frame.READY
        except (EOFError, OSError):
            pass
        return False

    def _serve(self, process: _Process, pipe: Connection) -> None:
        """Give a process jobs as long as it goes on."""
        goes_on = True
        while goes_on and (job := self.queue.next(process)) is not None:
            try:
                goes_on = self._do(process, pipe, job)
            except (EOFError, OSError) as error:
                goes_on = False
                # A pipe that is still open has sent more than it may.
                large = isinstance(error, OSError) and not isinstance(error, ConnectionError)
                words = "its answer is too large" if large and process.is_alive() else _end(process)
                _in_loop(job, job.finish, encoded({"fault": words}))
            finally:
                self.queue.done(job)

    def _do(self, process: _Process, pipe: Connection, job: Job) -> bool:
        """Have a process do a job; returns whether it can do more.

        Raises:
            EOFError, OSError: The process has ended, or sends what it may not.
        """
        self.number += 1
        pipe.send_bytes(pickle.dumps((self.number, job.name, job.arguments)))
        limit, asked = time.monotonic() + job.limit, None
        while True:
            now = time.monotonic()
            if job.why is None and now >= limit:
                job.why = f"it took longer than {job.limit:,.0f} s; the command line has no such limit"
                _in_loop(job, job.finish, encoded({"stopped": job.why}))
            if job.why is not None and asked is None:
                asked = now
                pipe.send_bytes(pickle.dumps((self.number, None, None)))
            if self.queue.closing or (asked is not None and now - asked >= GRACE):
                return False
            if not pipe.poll(TICK):
                continue
            frame = pipe.recv_bytes(MOST_BYTES)
            kind, content = frame[:1], frame[1:]
            if kind == Frame.WORDS:
                _in_loop(job, job.say, content.decode("utf-8", "replace"))
            elif kind in (Frame.PASSING, Frame.LINE):
                _in_loop(job, job.take, kind == Frame.PASSING, content)
            elif kind == Frame.KEPT:
                job.kept = content
            elif kind == Frame.TEXT:
                job.text = content.decode("utf-8", "replace")
            else:
                if kind == Frame.ANSWER:
                    _in_loop(job, job.finish, content)
                return True


def _end(process: _Process) -> str:
    """How a process ended, in words."""
    process.join(5.0)
    code = process.exitcode
    if code == -9:
        return "the system ended the work, most likely because memory ran out"
    told = f"signal {-code}" if code is not None and code < 0 else f"exit code {code}"
    return f"a fault in chaingen itself ended the work ({told})"
