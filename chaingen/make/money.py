"""What a piece costs in material and time, and what to ask for it, from what the maker said.

Nothing is guessed: what has no price is blank, and so is all that would need it. A price of zero is a price.

What is charged is what is bought in rings: whole bags and spare rings, also where some are left over. Wire is
charged as it is used, spare rings, tails and what cuts take included; what is left over of a length serves
another piece and is not charged. Time (common practice): some rings are opened and closed, the others closed
beforehand; cutting, handling and finishing are not in it.

Roundings, all half up: weights to 0.001 g and lengths to 0.001 m before they are charged, so that what is
shown times its price is what it comes to; then each amount of material, the work, the overhead and the price
to the currency's smallest unit. Sums are of rounded amounts and need none.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from chaingen.design.bench import Bench, Price, PriceList, Prices
from chaingen.findings.catalogue import KINDS
from chaingen.make.finding_counts import BeadCount, FindingCount
from chaingen.make.wire_plan import RingPlan
from chaingen.stock.metals import Metal

_DIGITS = {
    **dict.fromkeys(("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF"), 0),
    **dict.fromkeys(("UGX", "UYI", "VND", "VUV", "XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
    **dict.fromkeys(("CLF", "UYW"), 4),
}
"""Decimals of currencies that have other than two, by ISO 4217 (from memory, checked against a list of 2026
that is generated from the standard's table A.1). Those that count in fifths, MGA and MRU, have two there."""

_THOUSANDTH = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class CostLine:
    """What one kind of material costs.

    Attributes:
        what: What it is, such as ``rings 'petal', sterling silver`` or ``ear wire 'hook'``.
        basis: How it is reckoned, such as ``12.3 g at 1.20 EUR a gram``; empty where no price is given.
        amount: What it costs; None where no price is given.
        unit: What is counted: bag, ring, metre, gram, piece or bead; empty where no price is given.
    """

    what: str
    basis: str
    amount: Decimal | None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Money:
    """Cost, time and price of all pieces made.

    Attributes:
        currency: Three letters; None when no price is given.
        lines: Material line by line.
        material: All of it; None unless every line has an amount.
        known_material: What those lines that have an amount come to.
        seconds: Time to open and close rings and make findings [s]; None where it is not given.
        work: What the time is worth; None where time or rate is not given, unless time is worth nothing.
        overhead: What is added, nothing where none is given; None where material or work is not known.
        cost: Material, work and overhead; None where any of them is not known.
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


@dataclass(frozen=True, slots=True)
class _Charge:
    """A line, and what it lacks; empty when nothing."""

    line: CostLine
    lacks: str = ""


def money_of(
    plans: tuple[RingPlan, ...],
    findings: tuple[FindingCount, ...],
    beads: tuple[BeadCount, ...],
    opened: int | None,
    closed: int,
    bench: Bench,
) -> Money:
    """Cost, time and price.

    Args:
        plans: What the rings take.
        findings: Findings of each name and metal.
        beads: The beads on these.
        opened: How many rings are opened and closed; None where the order of work is not known, and then
            the time is not.
        closed: How many are only closed.
        bench: How the maker works, with prices and times.
    """
    on_findings = sum(len(entry.finding.beads) * entry.count for entry in findings)
    assert sum(entry.count for entry in beads) == on_findings, "beads are those on the findings"
    prices = bench.prices
    charges = [_rings(plan, bench) for plan in plans]
    charges += [_finding(entry, prices) for entry in findings]
    charges += [_beads(entry, prices) for entry in findings if entry.finding.beads]
    lines = tuple(charge.line for charge in charges)
    known = [line.amount for line in lines if line.amount is not None]
    known_material = sum(known, Decimal(0))
    material = known_material if len(known) == len(lines) else None

    seconds, unknown_times = _time(findings, opened, closed, bench)
    rate = prices.per_hour
    work = overhead = cost = price = None
    if rate is not None and rate.amount == 0:
        # Time that is worth nothing need not be known.
        work, unknown_times = round_money(Decimal(0), rate.currency), []
    elif rate is not None and seconds is not None:
        work = round_money(_exact(seconds) * rate.amount / 3600, rate.currency)
    if material is not None and work is not None and prices.currency is not None:
        overhead = round_money((material + work) * _exact(prices.overhead or 0.0), prices.currency)
        cost = material + work + overhead
        if prices.markup is not None:
            price = round_money(cost * _exact(prices.markup), prices.currency)

    missing = [charge.lacks for charge in charges if charge.lacks] + unknown_times
    if rate is None:
        missing.append("a rate for an hour of work")
    if prices.markup is None:
        missing.append("a markup")
    return Money(
        currency=prices.currency,
        lines=lines,
        material=material,
        known_material=known_material,
        seconds=seconds,
        work=work,
        overhead=overhead,
        cost=cost,
        price=price,
        missing=tuple(dict.fromkeys(missing)),
    )


def round_money(amount: Decimal, currency: str) -> Decimal:
    """An amount to the currency's smallest unit, half up."""
    return amount.quantize(Decimal(1).scaleb(-_DIGITS.get(currency, 2)), ROUND_HALF_UP)


def _rings(plan: RingPlan, bench: Bench) -> _Charge:
    """Rings by the first of bag, ring, metre and gram that has a price."""
    name, metal, prices = plan.rings.size.name, plan.rings.metal.name, bench.prices
    what = f"rings {name!r}, {metal}"
    if per_bag := _price(prices.per_bag, name):
        if plan.bags is None or bench.bag is None:
            return _Charge(CostLine(what, "", None), "how many rings are in a bag")
        return _charge(what, f"{_some(plan.bags, 'bag')} of {bench.bag}", Decimal(plan.bags), "bag", per_bag)
    if per_ring := _price(prices.per_ring, name):
        return _charge(what, _some(plan.count, "ring"), Decimal(plan.count), "ring", per_ring)
    if per_metre := _price(prices.per_metre, name):
        metres = _thousandths(plan.wire_length / 1000.0)
        return _charge(what, f"{_number(metres)} m", metres, "metre", per_metre)
    if per_gram := _wire_price(prices, plan.rings.metal):
        grams = _thousandths(plan.wire_weight)
        return _charge(what, f"{_number(grams)} g", grams, "gram", per_gram)
    return _Charge(CostLine(what, "", None), f"a price for wire of {metal}")


def _finding(entry: FindingCount, prices: PriceList) -> _Charge:
    """Findings by the piece, else the wire of those that are made by the gram; not of bought ones."""
    what = f"{_called(entry)}, {entry.metal.name}"
    if each := _price(prices.each, entry.finding.name):
        return _charge(what, f"{entry.count}", Decimal(entry.count), "piece", each)
    if not KINDS[entry.finding.kind].bought and (per_gram := _wire_price(prices, entry.metal)):
        grams = _thousandths(entry.weight)
        return _charge(what, f"{_number(grams)} g", grams, "gram", per_gram)
    return _Charge(CostLine(what, "", None), f"a price for {_called(entry)}")


def _beads(entry: FindingCount, prices: PriceList) -> _Charge:
    name, count = entry.finding.name, entry.count * len(entry.finding.beads)
    what = f"beads of {_called(entry)}"
    if bead := _price(prices.bead, name):
        return _charge(what, _some(count, "bead"), Decimal(count), "bead", bead)
    return _Charge(CostLine(what, "", None), f"a price for a bead of {_called(entry)}")


def _charge(what: str, quantity: str, number: Decimal, unit: str, price: Price) -> _Charge:
    basis = f"{quantity} at {price.amount:f} {price.currency} a {unit}"
    return _Charge(CostLine(what, basis, round_money(number * price.amount, price.currency), unit))


def _time(
    findings: tuple[FindingCount, ...], opened: int | None, closed: int, bench: Bench
) -> tuple[float | None, list[str]]:
    """Time for rings and findings [s], None if some of it is not given, and what is not.

    A finding that has a price by the piece, or is mostly bought ready made, takes no time where none is said.
    """
    times = dict(bench.finding_seconds)
    linked_in = 0 if opened is None else opened
    parts = [
        (linked_in, bench.open_seconds, "seconds to open a ring"),
        (linked_in + closed, bench.close_seconds, "seconds to close a ring"),
    ]
    for entry in findings:
        name, kind = entry.finding.name, KINDS.get(entry.finding.kind)
        bought = _price(bench.prices.each, name) is not None or (kind is not None and kind.bought)
        parts.append(
            (entry.count, times.get(name, 0.0 if bought else None), f"seconds to make {_called(entry)}")
        )
    missing = [words for count, each, words in parts if count and each is None]
    if opened is None:
        missing.insert(0, "which rings are opened")
    seconds = sum(count * each for count, each, _ in parts if each is not None)
    return (None if missing else float(seconds)), missing


def _wire_price(prices: PriceList, metal: Metal) -> Price | None:
    """The price of wire; of a coloured one that of the metal beneath where it has none of its own."""
    return _price(prices.per_gram, metal.name) or _price(prices.per_gram, metal.base)


def _price(prices: Prices, name: str) -> Price | None:
    return dict(prices).get(name)


def _called(entry: FindingCount) -> str:
    return f"{entry.finding.kind} {entry.finding.name!r}"


def _some(count: int, unit: str) -> str:
    return f"{count} {unit}" if count == 1 else f"{count} {unit}s"


def _exact(value: float) -> Decimal:
    """A number as it is written in decimals."""
    return Decimal(repr(value))


def _thousandths(value: float) -> Decimal:
    return _exact(value).quantize(_THOUSANDTH, ROUND_HALF_UP)


def _number(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
