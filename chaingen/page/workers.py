"""The workers as the server sees them: queues of jobs, and the processes that do them.

A thread stands for each process, so that the server's event loop never waits for one; what a job tells goes
to the loop as it comes. Jobs that must be quick have a worker of their own; all others share those of the
other queue, one of which is spare as long as one maker is at work. A job that is stopped has a moment to stop
by itself; then its process is killed and another one started.
"""

import threading
from collections import deque
from collections.abc import Iterable
from contextlib import suppress
from typing import Any

from chaingen.page.job import BEAT, Job
from chaingen.page.keeper import Keeper, Process
from chaingen.page.worker import encoded

JOBS = "chaingen.page.jobs"
"""Where the jobs are."""

CLOSE_LIMIT = 3.0
"""A keeper has so long [s] to end its process; then that is ended for it."""

REPLACED = "a newer change replaced it"
CANCELLED = "it was cancelled"
ENDING = "the program is ending"


class Workers:
    """All workers.

    Args:
        jobs: Name of the module whose functions are the jobs.
        heavy: How many workers share the jobs that may take long.
    """

    def __init__(self, jobs: str = JOBS, *, heavy: int = 2) -> None:
        self.gate = threading.Event()
        self.quick = _Queue(jobs, self.gate, count=1, priority=0)
        self.heavy = _Queue(jobs, self.gate, count=heavy, priority=3)
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
        self.keepers = [Keeper(self) for _ in range(count)]
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

    def next(self, process: Process) -> Job | None:
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
            job.from_elsewhere(job.finish, line)

    def close(self) -> None:
        with self.changed:
            self.closing = True
            self.changed.notify_all()
            jobs = [*self.waiting, *self.begun]
        for job in jobs:
            job.why = ENDING
            job.from_elsewhere(job.finish, encoded({"stopped": ENDING}))

    def join(self) -> None:
        for keeper, thread in zip(self.keepers, self.threads, strict=True):
            if thread.ident is None:
                continue
            thread.join(CLOSE_LIMIT)
            if thread.is_alive():
                # Its process hangs in the middle of a frame, and it with that.
                keeper.kill()
                thread.join(10.0)
