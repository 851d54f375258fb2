"""A document made ready for paper: what the page and the PDF have in common, so that both come out alike.

Lengths are in mm on paper. The text is as wide as the paper less its side margins; the page does not know
which paper it will be printed on, so pictures are reckoned for the wider one. Texts are cleaned: control
characters go, and so do spaces at the ends.
"""

import re
import struct
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chaingen.show.sheet import code
from chaingen.show.sheet.document import (
    Block,
    Bullets,
    Code,
    Document,
    Figure,
    Heading,
    Instructions,
    Paragraph,
    Table,
)

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height [mm]: ISO 216 for A4; ANSI/ASME Y14.1, sheet A, for Letter."""

SIDE, TOP, FOOT = 18.0, 16.0, 20.0
"""Margins [mm]: left and right, above, below. Printers leave up to about 6 mm white (common practice)."""

GUTTER = 6.0
"""Between pictures that lie abreast [mm]."""

TALLEST = 150.0
"""No picture is printed higher than this [mm], so that it fits on a page with its heading and caption."""

WHOLE = 90.0
"""Tables up to this height [mm] are kept on one page."""

ROW = 5.5
"""Height that a line of a table takes on paper [mm]: a wide guess."""

FINEST = 200.0
"""Least pixels to the inch of printed width; coarser pictures look it (common practice: 200 to 300)."""

SHORT_STEP, FEW_STEPS = 180, 6
"""Instructions of up to this many letters lie three abreast where there are more than a few with a picture;
longer and fewer ones two."""

_INCH = 25.4
_JPEG_SIZES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Markers of a JPEG segment that tells the picture's size (ITU-T T.81, table B.1)."""


def text_width(paper: str) -> float:
    """How wide the text is [mm].

    Args:
        paper: ``A4`` or ``Letter``.
    """
    return PAPERS[paper][0] - 2.0 * SIDE


WIDEST = max(text_width(paper) for paper in PAPERS)
"""Width of the text on the wider paper [mm]."""


_UNIT = re.compile(r"(?<=\d) (?=(?:mm|cm|m|µm|g|kg|mg|N|MPa|GPa|W|h|min|s|%|°C|K|€|£)\b|[%€£])")
"""The space between a figure and its unit, at which no line should end."""


def _shown(letter: str) -> bool:
    code = ord(letter)
    hidden = unicodedata.category(letter) in {"Cc", "Cs"}
    return not hidden and code & 0xFFFE != 0xFFFE and not 0xFDD0 <= code <= 0xFDEF


def clean(text: str) -> str:
    """The text without what no reader can see and no file may hold.

    Args:
        text: Anything; its lines may be told apart by newlines.

    Returns:
        The same without control characters, lone halves of surrogate pairs, noncharacters (Unicode, section
        23.7) and spaces that do not show; newlines stay, figures stay with their units.
    """
    lines = text.replace("\r\n", "\n").replace("\t", " ").splitlines()
    shown = ("".join(filter(_shown, line)) for line in lines)
    return "\n".join(_UNIT.sub("\u00a0", re.sub(" +", " ", line).strip(" ")) for line in shown)


def pixels(path: Path) -> tuple[int, int]:
    """Width and height of a picture in pixels, read from its first bytes.

    Args:
        path: A PNG (ISO/IEC 15948, chunk IHDR) or JPEG file (ITU-T T.81, frame header).

    Raises:
        ValueError: It is neither.
    """
    data = path.read_bytes()
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        width, height = struct.unpack(">II", data[16:24])
        return int(width), int(height)
    at = 2
    while data[:2] == b"\xff\xd8" and at + 9 < len(data) and data[at] == 0xFF:
        if data[at + 1] == 0xFF:  # a fill byte before the marker
            at += 1
        elif data[at + 1] in _JPEG_SIZES:
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            return int(width), int(height)
        else:
            at += 2 + int(struct.unpack(">H", data[at + 2 : at + 4])[0])
    raise ValueError(f"{path} is neither a PNG nor a JPEG file")


@dataclass(frozen=True, slots=True)
class Placed:
    """A picture and how wide it is printed.

    Attributes:
        path: Its file.
        text: Its caption, or what it shows.
        part: Its width as a part of what is left of the text's width once gutters are taken off.
        abreast: How many places lie abreast.
        pixels: Its width and height in pixels.
    """

    path: Path
    text: str
    part: float
    abreast: int
    pixels: tuple[int, int]


def _place(path: Path, text: str, part: float, abreast: int) -> Placed:
    """A picture as wide as asked, or as its height allows."""
    across, down = pixels(path)
    room = WIDEST - (abreast - 1) * GUTTER
    part = min(part, TALLEST * across / down / room)
    fine = across / (part * room / _INCH)
    assert fine >= FINEST, f"{path} has {across} pixels for {part * room:.0f} mm: {fine:.0f} to the inch"
    return Placed(path, clean(text), part, abreast, (across, down))


def _rows(document: Document) -> Iterator[Block | tuple[Figure, ...]]:
    """The blocks in order; pictures lie abreast as long as together they are no wider than the text."""
    row: list[Figure] = []
    for block in document.blocks:
        figure = block if isinstance(block, Figure) else None
        if row and (figure is None or sum(one.width for one in row) + figure.width > 1.0 + 1e-9):
            yield tuple(row)
            row = []
        if figure is None:
            yield block
        else:
            assert 0.0 < figure.width <= 1.0, f"a picture is {figure.width} of the text's width"
            row.append(figure)
    if row:
        yield tuple(row)


def _columns(block: Instructions) -> int:
    """How many lie abreast on paper: three short ones, two long or few ones, one where none has a picture."""
    pictured = [line for line in block.lines if line.picture is not None]
    if not pictured:
        return 1
    short = all(len(line.text) <= SHORT_STEP for line in pictured)
    return 3 if short and len(pictured) > FEW_STEPS else 2


LETTER_WIDTH, CELL_PADDING = 1.9, 4.2
"""What a letter of a table takes on paper, and what a column has besides [mm]: wide guesses, for 8.5 pt."""

LONG_WORD = 24
"""Words of a table of more letters may be broken anywhere; shorter ones only where room is wanting."""

UNBROKEN = 16
"""Cells of numbers up to this many letters stay in one line."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A table whose texts are clean.

    Attributes:
        caption: What it is about.
        head: Heads of its columns.
        rows: Its rows, each as many cells.
        numbers: Places of the columns set flush right.
        firm: Those of them in which no word is broken.
        notes: Notes below it.
        longest: Words of more letters than this may be broken, else the table is wider than the paper.
        narrow: Whether it takes no more than about half of the text's width.
        short: Whether it is surely kept on one page.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]
    firm: tuple[int, ...]
    notes: tuple[str, ...]
    longest: int
    narrow: bool
    short: bool


def _unbroken(cell: str) -> str:
    lines = cell.split("\n")
    return "\n".join(line.replace(" ", "\u00a0") if len(line) <= UNBROKEN else line for line in lines)


def _grid(table: Table) -> Grid:
    """A table made ready: clean, and how far words must be broken for it to fit either paper."""
    assert table.head, "a table has columns"
    assert all(len(row) == len(table.head) for row in table.rows), (
        f"uneven rows in the table {table.caption!r}"
    )
    head = tuple(clean(cell) for cell in table.head)
    rows = tuple(
        tuple(_unbroken(clean(cell)) if at in table.numbers else clean(cell) for at, cell in enumerate(row))
        for row in table.rows
    )
    columns = list(zip(head, *rows, strict=True))
    words = [
        max((len(word) for cell in column for word in re.split("[ \n]", cell)), default=1)
        for column in columns
    ]
    lines = [
        max((len(line) for cell in column for line in cell.split("\n")), default=1) for column in columns
    ]
    room = (min(text_width(paper) for paper in PAPERS) - CELL_PADDING * len(head)) / LETTER_WIDTH
    firm = tuple(at for at in table.numbers if words[at] <= UNBROKEN)
    if sum(words[at] for at in firm) > 0.7 * room:
        firm = ()
    longest = LONG_WORD
    while longest > 1 and sum(w if at in firm else min(w, longest) for at, w in enumerate(words)) > room:
        longest -= 1
    notes = tuple(clean(note) for note in table.notes)
    narrow = sum(lines) < 0.45 * room
    short = (len(rows) + 2) * ROW <= WHOLE
    return Grid(clean(table.caption), head, rows, table.numbers, firm, notes, longest, narrow, short)


def _part(block: Block | tuple[Figure, ...]) -> dict[str, Any]:
    match block:
        case Heading():
            return {"kind": "heading", "text": clean(block.text)}
        case Paragraph():
            look = "strong" if block.strong else "small" if block.small else "plain"
            return {"kind": "paragraph", "text": clean(block.text), "look": look}
        case Table():
            return {"kind": "table", "grid": _grid(block)}
        case Instructions():
            abreast = _columns(block)
            steps = [
                {
                    "number": line.number,
                    "text": clean(line.text),
                    "picture": line.picture and _place(line.picture, line.alt, 1.0 / abreast, abreast),
                }
                for line in block.lines
            ]
            return {"kind": "steps", "abreast": abreast, "steps": steps}
        case Bullets():
            return {"kind": "bullets", "items": [clean(item) for item in block.items]}
        case Code():
            caption, across = clean(block.caption), code.across(block.text)
            return {"kind": "code", "drawing": code.drawing(block.text), "caption": caption, "across": across}
        case _:
            assert isinstance(block, tuple), f"no such block: {block}"
            places = [_place(figure.path, figure.caption, figure.width, len(block)) for figure in block]
            return {"kind": "pictures", "pictures": places}


def parts(document: Document) -> list[dict[str, Any]]:
    """The blocks of a document ready for a template: each with its ``kind`` and its clean texts.

    Args:
        document: Pictures are as wide as `Figure.width` of the text's width, at most 179.9 mm, and no higher
        than
            `TALLEST`; they have at least `FINEST` pixels to the inch there: 1,420 pixels for the whole width,
            690 for half of it or for instructions two abreast, 450 for a third or for three abreast.

    Returns:
        Parts in their order: ``heading``, ``paragraph``, ``table``, ``pictures`` (those that lie abreast),
        ``steps``, ``bullets``, ``code``.
    """
    return [_part(block) for block in _rows(document)]
