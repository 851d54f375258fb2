"""From a built piece to the maker's plan."""

from collections.abc import Callable

from chaingen.design.bench import Bench
from chaingen.make.classroom import ClassOrder, class_order, scaled
from chaingen.make.mandrels import mandrel_plans
from chaingen.make.money import Money, money_of
from chaingen.make.order.order import order_of
from chaingen.make.order.steps import Order
from chaingen.make.owned import OwnedChoice, owned_choices
from chaingen.make.plan import Plan
from chaingen.make.result import Result
from chaingen.make.strength import strength_of
from chaingen.make.wire_plan import ring_plans, wire_orders
from chaingen.make.worn import thickness_of, worn_closed
from chaingen.solve.choices import LengthChoice, length_choices
from chaingen.solve.repeats import lengths_of
from chaingen.solve.sizes import is_plain
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Sheet

Progress = Callable[[str], None]

QUICK_CHOICES, FEW_CHOICES = 12, 3
"""Ways to make the piece of rings at hand that are tried: where each is quick, and where each is a search."""


def _silent(_: str) -> None:
    """Say nothing."""


def plan_of(result: Result, *, on_progress: Progress = _silent) -> Plan:
    """The maker's plan of a built piece.

    Args:
        result: The piece.
        on_progress: Told in words what is being done.

    Raises:
        BadInput: What the bench says cannot be: a temper without data, a length of wire too short for a ring,
            two soldered eyes linked with one another.
    """
    design, bench = result.design, result.design.bench
    on_progress("laying out rings and wire")
    plans = ring_plans(result.counts, bench)
    order = None
    if result.fits:
        on_progress("finding the order of work")
        order = order_of(result.placement.graph, result.metals, result.placement.rings)
    opened, closed = _hands_on(result, order)
    on_progress("choosing mandrels")
    mandrels = mandrel_plans(result, bench)
    on_progress("looking at rings at hand")
    owned: tuple[OwnedChoice, ...] = ()
    if bench.owned:
        most = QUICK_CHOICES if is_quick(result) else FEW_CHOICES
        owned = owned_choices(result, bench, most=most, on_progress=on_progress)
    classroom = class_order(result.counts, result.findings, result.beads, bench, design.made)
    return Plan(
        rings=plans,
        mandrels=mandrels,
        money=money_of(plans, result.findings, result.beads, opened, closed, bench),
        strength=strength_of(result, bench),
        lengths=_lengths(result),
        owned=owned,
        classroom=classroom,
        order=order,
        class_money=None if classroom is None else _class_money(classroom, bench),
        wire=wire_orders(plans, bench),
        class_wire=() if classroom is None else wire_orders(classroom.order, bench),
    )


def _class_money(order: ClassOrder, bench: Bench) -> Money:
    """What the material of a class costs, shared spares included; the time is the students'."""
    findings = tuple(
        scaled(entry, entry.count + spare)
        for entry, spare in zip(order.findings, order.spare_findings, strict=True)
    )
    return money_of(order.order, findings, order.beads, None, 0, bench)


def is_quick(result: Result) -> bool:
    """Whether a piece of other ring sizes is judged without a search: where all its rings are of one size."""
    return len(result.design.piece.sizes()) == 1 and is_plain(result.design.piece)


def _hands_on(result: Result, order: Order | None) -> tuple[int | None, int]:
    """How many rings and eyes are opened and closed, if that is known, and how many rings only closed."""
    rings = sum(count.count for count in result.counts)
    if order is None:
        return None, rings
    made, members = result.design.made, result.placement.graph.members
    opened_rings = sum(isinstance(members[body].size, RingSize) for body in order.opened.opened)
    return made * order.opened.count, rings - made * opened_rings


def _lengths(result: Result) -> tuple[LengthChoice, ...]:
    """Lengths about the piece's own; none where length does not go by repeats, or is not known."""
    design = result.design
    if isinstance(design.piece, Sheet) or result.finished_length is None:
        return ()
    lengths = lengths_of(design, result.finished_length)
    if lengths is None or lengths.period <= 0.0:
        return ()
    thickness = thickness_of(result) if worn_closed(result) else None
    return length_choices(design, lengths, thickness, design.measure)
