"""Exported files: which are asked for by which address, and what a browser may do with them."""

import json
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from starlette.types import ASGIApp

from chaingen.errors import BadInput, Problem
from chaingen.page.sessions import Session
from chaingen.page.streams import SentFile
from chaingen.page.worker import encoded

SHEET_POLICY = (
    "sandbox allow-modals; default-src 'none'; img-src data:; font-src data:; "
    "style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""What an exported page may do: show what is in it, and be printed."""

FILE_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".gif": "image/gif",
    ".webp": "image/webp",
    ".json": "application/json",
    ".csv": "text/csv; charset=utf-8",
    ".stl": "model/stl",
    ".obj": "model/obj",
    ".mtl": "model/mtl",
    ".glb": "model/gltf-binary",
    ".3mf": "model/3mf",
    ".step": "model/step",
    ".zip": "application/zip",
}
"""Types of exported files by the end of their name; others are bytes."""

SHOWN = (".html", ".pdf", ".png", ".gif", ".webp")
"""Exported files that a browser shows; others are saved."""


def sent(path: Path) -> ASGIApp:
    """The answer that an exported file is."""
    ending = path.suffix.lower()
    headers = {"content-disposition": "inline" if ending in SHOWN else "attachment"}
    if ending == ".html":
        headers["content-security-policy"] = SHEET_POLICY
    return SentFile(path, FILE_TYPES.get(ending, "application/octet-stream"), headers)


def kept_set(session: Session, number: str, folder: Path, line: bytes) -> bytes:
    """The last line about exported files with their addresses; the session keeps them."""
    answer = json.loads(line)
    if isinstance(fault := answer.get("fault"), str):
        # Where the session's folder lies, and its name, are nobody's business.
        within = rf"{re.escape(str(folder))}[/\\](\.part-[^/\\]*[/\\])?"
        return encoded({**answer, "fault": re.sub(within, "", fault)})
    if (told := answer.get("files")) is None:
        return line
    session.keep_set(number, folder, [entry["path"] for entry in told["list"]])
    here = f"/files/{session.id}/{number}"
    told["set"], told["zip"] = number, f"{here}.zip"
    for entry in told["list"]:
        entry["url"] = f"{here}/{entry['path']}"
    return encoded(answer)


def pack(path: Path, files: Mapping[str, Path]) -> None:
    """Write files into one zip file.

    Raises:
        BadInput: It cannot be written; nothing of it stays.
    """
    partial = path.with_suffix(".part")
    try:
        with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as packed:
            for name, file in files.items():
                packed.write(file, PurePosixPath(name))
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        got, advice = error.strerror or str(error), "save the files one by one"
        raise BadInput([Problem("all files in one", got, "room for it", advice)]) from None
