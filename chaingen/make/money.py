"""What a piece costs in material and time, and what to ask for it, from what the maker said."""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class CostLine:
    """What one kind of material costs.

    Attributes:
        what: What it is, such as ``rings 'petal', sterling silver`` or ``ear wire 'hook'``.
        basis: How it is reckoned, such as ``12.3 g at 1.20 EUR a gram``; empty where no price is given.
        amount: What it costs; None where no price is given.
    """

    what: str
    basis: str
    amount: Decimal | None


@dataclass(frozen=True, slots=True)
class Money:
    """Cost, time and price of all pieces made.

    Attributes:
        currency: Three letters; None when no price is given.
        lines: Material line by line.
        material: All of it; None unless every line has an amount.
        known_material: What those lines that have an amount come to.
        seconds: Time to open and close rings and make findings [s]; None where it is not given.
        work: What the time is worth; None where time or rate is not given.
        overhead: What is added; None likewise.
        cost: Material, work and overhead; None where any of them is not given that was asked for.
        price: What to ask; None where cost or markup is not given.
        missing: What is not given and would be needed for a price, in words.
    """

    currency: str | None
    lines: tuple[CostLine, ...]
    material: Decimal | None
    known_material: Decimal
    seconds: float | None
    work: Decimal | None
    overhead: Decimal | None
    cost: Decimal | None
    price: Decimal | None
    missing: tuple[str, ...]
