"""Lengths, wires, weights, pulls, money as a sheet says them: metric, inch, or both on two lines of a cell.

Inches are decimals; where a 64th of an inch, cut down to its lowest terms, lies within 0.0005 in it follows,
for one that is further off would be read as the size itself. A gauge never stands without its millimetres,
for gauges are of several systems and mean little by themselves.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from chaingen.design.bench import Units
from chaingen.stock.gauges import gauge_name
from chaingen.units import MM_PER_INCH, format_mm

NOT_GIVEN = "not given"
"""What stands where nobody said anything."""

SIXTY_FOURTHS, NEAR = 64, 0.0005
"""Fractions are of so many parts of an inch, and told where they are so near [in]."""

LONG, FOOT = 1000.0, 12.0 * MM_PER_INCH
"""Lengths of wire are told in metres from here on [mm]; a foot [mm]."""

NEWTONS_PER_KGF = 9.80665
"""Standard gravity: the pull of a kilogram that hangs [N]; by definition."""

NEWTONS_PER_LBF = 0.45359237 * NEWTONS_PER_KGF
"""The same of a pound; by definition of the international pound (1959)."""

LEAST_MM, LEAST_INCH = 0.001, 0.0001
"""The least that is told of gaps [mm] and [in]."""

_QUOTED_OR_MM = re.compile(r"""(?<!\w)(?:'[^'\n]*'|"[^"\n]*")(?!\w)|(?<![\w.,])(-?[\d,]*\.?\d+) mm\b""")
"""A name in quotes, which stays as it is, or millimetres in a sentence."""


def _plain(value: float, digits: int) -> str:
    """A number with at most so many decimals, no trailing zeros, no sign on nothing."""
    text = f"{value:,.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _decimal_inches(value: float) -> str:
    number = value / MM_PER_INCH
    return _plain(number, 3 if abs(number) < 10.0 else 2)


def inches(value: float) -> str:
    """A length in inches: ``0.157 in (5/32)``, ``7.25 in (7 1/4)``.

    Args:
        value: The length [mm].
    """
    number = value / MM_PER_INCH
    text = f"{_decimal_inches(value)} in"
    nearest = Fraction(round(number * SIXTY_FOURTHS), SIXTY_FOURTHS)
    if nearest <= 0 or nearest.denominator == 1 or abs(number - float(nearest)) > NEAR:
        return text
    whole, rest = divmod(nearest, 1)
    return f"{text} ({f'{whole} ' if whole else ''}{rest})"


@dataclass(frozen=True, slots=True)
class Measures:
    """How a sheet writes measures: in a cell of a table, or said in a sentence, then on one line.

    Attributes:
        units: The units asked for.
    """

    units: Units

    def _either(self, metric: str, inch: str, said: bool) -> str:
        if self.units is Units.METRIC:
            return metric
        if self.units is Units.INCH:
            return inch
        return f"{metric} ({inch})" if said else f"{metric}\n{inch}"

    def length(self, value: float | None, digits: int = 2, *, said: bool = False) -> str:
        """A length.

        Args:
            value: The length [mm]; None when it is not known.
            digits: Decimals of millimetres at most.
            said: Whether it is part of a sentence.
        """
        if value is None:
            return NOT_GIVEN
        inch = f"{_decimal_inches(value)} in" if said else inches(value)
        return self._either(format_mm(value, digits), inch, said)

    def small(self, value: float | None, *, said: bool = False) -> str:
        """A gap, a kerf: thousandths count, and no fraction of an inch says them."""
        if value is None:
            return NOT_GIVEN
        return self._either(
            _or_under(format_mm(value, 3), value, "mm", LEAST_MM),
            _or_under(f"{_plain(value / MM_PER_INCH, 4)} in", value, "in", LEAST_INCH),
            said,
        )

    def wire(self, diameter: float, *, said: bool = False) -> str:
        """A wire with its gauge where it has one."""
        name, metric = gauge_name(diameter), format_mm(diameter)
        inch = f"{_plain(diameter / MM_PER_INCH, 4)} in"
        if not name:
            return self._either(metric, inch, said)
        if self.units is Units.INCH:
            return f"{inch} ({name}, {metric})" if said else f"{inch}\n{name}\n({metric})"
        more = [name] if self.units is Units.METRIC else [name, inch]
        return f"{metric} ({', '.join(more)})" if said else "\n".join([metric, *more])

    def long(self, value: float | None, *, said: bool = False) -> str:
        """A length of wire: metres from a metre on, feet from a foot on."""
        if value is None:
            return NOT_GIVEN
        metric = f"{_plain(value / 1000.0, 2)} m" if value >= LONG else format_mm(value, 0)
        inch = f"{_plain(value / FOOT, 2)} ft" if value >= FOOT else f"{_plain(value / MM_PER_INCH, 1)} in"
        return self._either(metric, inch, said)

    def pull(self, value: float | None) -> str:
        """A pull [N] to two figures, and what hangs with it, so that it is felt; with inches in lbf too."""
        if value is None:
            return NOT_GIVEN
        newtons, pounds = f"{_figures(value)} N", f"{_figures(value / NEWTONS_PER_LBF)} lbf"
        kilograms = value / NEWTONS_PER_KGF
        hung = f"{_figures(kilograms)} kg" if kilograms >= 1.0 else f"{_figures(1000.0 * kilograms)} g"
        if self.units is Units.METRIC:
            return f"{newtons} ({hung})"
        if self.units is Units.INCH:
            return f"{pounds} ({newtons}, {hung})"
        return f"{newtons} ({hung}, {pounds})"

    def in_text(self, text: str, exact: Iterable[float] = ()) -> str:
        """A sentence that has its lengths in millimetres, with these units: what is in quotes stays.

        With inches the millimetres follow them, for a sentence may say what nothing else on the sheet does.

        Args:
            text: The sentence.
            exact: Lengths in it that are known better than it says them [mm].
        """
        if self.units is Units.METRIC:
            return text
        known = {format_mm(value): value for value in exact}

        def told(hit: re.Match[str]) -> str:
            if hit[1] is None:
                return hit[0]
            value = known.get(hit[0], float(hit[1].replace(",", "")))
            tenth = abs(value) < 0.1 * MM_PER_INCH
            inch = f"{_plain(value / MM_PER_INCH, 4)} in" if tenth else f"{_decimal_inches(value)} in"
            first, second = (inch, hit[0]) if self.units is Units.INCH else (hit[0], inch)
            return f"{first} ({second})"

        return _QUOTED_OR_MM.sub(told, text)


def _or_under(text: str, value: float, unit: str, least: float) -> str:
    """What is told of a length; of one that is something, but too little to be told, that."""
    return f"under {least:g} {unit}" if text == f"0 {unit}" and value > 0.0 else text


def weight(value: float | None) -> str:
    """A weight [g]: grams in every system, for metal is sold by them."""
    if value is None:
        return NOT_GIVEN
    return f"{value:,.2f} g" if value >= 1.0 or value == 0.0 else f"{value:.3g} g"


def _figures(value: float) -> str:
    """A number to two figures, never in powers of ten."""
    return f"{float(f'{value:.2g}'):,g}"


def money(amount: Decimal | None, currency: str | None) -> str:
    """An amount of money, as exact as it was reckoned."""
    if amount is None or currency is None:
        return NOT_GIVEN
    return f"{amount:,f} {currency}"


def duration(seconds: float | None) -> str:
    """A time: minutes, and hours from one hour on."""
    if seconds is None:
        return NOT_GIVEN
    if seconds < 60.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"
