"""Mandrels: what coils are wound on, as sets that makers have and as single diameters.

Needle sizes are those on which trade charts agree. Rods of inch size are exact fractions. Which sizes a set
holds is common practice; no maker has all, who names their own diameters instead.
"""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from chaingen.units import MM_PER_INCH, UnreadableLength, format_mm, parse_length

MANDREL_LIMITS = 0.2, 500.0
"""Diameters that are accepted [mm]."""

SAME_MANDREL = 0.005
"""Mandrels that differ by less are of one diameter [mm]."""

_NEEDLES = {
    "0": 2.0, "1": 2.25, "1.5": 2.5, "2": 2.75, "2.5": 3.0, "3": 3.25, "4": 3.5, "5": 3.75, "6": 4.0,
    "7": 4.5, "8": 5.0, "9": 5.5, "10": 6.0, "10.5": 6.5, "11": 8.0, "13": 9.0, "15": 10.0,
}  # fmt: skip
"""Knitting needles, US size to diameter [mm]; trade charts."""


@dataclass(frozen=True, slots=True)
class Mandrel:
    """Something round to wind a coil on.

    Attributes:
        name: What it is called, with its diameter in mm; of inch sizes the fraction too.
        diameter: Its diameter [mm].
    """

    name: str
    diameter: float


class UnreadableMandrel(UnreadableLength):
    """A text that names neither a set of mandrels nor a diameter; the message says what would be accepted.

    Attributes:
        text: The text.
    """

    def __init__(self, text: str, message: str) -> None:
        self.text = text
        super().__init__(message)


def _needles() -> tuple[Mandrel, ...]:
    return tuple(
        Mandrel(f"{format_mm(diameter)} knitting needle (US {us})", diameter)
        for us, diameter in _NEEDLES.items()
    )


def _metric_rods() -> tuple[Mandrel, ...]:
    return tuple(Mandrel(f"{format_mm(k / 2)} rod", k / 2) for k in range(4, 21))


def _inch_rods() -> tuple[Mandrel, ...]:
    sizes = [(Fraction(k, 64), float(k * MM_PER_INCH / 64)) for k in range(4, 33)]
    return tuple(Mandrel(f"{part} in rod ({format_mm(mm)})", mm) for part, mm in sizes)


def _drill_blanks() -> tuple[Mandrel, ...]:
    return tuple(Mandrel(f"{format_mm(k / 10)} drill blank", k / 10) for k in range(10, 101))


_SETS = {
    "knitting needles": _needles(),
    "metric rods": _metric_rods(),
    "inch rods": _inch_rods(),
    "drill blanks": _drill_blanks(),
}
"""Metric rods go from 2 to 10 mm by a half, rods of inch size from 1/16 to 1/2 in by 1/64, metric drill
blanks from 1 to 10 mm by a tenth."""


def mandrel_sets() -> dict[str, tuple[Mandrel, ...]]:
    """Sets of mandrels by name, each from the thinnest to the thickest."""
    return dict(_SETS)


def _accepted() -> str:
    names = ", ".join(_SETS)
    return f'a set of mandrels ({names}) or a diameter with its unit, such as "3.25 mm" or "1/4 in"'


def read_mandrel(text: str) -> tuple[Mandrel, ...]:
    """The mandrels that one text of a maker names: all of a set, or the one of a diameter.

    Raises:
        UnreadableMandrel: It is neither, or a diameter beyond `MANDREL_LIMITS`.
    """
    words = " ".join(text.split())
    spelt = words.lower()
    for name, mandrels in _SETS.items():
        # One needle of a set stands for its set too.
        if spelt in (name, name.removesuffix("s")):
            return mandrels
    try:
        diameter = parse_length(words)
    except UnreadableLength:
        close = difflib.get_close_matches(spelt[:80], _SETS, n=1, cutoff=0.5)
        parts = [name for name in _SETS if set(spelt.split()) & set(name.split())]
        near = (close or parts or [""])[0]
        meant = f"; did you mean {near}?" if near else ""
        raise UnreadableMandrel(text, f"{_accepted()}{meant}") from None
    low, high = MANDREL_LIMITS
    if not low <= diameter <= high:
        raise UnreadableMandrel(text, f"a diameter of a mandrel from {format_mm(low)} to {format_mm(high)}")
    name = f"{format_mm(diameter)} mandrel"
    if not spelt.endswith(("mm", "millimetre", "millimetres", "millimeter", "millimeters")):
        name = f"{words} mandrel ({format_mm(diameter)})"
    return (Mandrel(name, diameter),)


def read_mandrels(texts: Iterable[str]) -> tuple[Mandrel, ...]:
    """The mandrels that a maker's texts name, in their order, each once.

    Args:
        texts: Names of sets and diameters with their unit: ``knitting needles``, ``3.25 mm``, ``1/4 in``.

    Raises:
        UnreadableMandrel: One of them cannot be read; it carries that text.
    """
    return tuple(dict.fromkeys(mandrel for text in texts for mandrel in read_mandrel(text)))
