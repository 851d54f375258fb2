"""The maker's plan in report.json."""

from decimal import Decimal
from typing import Any

from chaingen.make.classroom import ClassOrder
from chaingen.make.forming import MandrelPlan, Spring
from chaingen.make.money import Money
from chaingen.make.order.steps import Order
from chaingen.make.owned import OwnedChoice
from chaingen.make.plan import Plan
from chaingen.make.result import Result
from chaingen.make.strength import Strength
from chaingen.make.wire_plan import RingPlan, WireOrder
from chaingen.show.making import in_one
from chaingen.show.rounding import g, mm, size_data
from chaingen.solve.choices import LengthChoice

MOST_STEPS = 5000
"""Steps that are listed; their number is always given, and the instructions tell all of them."""


def plan_data(plan: Plan, result: Result) -> dict[str, Any]:
    """The content of report.json's ``plan``; lengths in mm, weights in g, forces in N, times in s.

    Of a piece that a service makes there is nothing of wire, strength and cost; of one that it makes in one
    no order of work either.
    """
    whole = {
        "rings": [_rings(entry) for entry in plan.rings],
        "wire": [_wire(order) for order in plan.wire],
        "mandrels": [_mandrel(entry) for entry in plan.mandrels],
        "lengths": [_length(choice) for choice in plan.lengths],
        "strength": _strength(plan.strength),
        "money": _money(plan.money),
        "owned": [_owned(choice) for choice in plan.owned],
        "classroom": None if plan.classroom is None else _classroom(plan.classroom, plan.class_wire),
        "order_of_work": None if plan.order is None else _order(plan.order, result),
    }
    service = result.design.service
    if service is not None:
        whole |= {"rings": [], "wire": [], "mandrels": [], "strength": None, "money": None, "owned": []}
        if plan.classroom is not None:
            whole["classroom"] = _without_wire(_classroom(plan.classroom, ()))
    if in_one(service):
        whole |= {"classroom": None, "order_of_work": None}
    return whole


def _rings(plan: RingPlan) -> dict[str, Any]:
    return {
        **size_data(plan.rings.size),
        "metal": plan.rings.metal.name,
        "needed": plan.rings.count,
        "spare": plan.spare,
        "cut_length_mm": mm(plan.cut_length),
        "kerf_mm": mm(plan.kerf),
        "kerf_assumed": plan.kerf_assumed,
        "coils": plan.coils,
        "turns": plan.turns,
        "coil_length_mm": mm(plan.coil_length),
        "wire_length_mm": mm(plan.wire_length),
        "wire_weight_g": g(plan.wire_weight),
        "bags_to_buy": plan.bags,
    }


def _wire(order: WireOrder) -> dict[str, Any]:
    return {
        "metal": order.metal.name,
        "wire_diameter_mm": mm(order.wire_diameter),
        "rings": [size.name for size in order.sizes],
        "wire_length_mm": mm(order.wire_length),
        "wire_weight_g": g(order.weight),
        "lengths_to_buy": order.lengths,
        "lengths": [
            {
                "count": use.lengths,
                "coils": [
                    {"ring": size.name, "rings_in_coils": list(coils)}
                    for (size, _), coils in zip(use.rings, use.coils, strict=True)
                ],
                "left_mm": mm(use.left),
            }
            for use in order.uses
        ],
    }


def _spring(spring: Spring | None) -> dict[str, Any] | None:
    if spring is None:
        return None
    return {
        "temper": spring.temper,
        "youngs_modulus_gpa": spring.youngs_modulus,
        "yield_strength_mpa": spring.yield_strength,
        "source": spring.source,
        "assumed": spring.assumed,
        "calibration": round(spring.calibration, 6),
    }


def _mandrel(plan: MandrelPlan) -> dict[str, Any]:
    return {
        "ring": plan.size.name,
        "metal": plan.metal.name,
        "wire": _spring(plan.spring),
        "wanted_mm": mm(plan.wanted),
        "choices": [
            {
                "name": choice.name,
                "diameter_mm": mm(choice.diameter),
                "inside_diameter_mm": mm(choice.inside),
                "smallest_gap_mm": mm(choice.gap),
                "verdict": None if choice.fit is None else choice.fit.value,
            }
            for choice in plan.choices
        ],
    }


def _length(choice: LengthChoice) -> dict[str, Any]:
    return {
        "repeat": choice.repeat,
        "ring_count": choice.rings,
        "group_count": choice.groups,
        "finished_length_mm": mm(choice.length),
        "inside_when_worn_mm": mm(choice.inside),
        "ease_mm": mm(choice.ease),
    }


def _strength(strength: Strength) -> dict[str, Any]:
    return {
        "estimate": True,
        "rings": [
            {
                "ring": ring.size.name,
                "metal": ring.metal.name,
                "wire": _spring(ring.spring),
                "begins_to_open_n": _n(ring.begins),
                "opens_n": _n(ring.opens),
            }
            for ring in strength.rings
        ],
        "abreast": strength.abreast,
        "weakest_n": _n(strength.weakest),
        "strongest_n": _n(strength.strongest),
        "own_weight_n": _n(strength.weight),
        "tug_n": strength.tug,
        "holds": strength.holds,
        "advice": strength.advice,
    }


def _money(money: Money) -> dict[str, Any]:
    return {
        "currency": money.currency,
        "lines": [
            {"what": line.what, "basis": line.basis, "amount": _amount(line.amount)} for line in money.lines
        ],
        "material": _amount(money.material),
        "known_material": None if money.currency is None else _amount(money.known_material),
        "seconds": None if money.seconds is None else round(money.seconds, 3),
        "work": _amount(money.work),
        "overhead": _amount(money.overhead),
        "cost": _amount(money.cost),
        "price": _amount(money.price),
        "not_given": list(money.missing),
    }


def _owned(choice: OwnedChoice) -> dict[str, Any]:
    return {
        "rings": [
            {"ring": size.name, "at_hand": size_data(owned.size), "count": owned.count}
            for size, owned in choice.rings
        ],
        "smallest_gap_mm": mm(choice.gap),
        "verdict": choice.fit.value,
        "repeat": choice.repeat,
        "finished_length_mm": mm(choice.length),
        "reaches": choice.reaches,
        "short": dict(choice.short),
    }


def _classroom(order: ClassOrder, wire: tuple[WireOrder, ...]) -> dict[str, Any]:
    return {
        "students": order.students,
        "kits": order.kits,
        "kit": [
            {**size_data(count.size), "metal": count.metal.name, "count": count.count}
            for count in order.kit_rings
        ],
        "order": [_rings(entry) for entry in order.order],
        "wire": [_wire(entry) for entry in wire],
        "findings": [
            {"name": entry.finding.name, "metal": entry.metal.name, "count": entry.count, "spare": spare}
            for entry, spare in zip(order.findings, order.spare_findings, strict=True)
        ],
        "beads": [
            {"form": e.bead.form, "diameter_mm": mm(e.bead.diameter), "count": e.count} for e in order.beads
        ],
    }


def _without_wire(classroom: dict[str, Any]) -> dict[str, Any]:
    """A class whose rings a service makes: how many of which, and nothing of their wire."""
    told = ("name", "inside_diameter_mm", "wire_diameter_mm", "metal", "needed", "spare")
    order = [{key: entry[key] for key in told if key in entry} for entry in classroom["order"]]
    return {**classroom, "order": order}


def _order(order: Order, result: Result) -> dict[str, Any]:
    names, links = result.placement.graph.names, result.placement.graph.links
    opened = order.opened
    eyes = result.placement.graph.members
    return {
        "opened": [names[body] for body in opened.opened],
        "closed": [names[body] for body in opened.closed],
        "eyes_opened": [
            {"finding": names[body], "eye": eyes[body].size.shape.eyes[eye].name}  # type: ignore[union-attr]
            for body, eye in opened.eyes
        ],
        "opened_count": opened.count,
        "at_least": opened.at_least,
        "proven_least": opened.proven,
        "step_count": len(order.steps),
        "steps": [
            {
                "close": names[step.body],
                "eye": step.eye,
                "new": step.new,
                "takes_up": [names[body] for body in step.added],
                "through": [names[body] for body in step.through],
                "laid_in": [names[body] for body in step.laid],
                "links": [[names[a], names[b]] for a, b in links[list(step.links)].tolist()],
            }
            for step in order.steps[:MOST_STEPS]
        ],
        "instructions": [
            {"number": line.number, "step": line.step}
            if line.step is not None
            else {"number": line.number, "first": line.first, "last": line.last, "times": line.times}
            for line in order.instructions
        ],
    }


def _n(value: float | None) -> float | None:
    """A force to a millinewton."""
    return None if value is None else round(value, 3)


def _amount(value: Decimal | None) -> str | None:
    """Money as it is written: JSON's numbers would round it."""
    return None if value is None else str(value)
