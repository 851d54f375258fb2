"""Wire gauges.

American wire gauge (AWG) follows the formula of ASTM B258; the imperial standard wire gauge (SWG) is the
table of BS 3737:1964. A bare "18 gauge" means 1.024 mm to one dealer and 1.219 mm to another, so it is
refused with both readings.

Gauges thicker than 1 count noughts: 1/0, 2/0, 3/0, 4/0. Their numbers here go on downwards: 0, -1, -2, -3.
"""

import re

from chaingen.units import MM_PER_INCH, UnreadableLength, format_mm, parse_length

WIRES = 'a wire such as "18 AWG", "18 SWG", "1.2 mm" or "0.048 in"'
"""What a wire looks like, for messages."""

_SWG_INCHES = {
    8: 0.160, 9: 0.144, 10: 0.128, 11: 0.116, 12: 0.104, 13: 0.092, 14: 0.080, 15: 0.072, 16: 0.064,
    17: 0.056, 18: 0.048, 19: 0.040, 20: 0.036, 21: 0.032, 22: 0.028, 23: 0.024, 24: 0.022, 25: 0.020,
    26: 0.018, 27: 0.0164, 28: 0.0148, 29: 0.0136, 30: 0.0124,
}  # fmt: skip
"""BS 3737:1964; numbers 9 and 11 from memory."""

AWG_NUMBERS = range(-3, 41)
"""Gauge numbers that are offered, 4/0 to 40; wire for rings is seldom outside them."""

_SYSTEM = r"(awg|swg)"
_NUMBER = r"#?\s*(0+|[1-9]\d*(?:/0)?)"
_GAUGE = r"(?:(?:gauge|gage|ga|g)\.?)"
_NAMED = re.compile(rf"{_NUMBER}\s*{_GAUGE}?\s*\(?{_SYSTEM}\)?|{_SYSTEM}\s*{_NUMBER}", re.IGNORECASE)
_BARE = re.compile(rf"{_NUMBER}\s*{_GAUGE}?|{_GAUGE}\s*{_NUMBER}", re.IGNORECASE)


def awg(number: int) -> float:
    """Diameter of an American wire gauge [mm]: 0.005 in * 92^((36 - n)/39), ASTM B258 before its rounding."""
    return float(0.005 * 92.0 ** ((36 - number) / 39.0) * MM_PER_INCH)


def awg_table() -> dict[int, float]:
    """AWG numbers and their diameters [mm], thickest first."""
    return {number: awg(number) for number in AWG_NUMBERS}


def swg_table() -> dict[int, float]:
    """SWG numbers and their diameters [mm], thickest first."""
    return {number: inches * MM_PER_INCH for number, inches in _SWG_INCHES.items()}


_TABLES = {"AWG": awg_table, "SWG": swg_table}


def _number(text: str) -> int:
    """A gauge number as people write it: ``18``, or ``4/0`` and ``0000`` which are -3."""
    if not text.strip("0"):
        return 1 - len(text)
    return 1 - int(text.removesuffix("/0")) if text.endswith("/0") else int(text)


def _name(number: int) -> str:
    """The inverse of `_number`."""
    return f"{1 - number}/0" if number < 1 else str(number)


def _from_table(system: str, number: int) -> float:
    table = _TABLES[system]()
    if number not in table:
        ends = f"{_name(min(table))} to {_name(max(table))}"
        raise UnreadableLength(f'{system} from {ends}, or the diameter with its unit, such as "1.2 mm"')
    return table[number]


def parse_wire(text: str) -> float:
    """A wire diameter in mm.

    Args:
        text: A gauge with its system (``18 AWG``, ``SWG 18``, ``2/0 AWG``) or a diameter with its unit
            (``1.2 mm``, ``0.048 in``).

    Raises:
        UnreadableLength: It is neither, the number is not in the table, or the gauge's system is not said;
            the message then gives both readings.
    """
    words = text.strip()
    if len(words) > 40:
        raise UnreadableLength(WIRES)
    if named := _NAMED.fullmatch(words):
        return _from_table((named[2] or named[3]).upper(), _number(named[1] or named[4]))
    if bare := _BARE.fullmatch(words):
        number = _number(bare[1] or bare[2])
        readings = [
            f'"{_name(number)} {system}" ({format_mm(table()[number])})'
            for system, table in _TABLES.items()
            if number in table()
        ]
        if readings:
            raise UnreadableLength(f"the gauge's system too: {' or '.join(readings)}")
        raise UnreadableLength(WIRES)
    try:
        return parse_length(words)
    except UnreadableLength:
        raise UnreadableLength(WIRES) from None


def gauge_name(diameter: float) -> str:
    """The gauge nearest to a diameter, such as ``18 AWG``, or an empty text when none is within 0.003 mm.

    Args:
        diameter: Wire diameter [mm].
    """
    off, name = min(
        (abs(size - diameter), f"{_name(number)} {system}")
        for system, table in _TABLES.items()
        for number, size in table().items()
    )
    return name if off <= 0.003 else ""


def describe_wire(diameter: float) -> str:
    """A wire for people: ``1.024 mm (18 AWG)``."""
    name = gauge_name(diameter)
    return f"{format_mm(diameter)} ({name})" if name else format_mm(diameter)
