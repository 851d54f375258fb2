"""Rows of sheet.csv: what to get and what it weighs and costs; empty where nothing is known or given."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import groupby

from chaingen.design.service import Service
from chaingen.findings.catalogue import KINDS
from chaingen.make.counts import RingCount
from chaingen.make.finding_counts import FindingCount
from chaingen.make.money import round_money
from chaingen.make.result import Result
from chaingen.make.wire_plan import RingPlan, WireOrder
from chaingen.show.making import in_one, printed, spares
from chaingen.stock.gauges import gauge_name

HEAD = (
    "kind", "name", "metal", "inside_mm", "wire_mm", "gauge", "aspect_ratio", "needed", "spare", "total",
    "bags", "cut_length_mm", "wire_length_m", "weight_g", "cost", "currency",
)  # fmt: skip
"""Head of sheet.csv. `total` is with spare ones, of wire the lengths to buy; `cut_length_mm` is the
wire in one ring, or in one finding; weights are of all in `total`, of wire of all that is used. What a
service makes has nothing of wire, and no cost."""

COSTS = ("cost", "currency")
"""Columns that a table for others leaves empty."""

Field = str | float | int
Row = tuple[Field, ...]


def sheet_rows(result: Result) -> tuple[tuple[str, ...], tuple[Row, ...]]:
    """Head and rows of sheet.csv: ring sizes, findings, beads, wire to buy for rings.

    Args:
        result: A piece with its plan; without one there are no rows, nor for a piece that does not fit, for
            nobody should buy by them.
    """
    plan = result.plan
    if plan is None or not result.fits:
        return HEAD, ()
    count, service = len(plan.rings), result.design.service
    amounts = [line.amount for line in plan.money.lines]
    currency = plan.money.currency or ""
    if service is None:
        rings = [
            _ring(own, amount, currency) for own, amount in zip(plan.rings, amounts[:count], strict=True)
        ]
    else:
        rings = [_made_ring(own, spare, service) for own, spare in spares(result.counts, service)]
    rows = [
        *rings,
        *(
            _made_finding(entry, service)
            if service is not None and in_one(service)
            else _finding(entry, amount, currency)
            for entry, amount in zip(
                result.findings, amounts[count : count + len(result.findings)], strict=True
            )
        ),
        *(row for entry in result.findings for row in _beads(entry, result)),
        *(_wire(order) for order in plan.wire if service is None),
    ]
    if result.design.bench.hand_out:
        rows = [
            tuple("" if name in COSTS else field for name, field in zip(HEAD, row, strict=True))
            for row in rows
        ]
    return HEAD, tuple(rows)


def _row(**fields: Field) -> Row:
    assert not fields.keys() - set(HEAD), "a field without a head"
    return tuple(fields.get(name, "") for name in HEAD)


def _priced(amount: Decimal | None, currency: str) -> dict[str, Field]:
    return {} if amount is None else {"cost": f"{amount:f}", "currency": currency}


def _ring(plan: RingPlan, amount: Decimal | None, currency: str) -> Row:
    size, rings = plan.rings.size, plan.rings
    return _row(
        kind="ring", name=size.name, metal=rings.metal.name, inside_mm=round(size.inside_diameter, 4),
        wire_mm=round(size.wire_diameter, 4), gauge=gauge_name(size.wire_diameter),
        aspect_ratio=round(size.aspect_ratio, 3), needed=rings.count, spare=plan.spare, total=plan.count,
        bags="" if plan.bags is None else plan.bags, cut_length_mm=round(plan.cut_length, 3),
        wire_length_m=round(plan.wire_length / 1000.0, 4),
        weight_g=round(rings.weight / rings.count * plan.count, 4), **_priced(amount, currency),
    )  # fmt: skip


def _made_ring(rings: RingCount, spare: int, service: Service) -> Row:
    """Rings that a service makes: no wire, no bags, and what they cost is its to say."""
    size = rings.size
    # A piece in one has no ring to spare.
    spare = 0 if in_one(service) else spare
    return _row(
        kind="ring", name=size.name, metal=rings.metal.name, inside_mm=round(size.inside_diameter, 4),
        wire_mm=round(size.wire_diameter, 4), aspect_ratio=round(size.aspect_ratio, 3), needed=rings.count,
        spare=spare, total=rings.count + spare,
        **_weighed(rings.weight / rings.count * (rings.count + spare), service),
    )  # fmt: skip


def _made_finding(entry: FindingCount, service: Service) -> Row:
    """A finding that a service makes with the piece."""
    return _row(
        kind=entry.finding.kind, name=entry.finding.name, metal=entry.metal.name, needed=entry.count, spare=0,
        total=entry.count, **_weighed(entry.weight, service),
    )  # fmt: skip


def _weighed(weight: float, service: Service) -> dict[str, Field]:
    """A weight in metal, which a print has not."""
    return {} if printed(service) else {"weight_g": round(weight, 4)}


def _finding(entry: FindingCount, amount: Decimal | None, currency: str) -> Row:
    finding = entry.finding
    made: dict[str, Field] = {}
    if not KINDS[finding.kind].bought:
        wires = {round(cut.wire, 4) for cut in finding.cutting_list}
        length = sum(cut.length for cut in finding.cutting_list)
        made["cut_length_mm"] = round(length, 3)
        made["wire_length_m"] = round(length * entry.count / 1000.0, 4)
        if len(wires) == 1:
            wire = wires.pop()
            made["wire_mm"], made["gauge"] = wire, gauge_name(wire)
    return _row(
        kind=finding.kind, name=finding.name, metal=entry.metal.name, needed=entry.count, spare=0,
        total=entry.count, weight_g=round(entry.weight, 4), **made, **_priced(amount, currency),
    )  # fmt: skip


def _beads(entry: FindingCount, result: Result) -> Iterator[Row]:
    """Beads of a finding, those alike together; they go by the finding's name, as their price does."""
    price = dict(result.design.bench.prices.bead).get(entry.finding.name)
    alike = sorted(
        entry.finding.beads, key=lambda bead: (bead.form, bead.diameter, bead.thickness, bead.hole)
    )
    for _, group in groupby(
        alike, key=lambda bead: (bead.form, bead.diameter, bead.thickness, bead.hole, bead.density)
    ):
        beads = list(group)
        bead, count = beads[0], len(beads) * entry.count
        amount = None if price is None else round_money(count * price.amount, price.currency)
        weighed: dict[str, Field] = {}
        if bead.density is not None:
            weighed["weight_g"] = round(count * bead.volume * bead.density / 1000.0, 4)
        yield _row(
            kind=f"bead, {bead.form}, {bead.diameter:g} mm", name=entry.finding.name,
            inside_mm=round(bead.hole, 4), needed=count, spare=0, total=count, **weighed,
            **_priced(amount, "" if price is None else price.currency),
        )  # fmt: skip


def _wire(order: WireOrder) -> Row:
    """Wire of one metal and diameter to wind rings of."""
    return _row(
        kind="wire", name=", ".join(size.name for size in order.sizes), metal=order.metal.name,
        wire_mm=round(order.wire_diameter, 4), gauge=gauge_name(order.wire_diameter),
        total="" if order.lengths is None else order.lengths,
        wire_length_m=round(order.wire_length / 1000.0, 4), weight_g=round(order.weight, 4),
    )  # fmt: skip
