"""What every request passes first: only this machine, only this page, nothing too large or too slow.

A page of another site can make a browser send requests to this server. Its name for the server (``Host``),
the site that asks (``Origin``, ``Sec-Fetch-Site``) and the type of the body, which only the page itself can
set, tell them apart; nothing is allowed across sites. Answers say what the browser may load for the page:
what this server serves, and nothing from elsewhere.
"""

import asyncio
import ipaddress
from collections.abc import Mapping
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from chaingen.errors import Problem

MOST_BODY = 1_000_000
"""Longest body [bytes]."""

BODY_LIMIT = 10.0
"""Longest time in which a body comes [s]."""

MOST_HEADERS, MOST_HEADER_BYTES, LONGEST_URL = 100, 16_000, 2_000

METHODS = ("GET", "HEAD", "POST")

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; font-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""What the page may load."""

HEADERS: Mapping[str, str] = {
    "content-security-policy": PAGE_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
"""What every answer says, unless it says it otherwise itself."""


def refusal(status: int, problem: Problem, headers: Mapping[str, str] | None = None) -> JSONResponse:
    """The answer to a request that is refused."""
    told = {
        "where": problem.where,
        "got": problem.got,
        "expected": problem.expected,
        "advice": problem.advice,
        "line": None,
    }
    return JSONResponse({"problems": [told]}, status, headers)


class Guard:
    """Lets through to an application what its own page asks, and marks all its answers.

    Args:
        app: The application.
        port: The port that it is served at.
    """

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        names = ("127.0.0.1", "localhost")
        self.hosts = {f"{name}:{port}" for name in names} | (set(names) if port == 80 else set())
        self.origins = {f"http://{host}" for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        begun = False

        async def marked(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(raw=message.setdefault("headers", []))
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refused = self._refused(scope)
        if refused is None and scope["method"] == "POST":
            try:
                receive = _again(await asyncio.wait_for(_body(receive), BODY_LIMIT), receive)
            except TimeoutError:
                refused = refusal(
                    408, Problem("the body", "nothing more of it", f"all within {BODY_LIMIT:g} s")
                )
            except _TooLong:
                refused = _too_long()
            except _Gone:
                return
        try:
            await (refused or self.app)(scope, receive, marked)
        except OSError:
            # Who asked has gone, or a file has: nothing can be told any more.
            if not begun:
                await refusal(404, Problem("the file", "nothing", "a file that is still there"))(
                    scope, receive, marked
                )

    def _refused(self, scope: Scope) -> JSONResponse | None:
        """Why a request is refused by its first lines; None when it is not."""
        headers = Headers(scope=scope)
        client = scope.get("client")
        if client is not None and not _on_this_machine(client[0]):
            return refusal(403, Problem("the request", "another machine", "a request from this machine"))
        if len(scope.get("raw_path") or b"") + len(scope.get("query_string", b"")) > LONGEST_URL:
            return refusal(414, Problem("the address", "too long", f"at most {LONGEST_URL:,} bytes"))
        raw = scope["headers"]
        if len(raw) > MOST_HEADERS or sum(len(name) + len(value) for name, value in raw) > MOST_HEADER_BYTES:
            expected = f"at most {MOST_HEADERS} headers and {MOST_HEADER_BYTES:,} bytes of them"
            return refusal(431, Problem("the headers", "too many", expected))
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            got = f"{hosts[0][:60]!r}" if hosts else "nothing"
            return refusal(403, Problem("Host", got, f"one of {', '.join(sorted(self.hosts))}"))
        origins, sites = headers.getlist("origin"), headers.getlist("sec-fetch-site")
        if any(origin.lower() not in self.origins for origin in origins):
            return refusal(403, Problem("Origin", f"{origins[0][:60]!r}", "a request of the page itself"))
        if any(site not in ("same-origin", "none") for site in sites):
            return refusal(
                403, Problem("Sec-Fetch-Site", f"{sites[0][:60]!r}", "a request of the page itself")
            )
        if scope["method"] not in METHODS:
            allowed = {"allow": ", ".join(METHODS)}
            return refusal(405, Problem("the method", scope["method"][:20], "GET or POST"), allowed)
        return _refused_body(headers) if scope["method"] == "POST" else None


def _refused_body(headers: Headers) -> JSONResponse | None:
    """Why a body is refused by what is said about it; None when it is not."""
    kind, _, rest = headers.get("content-type", "").partition(";")
    if kind.strip().lower() != "application/json" or rest.strip().lower() not in ("", "charset=utf-8"):
        got = f"{headers.get('content-type', 'nothing')[:60]!r}"
        return refusal(415, Problem("Content-Type", got, "application/json"))
    length = headers.get("content-length", "")
    return _too_long() if length.isdecimal() and int(length[:12]) > MOST_BODY else None


def _too_long() -> JSONResponse:
    return refusal(413, Problem("the body", f"over {MOST_BODY:,} bytes", "a shorter request"))


def _on_this_machine(address: str) -> bool:
    """Whether an address is this machine's own for itself."""
    try:
        return ipaddress.ip_address(address.partition("%")[0]).is_loopback
    except ValueError:
        return False


class _TooLong(Exception):
    """A body is longer than it may be."""


class _Gone(Exception):
    """Who asked went away before all of it had come."""


async def _body(receive: Receive) -> bytes:
    """The whole body of a request."""
    parts: list[bytes] = []
    size = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise _Gone
        parts.append(message.get("body", b""))
        size += len(parts[-1])
        if size > MOST_BODY:
            raise _TooLong
        if not message.get("more_body", False):
            return b"".join(parts)


def _again(body: bytes, receive: Receive) -> Receive:
    """A body that was read already, and then what comes after it."""
    given = False

    async def next_message() -> Any:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return next_message
