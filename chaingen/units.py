"""Lengths as people write them, to millimetres and back. Inside the program every length is a float in mm."""

import math
import re
import unicodedata
from fractions import Fraction

MM_PER_INCH = 25.4
"""Exact by definition of the international inch (1959)."""

_UNITS = {
    "mm": 1.0, "millimetre": 1.0, "millimetres": 1.0, "millimeter": 1.0, "millimeters": 1.0,
    "cm": 10.0, "centimetre": 10.0, "centimetres": 10.0, "centimeter": 10.0, "centimeters": 10.0,
    "ft": 12.0 * MM_PER_INCH, "foot": 12.0 * MM_PER_INCH, "feet": 12.0 * MM_PER_INCH,
    "m": 1000.0, "metre": 1000.0, "metres": 1000.0, "meter": 1000.0, "meters": 1000.0,
    "in": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH,
    '"': MM_PER_INCH, "″": MM_PER_INCH, "”": MM_PER_INCH,
}  # fmt: skip

LENGTHS = 'a length with its unit, such as "4 mm", "18 cm" or "7 1/4 in"'
"""What a length looks like, for messages."""


class UnreadableLength(ValueError):
    """A text that is not a length; the message says what would be."""


def parse_number(text: str) -> float:
    """A number as a decimal, a fraction or a mixed fraction: ``4``, ``0.5``, ``1/4``, ``7 1/4``, ``7-1/4``.

    Raises:
        UnreadableLength: It is none of these.
    """
    words = text.replace("-", " ").split() if not text.strip().startswith("-") else text.split()
    try:
        if len(words) == 1:
            return float(Fraction(words[0]))
        if len(words) == 2 and "/" in words[1] and words[0].isdigit():
            return float(int(words[0]) + Fraction(words[1]))
    except (ValueError, ZeroDivisionError, OverflowError):
        pass
    raise UnreadableLength(LENGTHS)


def _plain_fractions(text: str) -> str:
    """The text with fractions of one character spelt out: ``7¼`` becomes ``7 1/4``."""
    return "".join(
        " " + unicodedata.normalize("NFKC", c).replace("\N{FRACTION SLASH}", "/")
        if "VULGAR FRACTION" in unicodedata.name(c, "")
        else c
        for c in text
    )


def parse_length(text: str) -> float:
    """A length in mm.

    Args:
        text: A number or fraction with its unit: ``180 mm``, ``18 cm``, ``7 1/4 in``, ``7.25in``, ``3/8"``.

    Raises:
        UnreadableLength: There is no unit, an unknown one, or no number; the message says what is expected.
    """
    match = re.match(r"^\s*([-+\d.,/\s]+?)\s*([a-zA-Z\"″”]*)\.?\s*$", _plain_fractions(text))
    if match is None:
        raise UnreadableLength(LENGTHS)
    unit = match[2].lower()
    if not unit:
        raise UnreadableLength(LENGTHS)
    if unit not in _UNITS:
        raise UnreadableLength(f"{LENGTHS}; the unit {match[2]!r} is not known")
    if "," in match[1]:
        raise UnreadableLength(f"{LENGTHS}, with a point for decimals")
    value = parse_number(match[1]) * _UNITS[unit]
    if not math.isfinite(value):
        raise UnreadableLength(LENGTHS)
    return value


def format_mm(value: float, digits: int = 3) -> str:
    """A length for people: at most `digits` decimals, no trailing zeros, with the unit."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{'0' if text == '-0' else text} mm"
