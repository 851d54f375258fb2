"""Tempers of wire: stiffness and yield strength, each with its source.

All are typical figures of a temper, not of a spool: wire of one name differs from mill to mill, and it
hardens as it is drawn and wound. A maker's own figures go before these. Where a source gives a range its
middle stands here; where it gives tensile strength alone, a part of that is taken for the yield strength, and
the source's text says so.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Temper:
    """One temper of a metal's wire.

    Attributes:
        name: Its name in the trade, such as ``half hard``; for titanium, whose wire comes annealed,
            its grade.
        youngs_modulus: Young's modulus [GPa].
        yield_strength: Yield strength [MPa].
        source: Where these come from, and what is taken for granted.
    """

    name: str
    youngs_modulus: float
    yield_strength: float
    source: str


# The first of each metal is the one that rings are usually wound of (common practice).
_TEMPERS = {
    "sterling silver": (
        Temper("half hard", 76.0, 300.0, "memory"),
        Temper("annealed", 76.0, 124.0, "alloy data sheet; modulus from memory"),
    ),
    "copper": (Temper("annealed", 117.0, 70.0, "memory"),),
    "brass": (
        Temper("half hard", 110.0, 448.0, "mill sheet C260, wire"),
        Temper("annealed", 110.0, 134.0, "mill sheet C260, the middle of 110 to 158 MPa"),
    ),
    "red brass": (Temper("hard", 117.0, 400.0, "mill sheet C220, of strip"),),
    "phosphor bronze": (
        Temper(
            "half hard", 110.0, 0.8 * 610.0,
            "C510, grades of ASTM B159: tensile strength 550 to 670 MPa, its middle; "
            "yield taken as 0.8 of it, an assumption",
        ),
    ),
    "stainless steel 302": (
        Temper(
            "spring", 193.0, 0.75 * 2000.0,
            "table of ASTM A313: tensile strength of 1.0 mm wire 1900 to 2100 MPa, its middle; "
            "yield taken as 0.75 of it, an assumption; modulus from memory",
        ),
    ),
    "titanium": (
        Temper("grade 2", 103.0, 275.0, "family of ASTM B863, the least yield of annealed wire"),
        Temper("grade 1", 103.0, 170.0, "family of ASTM B863, the least yield of annealed wire"),
    ),
    "aluminium 6061": (Temper("T6", 68.9, 276.0, "handbook, 6061-T6"),),
}  # fmt: skip
"""By the metal's name in `stock.metals`."""

_SAME = {"soft": "annealed", "dead soft": "annealed", "full hard": "hard", "spring hard": "spring"}
"""Other names of tempers."""


def tempers_of(metal: str) -> tuple[Temper, ...]:
    """The tempers with data of a metal, the usual one for winding rings first; none where nothing is known.

    Args:
        metal: The metal's name in `stock.metals`; for a coloured wire the name of the metal beneath.
    """
    return _TEMPERS.get(metal, ())


def spelt_temper(name: str) -> str:
    """A temper's name as the table has it, whatever its capitals and hyphens: ``Dead-soft`` is annealed."""
    words = " ".join(name.lower().replace("-", " ").split())
    known = {temper.lower(): temper for temper in temper_names()}
    return known.get(_SAME.get(words, words), words)


def find_temper(metal: str, name: str) -> Temper | None:
    """A temper of a metal by its name or another name of it; None where there is no data of it."""
    spelt = spelt_temper(name)
    return next((temper for temper in tempers_of(metal) if temper.name == spelt), None)


def temper_names() -> tuple[str, ...]:
    """The names of all tempers that any metal has data of, each once."""
    return tuple(dict.fromkeys(temper.name for tempers in _TEMPERS.values() for temper in tempers))
