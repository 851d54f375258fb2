"""What a sheet is made of: blocks that every way of writing it knows, and none of its words."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of a section.

    Attributes:
        text: Its words.
    """

    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph.

    Attributes:
        text: Its words.
        strong: Whether it stands out, as the verdict does.
        small: Whether it is a note in small print.
    """

    text: str
    strong: bool = False
    small: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table.

    Attributes:
        caption: What it is about.
        head: Heads of its columns.
        rows: Its rows, each as many cells; a cell may have several lines, told apart by newlines.
        numbers: Places of the columns that hold numbers, set flush right.
        notes: Notes below it, in small print.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture.

    Attributes:
        path: A PNG or JPEG file.
        caption: What it shows; also its text for those who cannot see it.
        width: How wide it is printed, as a part of the text's width.
    """

    path: Path
    caption: str
    width: float = 1.0


@dataclass(frozen=True, slots=True)
class Instruction:
    """One line of the instructions.

    Attributes:
        number: Its number.
        text: What to do.
        picture: A picture of it; None for a line that repeats others.
        alt: What the picture shows, for those who cannot see it.
    """

    number: int
    text: str
    picture: Path | None = None
    alt: str = ""


@dataclass(frozen=True, slots=True)
class Instructions:
    """Numbered instructions, with pictures, two or three abreast where they have room."""

    lines: tuple[Instruction, ...]


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of short texts, such as cautions."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Code:
    """A text as a QR code.

    Attributes:
        text: The text.
        caption: What it holds.
    """

    text: str
    caption: str


Block = Heading | Paragraph | Table | Figure | Instructions | Bullets | Code


@dataclass(frozen=True, slots=True)
class Document:
    """A sheet.

    Attributes:
        title: Its title.
        subtitle: A line below it.
        blocks: What follows.
        paper: ``A4`` or ``Letter``: what it is made for first; the page prints on either.
        foot: A short line at the foot of every page.
    """

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    paper: str = "A4"
    foot: str = ""
