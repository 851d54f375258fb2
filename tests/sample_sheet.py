"""A rich sheet, invented for tests: long tables and words, pictures made here, texts that try to be code."""

import struct
import zlib

import numpy as np

from chaingen.show.sheet.document import (
    Bullets,
    Code,
    Document,
    Figure,
    Heading,
    Instruction,
    Instructions,
    Paragraph,
    Table,
)

LONG_TITLE = (
    "Bracelet of the harbour workshop, for a wrist of 165 mm, in rings of 1.0 mm wire that were wound, cut "
    "and sorted by hand on a rainy week, with a toggle of the same wire and a tag that says so"
)
LONG_TITLE += "," + " and more" * 10
LONG_TITLE = LONG_TITLE[:200]
CYRILLIC_TITLE = "Браслет из колец для мастерской у моря"  # noqa: RUF001
SCRIPT_TITLE = "<script>alert('rings')</script> & \"quoted\" </title></style>"
UNUSUAL = "é ß ½ € Ø × µ ≤ ° ′ – “quoted” ł ő ğ ñ Å æ œ Ж ω"  # noqa: RUF001
TYPED = (
    r"#import #let $x$ @x \ \n // /* */ [brackets] {braces} *stars* _lines_ `ticks` ~ -- --- ... "
    r"<label> & &amp; <b> = + - {{ jinja }} {% raw %} -> 3x4"
)
DESIGN = "\n".join(
    [
        "# Harbour bracelet",
        "[rings.link]",
        'wire = "1.0 mm"',
        'inside = "4.2 mm"',
        "",
        "[piece]",
        'length = "180 mm"',
    ]
    * 6
)


def write_png(path, pixels):
    """Writes 8-bit RGB pixels, shape (h, w, 3), as PNG by its standard alone (ISO/IEC 15948)."""
    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )
    return path


def rings_picture(path, width, height, count):
    """A row of `count` overlapping rings on white."""
    y, x = np.mgrid[0:height, 0:width]
    pixels = np.full((height, width, 3), 255, dtype=np.uint8)
    radius = 0.3 * height
    for k in range(count):
        centre = width * (k + 1) / (count + 1)
        away = np.abs(np.hypot(x - centre, y - height / 2) - radius)
        wire = 0.06 * height
        inside = away < wire
        shade = (90 + 130 * np.sqrt(np.clip(1 - (away / wire) ** 2, 0, 1))).astype(np.uint8)
        pixels[inside] = shade[inside][:, None]
    return write_png(path, pixels)


def sample(folder, *, title="Harbour bracelet", paper="A4"):
    """The sample for one paper; its pictures are written into `folder`."""
    wide = rings_picture(folder / "wide.png", 1600, 700, 5)
    half = [rings_picture(folder / f"half{k}.png", 800, 560, k + 2) for k in range(2)]
    steps = []
    for k in range(1, 13):
        repeats = k in (5, 12)
        picture = None if repeats else rings_picture(folder / f"step{k}.png", 700, 500, 1 + k % 5)
        text = (
            f"Repeat lines 1 to {k - 1} until {10 * k} rings hang in the row."
            if repeats
            else f"Open ring {k}, pass it through the two rings before it, and close it until its ends meet. "
            + " ".join(["Turn the work over."] * (k % 3))
        )
        alt = "" if repeats else f"Ring {k} passes through the two before it."
        steps.append(Instruction(k, text, picture, alt))
    metals = ("silver 935", "copper", "brass", "jewellers' bronze", "fine silver")
    order = tuple(
        (
            f"{k + 1}",
            metals[k % 5],
            f"{0.8 + 0.1 * (k % 7):.1f} mm",
            f"{3.0 + 0.25 * (k % 9):.2f} mm",
            f"{10 + 7 * k}",
            f"{0.123 * (k + 1):.2f} g",
            "coil on the mandrel of 4 mm\nsaw, deburr, tumble" if k % 4 == 0 else "",
        )
        for k in range(64)
    )
    blocks = (
        Paragraph("It can be made: the smallest gap is 0.12 mm, and every ring closes.", strong=True),
        Paragraph(
            "This sheet tells what to buy, what to wind and cut, what each part costs, and how the rings "
            "go together. Numbers are for rings that are closed and round. "
            "What is not given is told as “not given”."
        ),
        Figure(wide, "The piece lying flat, seen from above.", 1.0),
        Figure(half[0], "Its clasp, closed.", 0.5),
        Figure(half[1], "Its clasp, opened by a quarter of a turn.", 0.5),
        Heading("What to have"),
        Table(
            "Wire to buy",
            ("Metal", "Wire", "Length", "Weight", "Price"),
            (
                ("silver 935", "1.0 mm", "4.32 m", "35.6 g", "€ 61.20"),
                ("copper", "0.8 mm", "1.10 m", "4.9 g", "not given"),
            ),
            numbers=(1, 2, 3, 4),
            notes=("Lengths are with 5 % for waste, which is an assumption.", UNUSUAL),
        ),
        Table("Short", ("What", "How many"), (("rings", "133"), ("toggle", "1")), numbers=(1,)),
        Heading("Order of work"),
        Table(
            "Rings by lot, every lot on a line of its own",
            ("Lot", "Metal", "Wire", "Inside", "Rings", "Weight", "How"),
            order,
            numbers=(0, 2, 3, 4, 5),
            notes=("A note below a long table.",),
        ),
        Heading("Things that are typed"),
        Paragraph(TYPED),
        Table(
            "Long words, long cells, many columns",
            (
                "Name",
                "Unbreakable",
                "Explanation",
                "A",
                "B",
                "C",
                "Donaudampfschifffahrtsgesellschaft",
                TYPED[:18],
            ),
            (
                (
                    "x" * 70,
                    "Rechtsschutzversicherungsgesellschaften",
                    "long words " * 20,
                    "1.00",
                    "2.00",
                    "3.00",
                    "",
                    "#x",
                ),
                ("short", "W" * 40, TYPED, "10.25", "-2.50", "1 234 567.25 €", "two\nlines", "$"),
                ("@a", "=1+1", "", "", "", "", "", ""),
            ),
            numbers=(3, 4, 5),
        ),
        Paragraph("A note in small print, " + "w" * 180 + " with a word of 180 letters.", small=True),
        Heading("Instructions"),
        Instructions(tuple(steps)),
        Heading("Cautions"),
        Bullets(
            (
                "Wear eye protection when you cut or saw wire; follow local rules and your supplier's.",
                "Do not heat unknown metal: zinc fumes make ill. " * 3,
                TYPED,
            )
        ),
        Heading("The design"),
        Code(DESIGN, "The design file of this piece: read it with a telephone, save it, build it again."),
    )
    subtitle = f"133 rings, 180 mm, 28.4 g · {UNUSUAL}"
    return Document(title, subtitle, blocks, paper, "Harbour workshop · sheet 7 · see the cautions")
