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
from itertools import groupby
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

BESIDE = 10.0
"""Between a table and the code beside it [mm]."""

FEW_COLUMNS = 2
"""A table of no more columns has room beside the largest code."""

TALLEST = 100.0
"""No picture is printed higher than this [mm]: on the first page there is room for the verdict above it and
the piece in a few lines, with the code beside them, below."""

WHOLE = 90.0
"""Tables up to this height [mm] are kept on one page."""

ROW = 5.5
"""Height that a line of a table takes on paper [mm]: a wide guess."""

FINEST = 200.0
"""Least pixels to the inch of printed width; coarser pictures look it (common practice: 200 to 300)."""

SHORT_STEP = 260
"""Instructions of up to this many letters lie three abreast; longer ones two."""

SHORT_REPEAT, FEW_REPEATS = 90, 2
"""Lines without a picture of up to this many letters, no more than a few in a row, go below the step before
them, so that they do not break a row of pictures."""

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
NARROWEST = min(text_width(paper) for paper in PAPERS)
"""Width of the text on the wider and on the narrower paper [mm]."""


_UNIT = re.compile(
    r"(?<=\d) (?=(?:mm|cm|m|µm|in|ft|AWG|SWG|g|kg|mg|N|lbf|MPa|GPa|W|h|min|s|%|°C|K|€|£)\b|[%€£])"
)
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
    """How many lie abreast on paper: three short ones, two long ones, one where none has a picture."""
    pictured = [line for line in block.lines if line.picture is not None]
    if not pictured:
        return 1
    short = all(len(line.text) <= SHORT_STEP for line in pictured)
    # Four fill two rows of two.
    return 3 if short and (len(pictured) == 3 or len(pictured) > 4) else 2


def _steps(block: Instructions) -> dict[str, Any]:
    """Instructions with their pictures; short lines that repeat go with the step they follow."""
    abreast = _columns(block)
    steps: list[dict[str, Any]] = []
    for has_picture, group in groupby(block.lines, key=lambda line: line.picture is not None):
        lines = list(group)
        told: list[dict[str, Any]] = [
            {
                "number": line.number,
                "text": clean(line.text),
                "picture": line.picture and _place(line.picture, line.alt, 1.0 / abreast, abreast),
                "after": [],
            }
            for line in lines
        ]
        few = len(lines) <= FEW_REPEATS and all(len(line.text) <= SHORT_REPEAT for line in lines)
        if steps and not has_picture and few:
            steps[-1]["after"] = told
        else:
            steps += told
    return {"kind": "steps", "abreast": abreast, "steps": steps}


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
        short: Whether it is surely kept on one page.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]
    firm: tuple[int, ...]
    notes: tuple[str, ...]
    longest: int
    short: bool


def _unbroken(cell: str) -> str:
    lines = cell.split("\n")
    return "\n".join(line.replace(" ", "\u00a0") if len(line) <= UNBROKEN else line for line in lines)


def _letter(letter: str) -> float:
    """About how wide a letter of a table is [mm], at 8.5 pt."""
    if letter in " \u00a0.,:;'()/|·ijlt":
        return 1.0
    return 2.7 if letter in "mMwW%@" else 2.1 if letter.isupper() else 1.9


def _width(text: str) -> float:
    """About how wide the longest line of a text is [mm]."""
    return max((sum(map(_letter, line)) for line in text.split("\n")), default=0.0)


def _packed(cell: str, limit: int) -> str:
    """A cell in no more than so many lines: the first ones are joined."""
    lines = cell.split("\n")
    first = max(1, len(lines) - limit + 1)
    kept = (line.replace(" ", "\u00a0") for line in lines[:first])
    return "\n".join([" · ".join(kept) if first > 1 else lines[0], *lines[first:]])


def _joined(
    head: tuple[str, ...], rows: tuple[tuple[str, ...], ...], numbers: tuple[int, ...], room: float
) -> tuple[tuple[str, ...], ...]:
    """The rows with the lines of their numbers joined, as far as there is room [mm] for that."""
    room -= CELL_PADDING * len(head)
    # A head may take two lines or three, and a word of it never less than its width.
    least = [max(_width(cell) / 2.5, *map(_width, cell.split(" "))) for cell in head]
    most = max((row[at].count("\n") + 1 for row in rows for at in numbers), default=1)
    for limit in range(1, most):
        packed = tuple(
            tuple(_packed(cell, limit) if at in numbers else cell for at, cell in enumerate(row))
            for row in rows
        )
        columns = zip(*packed, strict=True)
        wide = [max(low, *map(_width, cells)) for low, cells in zip(least, columns, strict=True)]
        # A long text may go on in a second line.
        if sum(one if at in numbers else min(one, room / 2.0) for at, one in enumerate(wide)) <= room:
            return packed
    return rows


def _grid(table: Table, room: float = NARROWEST) -> Grid:
    """A table made ready: clean, and how far words must be broken for it to fit the room [mm]."""
    assert table.head, "a table has columns"
    assert all(len(row) == len(table.head) for row in table.rows), (
        f"uneven rows in the table {table.caption!r}"
    )
    head = tuple(clean(cell) for cell in table.head)
    rows = tuple(
        tuple(_unbroken(clean(cell)) if at in table.numbers else clean(cell) for at, cell in enumerate(row))
        for row in table.rows
    )
    rows = _joined(head, rows, table.numbers, room)
    columns = list(zip(head, *rows, strict=True))
    words = [
        max((len(word) for cell in column for word in re.split("[ \n]", cell)), default=1)
        for column in columns
    ]
    letters = (room - CELL_PADDING * len(head)) / LETTER_WIDTH
    firm = tuple(at for at in table.numbers if words[at] <= UNBROKEN)
    if sum(words[at] for at in firm) > 0.7 * letters:
        firm = ()
    longest = LONG_WORD
    while longest > 1 and sum(w if at in firm else min(w, longest) for at, w in enumerate(words)) > letters:
        longest -= 1
    notes = tuple(clean(note) for note in table.notes)
    short = (len(rows) + 2) * ROW <= WHOLE
    return Grid(clean(table.caption), head, rows, table.numbers, firm, notes, longest, short)


def _part(block: Block | tuple[Figure, ...]) -> dict[str, Any]:
    match block:
        case Heading():
            return {"kind": "heading", "text": clean(block.text)}
        case Paragraph():
            look = "strong" if block.strong else "small" if block.small else "plain"
            return {"kind": "paragraph", "text": clean(block.text), "look": look}
        case Table():
            return {"kind": "table", "grid": _grid(block), "code": None}
        case Instructions():
            return _steps(block)
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
            than `TALLEST`; they have at least `FINEST` pixels to the inch there: 1,420 pixels for the whole
            width, 690 for half of it or for instructions two abreast, 450 for a third or for three abreast.

    Returns:
        Parts in their order: ``heading``, ``paragraph``, ``table``, ``pictures`` (those that lie abreast),
        ``steps``, ``bullets``, ``code``; a table has the code that follows it beside it where there is room.
    """
    made: list[dict[str, Any]] = []
    blocks = list(_rows(document))
    for at, block in enumerate(blocks):
        part = _part(block)
        before = blocks[at - 1] if at else None
        if isinstance(block, Code) and isinstance(before, Table) and len(before.head) <= FEW_COLUMNS:
            room = NARROWEST - BESIDE - float(part["across"])
            grid = _grid(before, room)
            if grid.short:
                made[-1] |= {"grid": grid, "code": part}
                continue
        made.append(part)
    return made
