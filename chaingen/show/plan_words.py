"""The maker's plan in words for a terminal, in short; the sheet has all of it."""

from chaingen.design.service import Service
from chaingen.make.forming import MandrelPlan, Spring
from chaingen.make.money import Money
from chaingen.make.plan import Plan
from chaingen.make.strength import Strength
from chaingen.make.wire_plan import part_of
from chaingen.show.making import IN_ONE, NO_PRICE, hands_of, in_one, spares, strength_words
from chaingen.show.phrases import counted
from chaingen.solve.choices import LengthChoice
from chaingen.solve.verdict import Fit
from chaingen.stock.gauges import describe_wire
from chaingen.units import format_mm


def plan_lines(plan: Plan, service: Service | None = None) -> list[str]:
    """What to prepare, how strong it is, what it costs.

    Args:
        plan: The plan.
        service: What makes the piece, or its rings; None where the maker does, of wire.
    """
    if service is not None and in_one(service):
        given = _asked_price(plan.money)
        return [IN_ONE, *_length_lines(plan.lengths), strength_words(service), *([NO_PRICE] if given else [])]
    lines = []
    if service is not None:
        lines += [_made_line(plan, service)] if plan.rings else []
    else:
        lines += [_wire_line(plan)] if plan.rings else []
        lines += [_mandrel_line(one) for one in plan.mandrels]
    lines += _order_lines(plan, service)
    lines += _length_lines(plan.lengths)
    lines += _strength_lines(plan.strength) if service is None else [strength_words(service)]
    lines += _owned_lines(plan)
    if plan.classroom is not None:
        room = plan.classroom
        rings = sum(entry.count for entry in room.order)
        if service is not None:
            kits = [count.count * room.kits for count in room.kit_rings]
            rings = sum(count + part_of(count, service.spare) for count in kits)
        lines.append(
            f"For {counted(room.students, 'student')}, {counted(room.kits, 'kit')}: {counted(rings, 'ring')} "
            "with shared spares."
        )
    return lines + (_money_lines(plan.money) if service is None else _hand_work_lines(plan.money))


def _order_lines(plan: Plan, service: Service | None) -> list[str]:
    if plan.order is None or not plan.order.opened.count:
        return []
    opened, hands = plan.order.opened, hands_of(service)
    least = "no fewer will do" if opened.proven else f"at least {opened.at_least:,} must be"
    steps = counted(len(plan.order.instructions), "line")
    closed = ""
    if opened.closed:
        others = f"{len(opened.closed):,} closed beforehand"
        if service is not None:
            others = f"{hands.closed[0].lower()}{hands.closed[1:]}: {len(opened.closed):,}"
        closed = f", {others}"
    return [f"{hands.linked}: {opened.count:,}{closed}; {least}. The steps take {steps} of instructions."]


def _made_line(plan: Plan, service: Service) -> str:
    """Rings that a service makes one by one."""
    parts = [
        f"{count.count + spare:,} {count.size.name!r} of {count.metal.name}, {spare:,} of them spare"
        for count, spare in spares((entry.rings for entry in plan.rings), service)
    ]
    return f"Rings to have made: {'; '.join(parts)}."


def _wire_line(plan: Plan) -> str:
    parts = []
    for entry in plan.rings:
        size = entry.rings.size
        parts.append(
            f"{entry.wire_length / 1000.0:.2f} m of {describe_wire(size.wire_diameter)} "
            f"{entry.rings.metal.name} for "
            f"{counted(entry.count, 'ring')} {size.name!r}, {entry.spare:,} of them spare"
        )
    return f"Wire: {'; '.join(parts)}."


def _wire_of(spring: Spring) -> str:
    assumed = ", taken since none is given" if spring.assumed else ""
    trial = ", by your trial" if spring.calibration != 1.0 else ""
    if spring.is_odd:
        trial += f", which springs {spring.calibration:.3g} times as much as such wire does: measure it again"
    return f"{spring.temper}{assumed}{trial}"


def _mandrel_line(plan: MandrelPlan) -> str:
    what = f"rings {plan.size.name!r} of {plan.metal.name}"
    if plan.spring is None:
        return f"Mandrel for {what}: not known, for nothing is given of how this wire springs."
    if plan.wanted is None:
        return f"Mandrel for {what} ({_wire_of(plan.spring)}): none, for this wire springs back straight."
    line = f"Mandrel for {what} ({_wire_of(plan.spring)}): {format_mm(plan.wanted, 2)}"
    if not plan.choices:
        return f"{line}."
    best = plan.choices[0]
    line += f"; of those at hand {best.name}, which gives {format_mm(best.inside, 2)} inside"
    if best.fit is not None and best.gap is not None:
        fit = "does not fit" if best.fit is Fit.DOES_NOT_FIT else best.fit.value
        line += f": {fit}, gap {format_mm(best.gap)}"
    return f"{line}."


def _length_lines(lengths: tuple[LengthChoice, ...]) -> list[str]:
    if len(lengths) < 2:
        return []
    parts = [f"{format_mm(choice.length, 1)} with {counted(choice.rings, 'ring')}" for choice in lengths]
    lines = [f"Lengths next to one another: {', '.join(parts)}."]
    eased = [choice for choice in lengths if choice.ease is not None]
    if eased:
        told = ", ".join(format_mm(choice.ease, 1) for choice in eased if choice.ease is not None)
        lines.append(f"Ease over the measure with these: {told}.")
    return lines


def _strength_lines(strength: Strength) -> list[str]:
    if strength.weakest is None or strength.strongest is None:
        return []
    line = (
        f"Pulled apart, unsoldered: opens somewhere between {strength.weakest:.0f} N and "
        f"{strength.strongest:.0f} N (an estimate); a tug of {strength.tug:g} N"
    )
    holds = {"yes": "it holds", "perhaps": "it may hold", "no": "it does not hold"}
    line += f" {holds[strength.holds]}." if strength.holds else "."
    return [f"{line} {strength.advice}".strip()]


def _owned_lines(plan: Plan) -> list[str]:
    if not plan.owned:
        return []
    best = plan.owned[0]
    sizes = ", ".join(
        f"{format_mm(owned.size.inside_diameter)} of {describe_wire(owned.size.wire_diameter)}"
        for _, owned in best.rings
    )
    if best.fit is Fit.DOES_NOT_FIT:
        return ["Of the rings at hand none were found to go together as this piece."]
    if best.reaches:
        return [f"Rings at hand make it: {sizes}, {best.fit.value}."]
    short = sum(count for _, count in best.short)
    reach = f", enough for {format_mm(best.length, 1)}" if best.length is not None and best.repeat else ""
    return [f"Rings at hand go together: {sizes}, {best.fit.value}; {counted(short, 'ring')} short{reach}."]


def _money_lines(money: Money) -> list[str]:
    if money.currency is None and money.seconds is None:
        return []
    parts = []
    if money.material is not None:
        parts.append(f"material {money.material} {money.currency}")
    if money.seconds is not None:
        parts.append(f"work {money.seconds / 60.0:.0f} min")
    if money.cost is not None:
        parts.append(f"cost {money.cost} {money.currency}")
    if money.price is not None:
        parts.append(f"price {money.price} {money.currency}")
    lines = [f"Reckoned from what you gave: {', '.join(parts)}."] if parts else []
    if money.currency is not None and money.missing:
        lines.append(f"Not given: {', '.join(money.missing)}.")
    return lines


def _asked_price(money: Money) -> bool:
    """Whether anything was given that a cost would come of."""
    return money.currency is not None or money.seconds is not None


def _hand_work_lines(money: Money) -> list[str]:
    """Of rings that a service makes only the time that linking them takes; what they cost is not known."""
    if not _asked_price(money):
        return []
    worth = "" if money.work is None else f", {money.work} {money.currency}"
    took = "" if money.seconds is None else f"Work by hand: {money.seconds / 60.0:.0f} min{worth}. "
    return [f"{took}{NO_PRICE}"]
