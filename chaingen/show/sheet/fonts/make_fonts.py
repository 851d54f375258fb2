"""Cuts Inter down to the letters that a sheet needs; see README.md. Needs fonttools and brotli."""

# mypy: disable-error-code="import-untyped"

import sys
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont

FAMILY = "Sheet Inter"
WEIGHTS = {"Regular": "regular", "SemiBold": "semibold"}
LETTERS = [
    (0x20, 0x7E),
    (0xA0, 0x17F),  # Latin, with the letters of Europe's languages
    (0x18F, 0x18F),
    (0x192, 0x192),
    (0x1CD, 0x1DC),
    (0x1E6, 0x1E7),
    (0x1FA, 0x21B),
    (0x259, 0x259),
    (0x2B9, 0x2DD),
    (0x300, 0x314),  # accents that combine
    (0x323, 0x328),
    (0x37E, 0x3CE),  # Greek
    (0x400, 0x45F),  # Cyrillic
    (0x490, 0x491),
    (0x1E80, 0x1E85),
    (0x1E9E, 0x1E9E),
    (0x1EA0, 0x1EF9),
    (0x2000, 0x200B),
    (0x2010, 0x2027),  # dashes, quotation marks
    (0x202F, 0x203A),
    (0x2044, 0x2044),
    (0x2070, 0x209C),  # raised and lowered figures
    (0x20A0, 0x20BF),  # currencies
    (0x2116, 0x2122),
    (0x2150, 0x215E),  # fractions
    (0x2190, 0x2199),  # arrows
    (0x2202, 0x2265),  # arithmetic
    (0x25A0, 0x25FF),
    (0x2713, 0x2717),
]
FEATURES = ["kern", "mark", "mkmk", "ccmp", "locl", "tnum"]
"""None that changes letters by their neighbours: Inter's `calt` makes an arrow of ->."""


def main(folder: Path) -> None:
    """Write both weights as TTF and WOFF2 beside this file.

    Args:
        folder: Where the npm package ``inter-ui`` lies.
    """
    here = Path(__file__).parent
    for style, name in WEIGHTS.items():
        font = TTFont(folder / "web" / f"Inter-{style}.woff2", recalcTimestamp=False)
        options = Options()
        options.layout_features = FEATURES
        options.hinting = False
        options.name_IDs = [0, 1, 2, 3, 4, 5, 6, 13, 14, 16, 17]
        options.notdef_outline = True
        subsetter = Subsetter(options)
        subsetter.populate(unicodes=[code for first, last in LETTERS for code in range(first, last + 1)])
        subsetter.subset(font)
        full = f"{FAMILY} {style}"
        names = {1: full, 3: full, 4: full, 6: full.replace(" ", ""), 16: FAMILY, 17: style}
        for record in font["name"].names:
            if record.nameID in names:
                record.string = names[record.nameID]
        for number in (16, 17):
            font["name"].setName(names[number], number, 3, 1, 0x409)
        font.flavor = None
        font.save(here / f"{name}.ttf")
        font.flavor = "woff2"
        font.save(here / f"{name}.woff2")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
