"""The sheet as one page for any browser, to read on a screen and to print: nothing is fetched, nothing runs.

Pictures, letters and styles are inside the file. It is printed on A4 or Letter alike; heads of tables come
again on every page, and no row, picture or instruction is cut by the end of a page unless it is longer than
one.
"""

import base64
import re
from pathlib import Path

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from chaingen.files import write_text
from chaingen.show.sheet import arrange
from chaingen.show.sheet.arrange import Placed
from chaingen.show.sheet.document import Document

FOLDER = Path(__file__).parent


def _data(path: Path) -> str:
    """A file as an address that holds it."""
    data = path.read_bytes()
    kind = {b"\x89P": "image/png", b"\xff\xd8": "image/jpeg"}.get(data[:2], "font/woff2")
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def _css_string(text: str) -> Markup:
    """A text as a string of CSS, letters that are not plain as numbers, so that none can end it."""
    safe = "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in text.replace("\n", " "))
    return Markup(f'"{safe}"')


def _lines(text: str) -> Markup:
    """A text with its line breaks."""
    return Markup("<br>").join(text.split("\n"))


def _cell(text: str, longest: int) -> Markup:
    """A text of a cell, with its line breaks and its long words marked: they may be broken anywhere."""
    words = re.split(r"([ \n])", text)
    marked = (Markup("<span>{}</span>").format(word) if len(word) > longest else word for word in words)
    return Markup("").join(Markup("<br>") if word == "\n" else word for word in marked)


def _width(placed: Placed) -> str:
    """The name of the rule that tells how wide a picture is."""
    return f"w{placed.abreast}-{round(placed.part * 1000)}"


def _rules(parts: list[dict[str, object]]) -> Markup:
    """Rules for what is as wide as only this sheet says: attributes of style are kept out of the page."""
    rules = set()
    for part in parts:
        match part:
            case {"kind": "pictures", "pictures": list(pictures)}:
                for placed in pictures:
                    gutters = (placed.abreast - 1) * arrange.GUTTER
                    width = f"calc((100% - {gutters:g}mm) * {round(placed.part, 3):g})"
                    rules.add(f".{_width(placed)} {{ width: {width}; }}")
            case {"kind": "code", "across": float(across)} | {"code": {"across": float(across)}}:
                rules.add(f".c-{round(across)} svg {{ width: {round(across)}mm; }}")
    return Markup("\n".join(sorted(rules)))


def page_text(document: Document) -> str:
    """The page as HTML.

    Args:
        document: What it says; how many pixels its pictures have is told at `arrange.parts`.
    """
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters |= {"data": _data, "lines": _lines, "cell": _cell, "width": _width}
    template = environment.from_string((FOLDER / "page.html").read_text(encoding="utf-8"))
    parts = arrange.parts(document)
    foot = arrange.clean(document.foot)
    return template.render(
        title=arrange.clean(document.title).replace("\n", " "),
        subtitle=arrange.clean(document.subtitle),
        foot=foot,
        foot_string=_css_string(foot),
        parts=parts,
        style=Markup((FOLDER / "page.css").read_text(encoding="utf-8")),
        rules=_rules(parts),
        fonts=FOLDER / "fonts",
    )


def write_page(path: Path, document: Document) -> None:
    """Write the sheet as one page that needs no other file.

    Args:
        path: Where it goes; ``.html``.
        document: What it says; how many pixels its pictures have is told at `arrange.parts`.

    Raises:
        CannotWrite: See `chaingen.files.whole_file`.
    """
    write_text(path, page_text(document))
