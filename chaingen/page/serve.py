"""Serving the page: the design it opens with, a free port, the browser, and an orderly end."""

import asyncio
import os
import signal
import socket
import threading
import tomllib
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import uvicorn
from starlette.types import ASGIApp

from chaingen.errors import BadInput, Problem
from chaingen.page.connections import Connection
from chaingen.page.own_folder import own_folder
from chaingen.page.requests import MOST_BESIDE, MOST_TEXT, base_name
from chaingen.page.server import First, application
from chaingen.page.sessions import MOST_BESIDE as MOST_FILES
from chaingen.page.workers import Workers
from chaingen.tables import MOST_PARTS, FileKind, Table, has_endless_key, read_text

HOST = "127.0.0.1"
"""The page is for this machine alone."""

LAST_ANSWERS = 2
"""Answers under way have so long [s] to end with the server."""

_DESIGN = FileKind("the design", "a design file", Table, start="chaingen new writes a design to start from")
_BESIDE = FileKind("the file", "a weave or settings file", Table)


def first_design(path: Path | None, settings: Path | None) -> First | None:
    """The design to open with, and the files that it names; None where neither is given.

    A design with problems is opened all the same: the page shows them beside its lines. So is one that names
    files that are not there, or whose names no weave or settings file has here.

    Args:
        path: A design file.
        settings: A settings file, which stands for the one that the design names.

    Raises:
        BadInput: A file cannot be read or is too long, or two that are named have the same name.
    """
    if path is None:
        if settings is None:
            return None
        from chaingen.page.catalogue import FIRST, starter

        text, folder, name = starter(FIRST), Path(), FIRST
    else:
        text, folder, name = read_text(path, _DESIGN), path.parent, path.name
        if len(text.encode()) > MOST_TEXT:
            raise BadInput([Problem(str(path), f"over {MOST_TEXT:,} bytes", "a shorter design file")])
        _refuse_endless(path, text)
    named = [folder / other for other in _named(text, with_settings=settings is None)]
    if settings is not None:
        text = _with_settings(text, base_name(settings.name, "--settings"))
        named.append(settings)
    return First(text, name, _read_all([other for other in named if other == settings or _is_kept(other)]))


def _refuse_endless(path: Path, text: str) -> None:
    """Refuse a text that would take minutes to read.

    Raises:
        BadInput: It is one.
    """
    if has_endless_key(text):
        raise BadInput([Problem(str(path), "a key of very many parts", f"at most {MOST_PARTS}")])


def _is_kept(path: Path) -> bool:
    """Whether there is a file at a path, which may be no path at all, and the page takes one of its name."""
    try:
        base_name(path.name)
        return path.is_file()
    except (BadInput, OSError, ValueError):
        return False


def _named(text: str, *, with_settings: bool) -> list[str]:
    """The files that the text of a design names, in its words; none where it is no TOML."""
    from chaingen.design.weaves import is_file, weave_tables

    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError):
        return []
    names = [table["weave"] for _, table in weave_tables(data) if is_file(table["weave"])]
    if with_settings and isinstance(data.get("settings"), str):
        names.append(data["settings"])
    return [name for name in dict.fromkeys(names) if "\0" not in name]


def _with_settings(text: str, name: str) -> str:
    """A design that names a settings file; as it is where it is no TOML."""
    from chaingen.design.edit import change_from, edited

    with suppress(BadInput):
        return edited(text, [change_from({"do": "set", "at": ["settings"], "value": name})])
    return text


def _read_all(paths: list[Path]) -> dict[str, bytes]:
    """Files by their names alone.

    Raises:
        BadInput: One cannot be read or is too long, two have the same name, or there are too many.
    """
    found: dict[str, tuple[Path, bytes]] = {}
    for path in paths:
        name = base_name(path.name)
        text = read_text(path, _BESIDE)
        _refuse_endless(path, text)
        content = text.encode()
        if len(content) > MOST_BESIDE:
            raise BadInput([Problem(str(path), f"over {MOST_BESIDE:,} bytes", "a shorter file")])
        if name in found and found[name][1] != content:
            got = f"a file of the same name as {found[name][0]}"
            raise BadInput([Problem(str(path), got, "names that differ, for the page knows files by these")])
        found[name] = (path, content)
    if len(found) > MOST_FILES:
        raise BadInput([Problem("the design", f"{len(found)} files named", f"at most {MOST_FILES}")])
    return {name: content for name, (_, content) in found.items()}


def bound(port: int) -> socket.socket:
    """A socket that listens at a port of this machine; 0 for any that is free.

    Raises:
        BadInput: The port is not to be had.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            # Else the system keeps the port of a server that has just ended to itself for a minute. Where
            # another one listens it is not to be had all the same.
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HOST, port))
        listening.listen(64)
    except OSError as error:
        listening.close()
        got = f"{port}, which cannot be had ({error.strerror or error})"
        raise BadInput(
            [Problem("--port", got, "a port that is free", "without it a free one is taken")]
        ) from None
    return listening


def serve(
    first: First | None, *, port: int, browser: bool, say: Callable[[str], None], jobs: str | None = None
) -> None:
    """Serve the page until Ctrl-C or the end of the terminal.

    Args:
        first: The design to open with; None for a starter.
        port: The port; 0 for any that is free.
        browser: Whether to open the page in the browser.
        say: Prints a line.
        jobs: Name of the module whose functions are the jobs; the page's own by default.

    Raises:
        BadInput: The port is not to be had, or no temporary folder.
    """
    with bound(port) as listening, own_folder() as root:
        try:
            with _ended_by_signals() as ending:
                _serve(first, listening, root, browser, say, jobs, ending)
        except KeyboardInterrupt:
            pass
    with suppress(OSError):  # the terminal may be what has ended
        say("The page has ended.")


def _serve(
    first: First | None,
    listening: socket.socket,
    root: Path,
    browser: bool,
    say: Callable[[str], None],
    jobs: str | None,
    ending: "_Ending",
) -> None:
    from chaingen.page.catalogue import session_data

    workers = Workers() if jobs is None else Workers(jobs)
    workers.start(one_first=True)  # it loads while the rest of this does
    try:
        opening = session_data()
        if first is None:
            first = First(opening["first"]["text"], opening["first"]["name"])
        number = listening.getsockname()[1]
        address = f"http://{HOST}:{number}/"
        app = application(workers, folder=root, port=number, first=first, opening=opening)
        server = server_of(app, workers)
        ending.server = server
        say(f"The page is at {address} (Ctrl-C ends it)")
        if browser:
            # A browser in the terminal would not return before its end.
            threading.Thread(target=_open, args=(address, say), daemon=True).start()
        asyncio.run(server.serve(sockets=[listening]))
    finally:
        workers.close()


def _open(address: str, say: Callable[[str], None]) -> None:
    """Open an address in the browser."""
    try:
        opened = webbrowser.open(address)
    except (webbrowser.Error, OSError, ValueError):  # what BROWSER says may be no command at all
        opened = False
    if not opened:
        with suppress(OSError):
            say("No browser could be opened: open that address in one on this machine.")


def server_of(app: ASGIApp, workers: Workers) -> uvicorn.Server:
    """The server of an application, as it speaks to browsers; it stops the workers when it ends."""
    config = uvicorn.Config(
        app,
        http=Connection,
        ws="none",
        lifespan="on",
        log_config=None,
        log_level="error" if os.environ.get("CHAINGEN_DEBUG") else "critical",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        date_header=False,
        h11_max_incomplete_event_size=32_768,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=LAST_ANSWERS,
    )
    return _Server(config, workers)


class _Server(uvicorn.Server):
    """Stops all jobs before it waits for the answers that are under way."""

    def __init__(self, config: uvicorn.Config, workers: Workers) -> None:
        super().__init__(config)
        self.workers = workers

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End."""
        await asyncio.to_thread(self.workers.close)
        await super().shutdown(sockets)


class _Ending:
    """What a signal ends: the server once there is one."""

    server: uvicorn.Server | None = None

    def __call__(self, *_: Any) -> None:
        """End in an orderly way."""
        if self.server is None:
            raise KeyboardInterrupt
        # The server sends itself the signals again once it has ended; then this does nothing more.
        self.server.should_exit = True


@contextmanager
def _ended_by_signals() -> Iterator[_Ending]:
    """Ctrl-C, the end of the terminal and a plain kill end the server in an orderly way."""
    ending = _Ending()
    names = ("SIGINT", "SIGTERM", "SIGHUP")
    every = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, ending) for number in every}
    try:
        yield ending
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
