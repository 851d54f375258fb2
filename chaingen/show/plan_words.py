"""The maker's plan in words for a terminal, in short; the sheet has all of it."""

from chaingen.make.forming import MandrelPlan, Spring
from chaingen.make.money import Money
from chaingen.make.plan import Plan
from chaingen.make.strength import Strength
from chaingen.show.phrases import counted
from chaingen.solve.choices import LengthChoice
from chaingen.solve.verdict import Fit
from chaingen.stock.gauges import describe_wire
from chaingen.units import format_mm


def plan_lines(plan: Plan) -> list[str]:
    """What to prepare, how strong it is, what it costs."""
    lines = [_wire_line(plan)] if plan.rings else []
    lines += [_mandrel_line(one) for one in plan.mandrels]
    if plan.order is not None and plan.order.opened.count:
        opened = plan.order.opened
        least = "no fewer will do" if opened.proven else f"at least {opened.at_least:,} must be"
        steps = counted(len(plan.order.instructions), "line")
        closed = f", {len(opened.closed):,} closed beforehand" if opened.closed else ""
        lines.append(f"To open: {opened.count:,}{closed}; {least}. The steps take {steps} of instructions.")
    lines += _length_lines(plan.lengths)
    lines += _strength_lines(plan.strength)
    lines += _owned_lines(plan)
    if plan.classroom is not None:
        room = plan.classroom
        rings = sum(entry.count for entry in room.order)
        lines.append(
            f"For {counted(room.students, 'student')}, {counted(room.kits, 'kit')}: {counted(rings, 'ring')} "
            "with shared spares."
        )
    return lines + _money_lines(plan.money)


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
