"""The sheet as PDF for A4 or Letter: what the page says and how it looks, made ready to print.

The same document gives the same bytes on one machine. The file is tagged for readers who cannot see it
(PDF/UA-1, ISO 14289-1). Texts reach the typesetter as data, never as its source, so that each comes out as
typed.
"""

import json
import shutil
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any

from chaingen.errors import CannotDraw
from chaingen.files import whole_file
from chaingen.show.sheet import arrange
from chaingen.show.sheet.arrange import Placed
from chaingen.show.sheet.document import Document

FOLDER = Path(__file__).parent


def _told(part: dict[str, Any], folder: Path) -> dict[str, Any]:
    """A part as JSON knows it, its pictures copied into the folder under names of our own."""

    def copied(placed: Placed) -> dict[str, Any]:
        kind = "png" if placed.path.read_bytes()[:2] == b"\x89P" else "jpg"
        name = f"picture-{len(list(folder.iterdir()))}.{kind}"
        shutil.copyfile(placed.path, folder / name)
        return {"path": name, "text": placed.text, "part": placed.part}

    match part["kind"]:
        case "table":
            beside = part["code"] and _told(part["code"], folder)
            return part | {"grid": asdict(part["grid"]), "code": beside}
        case "pictures":
            return part | {"pictures": [copied(placed) for placed in part["pictures"]]}
        case "steps":
            steps = [
                step | {"picture": step["picture"] and copied(step["picture"])} for step in part["steps"]
            ]
            return part | {"steps": steps}
        case "code":
            name = f"code-{len(list(folder.iterdir()))}.svg"
            (folder / name).write_text(part["drawing"], encoding="utf-8")
            return {"kind": "code", "path": name, "caption": part["caption"], "across": part["across"]}
        case _:
            return part


def pdf_bytes(document: Document) -> bytes:
    """The sheet as PDF.

    Args:
        document: What it says, and for which paper; for its pictures see `arrange.parts`.

    Raises:
        CannotDraw: The typesetter is not installed.
    """
    try:
        import typst
    except ImportError as error:
        raise CannotDraw("a PDF needs a typesetter: pip install typst") from error
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheet = {
            "title": arrange.clean(document.title).replace("\n", " ") or "Sheet",
            "subtitle": arrange.clean(document.subtitle),
            "foot": arrange.clean(document.foot),
            "paper": document.paper,
            "text_width": arrange.text_width(document.paper),
            "side": arrange.SIDE,
            "top": arrange.TOP,
            "bottom": arrange.FOOT,
            "gutter": arrange.GUTTER,
            "beside": arrange.BESIDE,
            "whole": arrange.WHOLE,
            "tallest": arrange.TALLEST,
            "parts": [_told(part, folder) for part in arrange.parts(document)],
        }
        (folder / "sheet.json").write_text(json.dumps(sheet), encoding="utf-8")
        shutil.copyfile(FOLDER / "sheet.typ", folder / "sheet.typ")

        def typeset(*, accessible: bool) -> bytes:
            return typst.compile(
                folder / "sheet.typ",
                root=folder,
                font_paths=[FOLDER / "fonts"],
                format="pdf",
                pdf_standards="ua-1" if accessible else None,
            )

        try:
            made = typeset(accessible=True)
        except typst.TypstError as error:
            # PDF/UA-1 forbids a letter that no font on this machine has; a sheet with a blank is better than
            # none.
            if "could not be displayed" not in str(error):
                raise
            made = typeset(accessible=False)
    return made


def write_pdf(path: Path, document: Document) -> None:
    """Write the sheet as PDF.

    Args:
        path: Where it goes; ``.pdf``.
        document: What it says, and for which paper; for its pictures see `arrange.parts`.

    Raises:
        CannotDraw: The typesetter is not installed.
        CannotWrite: See `chaingen.files.whole_file`.
    """
    made = pdf_bytes(document)
    with whole_file(path) as stream:
        stream.write(made)
