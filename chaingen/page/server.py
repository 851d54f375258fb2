"""The server of the page: what it answers to each address.

Nothing is computed here. A request is read and judged, given to a worker, and what that tells is passed on as
it comes. What is kept between requests is in `sessions`, who may ask at all in `guards`.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from chaingen.errors import BadInput, Problem
from chaingen.page import requests as asked
from chaingen.page.asset_files import Asset, load_assets
from chaingen.page.downloads import kept_set, pack, sent
from chaingen.page.guards import METHODS, Guard, refusal
from chaingen.page.job import Job
from chaingen.page.remembered import Looks, Made
from chaingen.page.sessions import Session, Sessions
from chaingen.page.streams import Lines
from chaingen.page.workers import REPLACED, Workers

LOOK_LIMIT, QUICK_LIMIT, REST_LIMIT, FILES_LIMIT = 180.0, 20.0, 300.0, 900.0
"""Longest times that jobs may take [s]."""

AFTERWARDS = 8.0
"""So long [s] after the first look, when all workers are there, what findings need is compiled."""

END_LIMIT, MOMENT = 5.0, 0.1
"""The jobs of a session that goes have so long [s] to end; every moment [s] it is looked whether they did."""


@dataclass(frozen=True, slots=True)
class First:
    """The design that the page opens with.

    Attributes:
        text: Its text.
        name: What it is called.
        beside: The files that it names, by name.
    """

    text: str
    name: str
    beside: Mapping[str, bytes] = field(default_factory=dict)


class Server:
    """What the answers share.

    Args:
        workers: The workers; started and closed with the server.
        folder: Where the folders of sessions go; the server's own.
        first: The design that a page opens with.
        opening: What a page is told when it opens, besides.
    """

    def __init__(self, workers: Workers, folder: Path, first: First, opening: Mapping[str, Any]) -> None:
        self.workers = workers
        self.first = first
        self.opening = opening
        self.sessions = Sessions(folder)
        self.assets: dict[str, Asset] = load_assets()
        self.looks = Looks()
        # The first look is made before anyone asks, in a session that no page has.
        self.own = Session("first", folder / "first")
        for name, content in first.beside.items():
            self.own.put_beside(name, content)
        self.first_look: Job | None = None
        self.packing = asyncio.Lock()

    def begin(self) -> None:
        """Start the workers, and the look of the first design."""
        self.workers.start(one_first=True)
        given = {"text": self.first.text, "changes": [], "quick": False}
        arguments = {**given, "last": None, "folder": str(self.own.beside_folder)}
        job = self.first_look = self.workers.do("look", arguments, owner=None, limit=LOOK_LIMIT)
        beside = dict(self.own.beside)
        job.last.add_done_callback(lambda _: self.workers.start_others())
        job.last.add_done_callback(lambda _: self._keep(job, self.first.text, beside))
        job.last.add_done_callback(lambda _: self._get_ready())

    def _get_ready(self) -> None:
        """Have done soon what the first piece with findings would else wait for."""
        loop = asyncio.get_running_loop()
        loop.call_later(
            AFTERWARDS, lambda: self.workers.do("ready_findings", {}, owner=None, limit=LOOK_LIMIT)
        )

    # Pages and their files

    async def page(self, request: Request) -> ASGIApp:
        """The page."""
        return self._asset(request, "index.html")

    async def asset(self, request: Request) -> ASGIApp:
        """A file of the page."""
        return self._asset(request, request.path_params["name"])

    def _asset(self, request: Request, name: str) -> ASGIApp:
        found = self.assets.get(name)
        return _missing() if found is None else found.response(request)

    # Requests of the page

    async def session(self, request: Request) -> ASGIApp:
        """A session for a page that opens, and what it shows first."""
        await _read(request, asked.Nothing)
        session = self.sessions.open(self.first.beside)
        busy = {"first": self.first_look is not None and not self.first_look.last.done()}
        first = {"text": self.first.text, "name": self.first.name}
        if (oldest := self.sessions.forget_oldest()) is not None:
            await self._remove(oldest)
        return JSONResponse({**self.opening, "session": session.id, "first": first, "busy": busy})

    async def new(self, request: Request) -> ASGIApp:
        """The text of a design to start from."""
        session, given = await self._asked(request, asked.New)
        arguments = given.model_dump(exclude_none=True)
        job = self.workers.do_quickly("new", arguments, owner=session.id, limit=QUICK_LIMIT)
        return _answer(await job.last)

    async def look(self, request: Request) -> ASGIApp:
        """What a design comes to, at a glance or in full."""
        session, given = await self._asked(request, asked.Look)
        arguments = {**given.model_dump(), "last": session.last, "folder": str(session.beside_folder)}
        if given.quick:
            return self._lines(
                self.workers.do_quickly("look", arguments, owner=session.id, limit=QUICK_LIMIT), session
            )
        if not given.changes and (made := self._made(given.text, session)) is not None:
            return Lines(made)
        return self._lines(self.workers.do("look", arguments, owner=session.id, limit=LOOK_LIMIT), session)

    def _made(self, text: str, session: Session) -> AsyncIterator[bytes] | None:
        """The full look of a text that was made before, or is the first one; None when it is neither."""
        known = self.looks.find(text, session.beside)
        if known is not None:
            self.workers.stop(session.id, REPLACED)
            session.last = known.kept
            return _one(known.line)
        job = self.first_look
        if job is None or job.last.done() or (text, session.beside) != (self.first.text, self.own.beside):
            return None
        return self._shared(job, session)

    async def _shared(self, job: Job, session: Session) -> AsyncIterator[bytes]:
        """The first look, for one of those who wait for it."""
        async for line in job.beats():
            if job.last.done() and job.kept is not None:
                session.last = job.kept
            yield line

    def _keep(self, job: Job, text: str, beside: Mapping[str, str]) -> None:
        """Keep the full look that a job made, if it made one."""
        if job.kept is not None and job.why is None:
            self.looks.keep(text, beside, Made(job.last.result(), job.kept))

    async def rest(self, request: Request) -> ASGIApp:
        """How a piece comes to rest."""
        session, given = await self._asked(request, asked.Rest)
        arguments = {
            "text": given.text,
            "scene": given.scene.model_dump(exclude_none=True),
            "last": session.last,
            "folder": str(session.beside_folder),
        }
        return self._lines(self.workers.do("rest", arguments, owner=session.id, limit=REST_LIMIT), session)

    async def files(self, request: Request) -> ASGIApp:
        """Models, pictures, the maker's sheet."""
        session, given = await self._asked(request, asked.Files)
        number, folder = await asyncio.to_thread(session.next_set)
        self._session(request)
        arguments = {
            **given.model_dump(),
            "last": session.last,
            "folder": str(session.beside_folder),
            "out": str(folder),
        }
        job = self.workers.do("files", arguments, owner=session.id, limit=FILES_LIMIT)
        return self._lines(job, session, lambda line: kept_set(session, number, folder, line))

    async def beside(self, request: Request) -> ASGIApp:
        """A file that the design names."""
        session, given = await self._asked(request, asked.Beside)
        session.put_beside(asked.base_name(given.name), given.text.encode())
        return JSONResponse({"names": sorted(session.beside)})

    async def stop(self, request: Request) -> ASGIApp:
        """Stop what takes long."""
        session, _ = await self._asked(request, asked.Nothing)
        self.workers.stop(session.id)
        return JSONResponse({})

    async def end(self, request: Request) -> ASGIApp:
        """The end of a page: its jobs stop, its folder goes. One that has ended before may end again."""
        await _read(request, asked.Nothing)
        session = self.sessions.find(request.headers.get("x-session", ""))
        if session is not None:
            self.sessions.forget(session)
            await self._remove(session)
        return JSONResponse({})

    async def _remove(self, session: Session) -> None:
        """Stop the jobs of a session that is forgotten, and remove its folder once none writes there."""
        limit, busy = time.monotonic() + END_LIMIT, True
        while busy and time.monotonic() < limit:
            busy = any(queue.of(session.id) for queue in (self.workers.heavy, self.workers.quick))
            self.workers.drop(session.id)
            if busy:
                # After the last one too: a process that is killed goes on a little longer than its job.
                await asyncio.sleep(MOMENT)
        async with self.packing:
            await asyncio.to_thread(session.remove)

    async def _asked(
        self, request: Request, model: type[asked.AnyRequest]
    ) -> tuple[Session, asked.AnyRequest]:
        """The session of a request, and what it says.

        Raises:
            HTTPException: It has no session that is known.
            BadInput: It says what it may not.
        """
        self._session(request)
        given = await _read(request, model)
        return self._session(request), given  # found again, for it may have ended meanwhile

    def _session(self, request: Request) -> Session:
        """The session of a request.

        Raises:
            HTTPException: It has none that is known.
        """
        session = self.sessions.find(request.headers.get("x-session", ""))
        if session is None:
            raise HTTPException(404, "session")
        return session

    def _lines(self, job: Job, session: Session, change: Callable[[bytes], bytes] | None = None) -> ASGIApp:
        """The lines of a job; its last one may be changed, and what is to be kept of it is kept."""
        beside = dict(session.beside)

        async def lines() -> AsyncIterator[bytes]:
            async for line in job.lines():
                if not job.last.done() or line is not job.last.result():
                    yield line
                    continue
                if job.kept is not None and job.why is None:
                    session.last = job.kept
                    # A file that changed meanwhile may have been read before or after it did.
                    full = job.name == "look" and not job.arguments["quick"]
                    if full and job.text is not None and beside == session.beside:
                        self._keep(job, job.text, beside)
                yield line if change is None else await asyncio.to_thread(change, line)

        return Lines(lines(), lambda: self.workers.leave(job))

    # Exported files

    async def exported(self, request: Request) -> ASGIApp:
        """A file that was exported."""
        found = self._set(request)
        path = found.paths.get(request.path_params["path"]) if found is not None else None
        if path is None:
            return _missing()
        return sent(path)

    async def zipped(self, request: Request) -> ASGIApp:
        """All that was exported at once, in one file."""
        found = self._set(request)
        if found is None:
            return _missing()
        path = found.folder.with_suffix(".zip")
        async with self.packing:
            if not path.is_file():
                await asyncio.to_thread(pack, path, found.paths)
        return sent(path)

    def _set(self, request: Request) -> Any:
        session = self.sessions.find(request.path_params["session"])
        return None if session is None else session.sets.get(request.path_params["set"])


# Helpers of the answers


async def _one(line: bytes) -> AsyncIterator[bytes]:
    yield line


async def _read(request: Request, model: type[asked.AnyRequest]) -> asked.AnyRequest:
    """The request that a body is; judged in a thread, for it may be long."""
    return await asyncio.to_thread(asked.read_request, await request.body(), model)


def _answer(line: bytes) -> ASGIApp:
    """An answer of one line, as JSON."""
    return Response(line, media_type="application/json")


def _missing() -> ASGIApp:
    return refusal(404, Problem("the address", "nothing there", "an address that the page uses"))


async def _refused(request: Request, error: Exception) -> Response:
    """What a request gets whose address or method or session is none."""
    assert isinstance(error, HTTPException)
    if error.detail == "session":
        advice = "load the page again; the oldest pages are forgotten when many are open"
        return refusal(
            404, Problem("X-Session", "a session that is not known", "that of an open page", advice)
        )
    if error.status_code == 405:
        allowed = dict(error.headers or {"allow": ", ".join(METHODS)})
        return refusal(405, Problem("the method", request.method, "another one at this address"), allowed)
    return refusal(
        error.status_code, Problem("the address", "nothing there", "an address that the page uses")
    )


async def _bad(_: Request, error: Exception) -> Response:
    """What a request gets that says what it may not."""
    assert isinstance(error, BadInput)
    fields = ("where", "got", "expected", "advice")
    told = [{**{name: getattr(p, name) for name in fields}, "line": None} for p in error.problems]
    return JSONResponse({"problems": told}, 400)


async def _gone(_: Request, error: Exception) -> Response:
    """What a request gets for a file that has gone, as old exports do."""
    assert isinstance(error, OSError)
    got = error.strerror or str(error)
    return refusal(404, Problem("the file", got, "a file that is still there", "make the files again"))


def application(
    workers: Workers, *, folder: Path, port: int, first: First, opening: Mapping[str, Any]
) -> ASGIApp:
    """The whole server as an application.

    Args:
        workers: The workers, not started yet; they are closed when it ends.
        folder: A folder of its own.
        port: The port that it will be served at.
        first: The design that a page opens with.
        opening: What a page is told when it opens, besides.
    """

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        server.begin()
        try:
            yield
        finally:
            await asyncio.to_thread(workers.close)

    server = Server(workers, folder, first, opening)
    answers = (
        server.session, server.new, server.look, server.rest, server.files, server.beside, server.stop,
        server.end,
    )  # fmt: skip
    app = Starlette(
        routes=[
            Route("/", server.page, methods=["GET"]),
            Route("/assets/{name:path}", server.asset, methods=["GET"]),
            Route("/files/{session}/{set}.zip", server.zipped, methods=["GET"]),
            Route("/files/{session}/{set}/{path:path}", server.exported, methods=["GET"]),
            *(Route(f"/api/{answer.__name__}", answer, methods=["POST"]) for answer in answers),
        ],
        exception_handlers={HTTPException: _refused, BadInput: _bad, OSError: _gone},
        lifespan=lifespan,
    )
    app.router.redirect_slashes = False
    return Guard(app, port)
