"""The files of the page itself, read once from the package and given out by their names alone."""

import gzip
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable

from starlette.requests import Request
from starlette.responses import Response

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".webp": "image/webp",
    ".png": "image/png",
    ".woff2": "font/woff2",
}
"""Kinds of files that are given out, by the end of their name."""

_PACKED = (".webp", ".png", ".woff2")
"""Kinds that are compressed already."""


@dataclass(frozen=True, slots=True)
class Asset:
    """A file of the page.

    Attributes:
        content: What is in it.
        packed: The same compressed by gzip; None where that is no use.
        kind: Its type.
        tag: What tells it from another one of its name.
    """

    content: bytes
    packed: bytes | None
    kind: str
    tag: str

    def response(self, request: Request) -> Response:
        """The answer to a request for it; without its content where the browser has that already."""
        packs = [part.partition(";") for part in request.headers.get("accept-encoding", "").split(",")]
        accepts = any(
            name.strip().lower() == "gzip" and rest.replace(" ", "") not in ("q=0", "q=0.0")
            for name, _, rest in packs
        )
        packed = self.packed if accepts else None
        tag = f'"{self.tag}{"-gzip" if packed is not None else ""}"'
        headers = {"etag": tag, "vary": "accept-encoding", "cache-control": "no-cache"}
        had = {
            part.strip().removeprefix("W/") for part in request.headers.get("if-none-match", "").split(",")
        }
        if tag in had:
            return Response(status_code=304, headers=headers)
        headers["content-type"] = self.kind
        if packed is not None:
            headers["content-encoding"] = "gzip"
        return Response(self.content if packed is None else packed, headers=headers)


def load_assets() -> dict[str, Asset]:
    """All files of the page, by their path below its folder in the package."""
    found = {}
    for name, file in _walk(files("chaingen.page") / "assets"):
        ending = name[name.rfind(".") :]
        if ending in TYPES:
            content = file.read_bytes()
            packed = None if ending in _PACKED else gzip.compress(content, 9, mtime=0)
            tag = hashlib.sha256(content).hexdigest()[:20]
            found[name] = Asset(content, packed, TYPES[ending], tag)
    return found


def _walk(folder: Traversable, above: str = "") -> Iterator[tuple[str, Traversable]]:
    """All files below a folder, with their paths."""
    for entry in folder.iterdir():
        if entry.is_dir():
            yield from _walk(entry, f"{above}{entry.name}/")
        else:
            yield above + entry.name, entry
