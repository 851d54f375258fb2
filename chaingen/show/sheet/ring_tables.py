"""Tables of what a piece is made of: rings, wire, mandrels, findings, beads, weight."""

import re
from collections import Counter
from collections.abc import Sequence

from chaingen.design.bench import Bench, Units
from chaingen.design.service import Service
from chaingen.findings.catalogue import KINDS
from chaingen.findings.finding import Finding
from chaingen.make.counts import RingCount
from chaingen.make.finding_counts import BeadCount, FindingCount
from chaingen.make.forming import MandrelPlan, Spring
from chaingen.make.order.steps import Order
from chaingen.make.result import Result
from chaingen.make.wire_plan import LengthUse, RingPlan, WireOrder
from chaingen.show.making import NOT_THE_PRINT, hands_of, in_one, printed, spares
from chaingen.show.phrases import counted
from chaingen.show.sheet.document import Table
from chaingen.show.sheet.measures import LEAST_INCH, NOT_GIVEN, Measures, inches, weight
from chaingen.solve.verdict import Fit
from chaingen.units import MM_PER_INCH
from chaingen.weave.groups import RingSize

NOT_RECKONED = "not reckoned"
"""What stands where nobody found out what a mandrel gives."""

_NAMES_INCHES = re.compile(r"""\d\s*(?:(?:in|inch|inches)\b|["″”])""")
"""A mandrel's name that tells its inches."""


def slim(
    head: tuple[str, ...],
    rows: Sequence[tuple[str, ...]],
    numbers: tuple[int, ...],
    *,
    caption: str,
    notes: tuple[str, ...] = (),
) -> Table:
    """A table without the columns that are empty in every row."""
    kept = [k for k in range(len(head)) if any(row[k] for row in rows)]
    places = {old: new for new, old in enumerate(kept)}
    return Table(
        caption,
        tuple(head[k] for k in kept),
        tuple(tuple(row[k] for k in kept) for row in rows),
        tuple(places[k] for k in numbers if k in places),
        notes,
    )


def ring_table(result: Result, order: Order | None, measures: Measures) -> Table:
    """Rings by size and metal: how large, how many, how many of them to open and to close."""
    opened = opened_of_kind(result, order)
    rows = []
    for count in result.counts:
        size = count.size
        own = None if opened is None else opened.get((size, count.metal.name), 0)
        rows.append(
            (
                size.name, count.metal.name, measures.length(size.inside_diameter),
                measures.wire(size.wire_diameter), f"{size.aspect_ratio:.2f}", f"{count.count:,}",
                "" if own is None else f"{own:,}", "" if own is None else f"{count.count - own:,}",
            )
        )  # fmt: skip
    hands = hands_of(result.design.service)
    head = ("Ring", "Metal", "Inside", "Wire", "Inside over wire", "Needed", hands.linked, hands.closed)
    alike = "the same ratio in another wire fits alike."
    if len({count.size for count in result.counts}) > 1 or result.findings:
        what = ", findings too," if result.findings else ""
        alike = (
            f"the piece fits alike only if all sizes{what} are changed together, by one factor. With one "
            "size changed alone it is another piece: build it anew."
        )
    notes = [f"Inside over wire is the aspect ratio: {alike}"]
    if opened is not None:
        notes.append(hands.note)
    return slim(head, rows, (2, 3, 4, 5, 6, 7), caption="Rings", notes=tuple(notes))


def opened_of_kind(result: Result, order: Order | None) -> dict[tuple[RingSize, str], int] | None:
    """How many rings of each size and metal are opened, in all pieces made; None without an order of work."""
    if order is None:
        return None
    members, metals = result.placement.graph.members, result.metals
    found: Counter[tuple[RingSize, str]] = Counter()
    for body in order.opened.opened:
        size = members[body].size
        if isinstance(size, RingSize):
            found[size, metals.metals[int(metals.of_ring[body])].name] += result.design.made
    return dict(found)


def stock_table(plans: tuple[RingPlan, ...], bench: Bench, caption: str = "Rings to have") -> Table:
    """Rings with spare ones, in bags, with their weight."""
    rows = []
    for plan in plans:
        each = plan.rings.weight / plan.rings.count
        rows.append(
            (
                plan.rings.size.name, plan.rings.metal.name, f"{plan.rings.count:,}", f"{plan.spare:,}",
                f"{plan.count:,}", "" if plan.bags is None else f"{plan.bags:,}", weight(each * plan.count),
            )
        )  # fmt: skip
    bags = "" if bench.bag is None else f" of {bench.bag:,}"
    head = ("Ring", "Metal", "Needed", "Spare", "In all", f"Bags{bags}", "Weight")
    notes = () if bench.bag is not None else (f"How many rings a bag has: {NOT_GIVEN}.",)
    return slim(head, rows, (2, 3, 4, 5, 6), caption=caption, notes=notes)


def made_table(counts: Sequence[RingCount], service: Service, caption: str = "Rings to have made") -> Table:
    """Loose rings that a service makes, spare ones with them, and what they weigh when finished."""
    rows = [
        (
            count.size.name, count.metal.name, f"{count.count:,}", f"{spare:,}", f"{count.count + spare:,}",
            weight(count.weight / count.count * (count.count + spare)),
        )
        for count, spare in spares(counts, service)
    ]  # fmt: skip
    notes = ("Weights are of closed, finished rings.",)
    head = ("Ring", "Metal", "Needed", "Spare", "In all", "Weight")
    return slim(head, rows, (2, 3, 4, 5), caption=caption, notes=notes)


def wire_table(
    plans: tuple[RingPlan, ...], bench: Bench, measures: Measures, caption: str = "Wire and coils"
) -> Table:
    """Wire to wind and cut the rings of, spare ones included."""
    rows = []
    for plan in plans:
        wound = f"{counted(plan.turns, 'turn')}\n{counted(plan.coils, 'coil')}"
        rows.append(
            (
                plan.rings.size.name, plan.rings.metal.name, measures.length(plan.cut_length),
                measures.small(plan.kerf), wound, measures.length(plan.coil_length, 1),
                measures.long(plan.wire_length), weight(plan.wire_weight),
            )
        )  # fmt: skip
    head = (
        "Ring", "Metal", "Wire in a ring", "Lost at a cut", "To wind", "Coils, in all", "Wire", "Weight",
    )  # fmt: skip
    tail, mandrel = (
        measures.length(bench.tail, said=True),
        measures.length(bench.mandrel_length, said=True),
    )
    notes = [
        "Wire in a ring is along its middle. Spare rings are included.",
        f"A coil is wound close, up to {mandrel} long; one turn of it and {tail} of wire make no ring.",
        f"Rings are cut with {'a saw' if bench.cut.value == 'saw' else 'flush cutters'}.",
    ]
    if any(plan.kerf_assumed for plan in plans):
        notes.append("What a cut takes was not given: assumed. Measure your blade or cutters.")
    return slim(head, rows, (2, 3, 4, 5, 6, 7), caption=caption, notes=tuple(notes))


def order_tables(
    orders: tuple[WireOrder, ...],
    findings: tuple[FindingCount, ...],
    bench: Bench,
    measures: Measures,
    caption: str = "Wire to buy",
) -> list[Table]:
    """Wire to buy by metal and diameter, and what to wind off each length where it comes in lengths."""
    rows = [
        (
            order.metal.name, measures.wire(order.wire_diameter),
            ", ".join(size.name for size in order.sizes), measures.long(order.wire_length),
            weight(order.weight), "" if order.lengths is None else f"{order.lengths:,}",
        )
        for order in orders
    ]  # fmt: skip
    sold = "" if bench.sold_in is None else f" of {measures.long(bench.sold_in, said=True)}"
    head = ("Metal", "Wire", "For rings", "Used", "Weight of it", f"Lengths{sold}")
    notes = []
    if bench.sold_in is None:
        notes.append(f"How wire is sold: {NOT_GIVEN}.")
    if any(not KINDS[entry.finding.kind].bought for entry in findings):
        notes.append("For rings; wire for findings comes on top of it.")
    tables = [slim(head, rows, (1, 3, 4, 5), caption=caption, notes=tuple(notes))]
    uses = [(order, use) for order in orders for use in order.uses]
    if uses:
        tables.append(_use_table(uses, measures, f"{caption}: coils off each length"))
    return tables


def _use_table(uses: Sequence[tuple[WireOrder, LengthUse]], measures: Measures, caption: str) -> Table:
    """What to wind off each length, so that they suffice."""
    rows = []
    before: WireOrder | None = None
    for order, use in uses:
        coils = (
            f"{size.name}: {_coil_words(own)}" for (size, _), own in zip(use.rings, use.coils, strict=True)
        )
        name = (
            f"{order.metal.name}\n{measures.wire(order.wire_diameter, said=True)}"
            if order is not before
            else ""
        )
        rows.append((name, f"{use.lengths:,}", "\n".join(coils), measures.long(use.left)))
        before = order
    notes = (
        "A coil must not go on from one length to the next: cut a length up for its coils as told, or it may "
        "take more of them. One turn of each coil makes no ring.",
    )
    return Table(caption, ("Wire", "Lengths", "Wind off each", "Left of each"), tuple(rows), (1, 3), notes)


def _coil_words(rings: tuple[int, ...]) -> str:
    """Coils by their turns: ``2 coils of 97 turns, 1 coil of 12 turns``."""
    turns = [count + 1 for count in rings]
    alike = Counter(turns)
    return ", ".join(
        f"{counted(number, 'coil')} of {counted(each, 'turn')}" for each, number in alike.items()
    )


def mandrel_table(plans: tuple[MandrelPlan, ...], bench: Bench, measures: Measures) -> Table | None:
    """What to wind on; None where nothing at all is known."""
    if not any(plan.spring is not None or plan.choices for plan in plans):
        return None
    rows = []
    for plan in plans:
        name = (plan.size.name, plan.metal.name)
        if plan.wanted is not None:
            wanted = measures.length(plan.wanted)
        else:
            wanted = "not known" if plan.spring is None else "takes no set"
        if not plan.choices:
            rows.append((*name, wanted, "", "", "", ""))
        for k, choice in enumerate(plan.choices):
            rows.append(
                (
                    *(name if k == 0 else ("", "")), wanted if k == 0 else "",
                    _named_mandrel(choice.name, choice.diameter, measures), measures.length(choice.inside),
                    gap_cell(choice.gap, choice.fit, measures),
                    NOT_RECKONED if choice.fit is None else choice.fit.value,
                )
            )  # fmt: skip
    head = ("Ring", "Metal", "Mandrel wanted", "At hand", "Gives inside", "Gap then", "Fit then")
    notes = [_spring_words(plan) for plan in plans]
    if not bench.mandrels:
        notes.append(f"Mandrels at hand: {NOT_GIVEN}.")
    if any(choice.fit is None for plan in plans for choice in plan.choices):
        notes.append(
            "Not reckoned: here each try is a search of its own, so only the nearest mandrels were tried. "
            "For another write what it gives inside into the design, and build that."
        )
    notes.append(
        "Wire springs open off the mandrel; the cut then lets the ring close smaller. Wind a short trial "
        "coil, measure it inside, and go by that: it tells more than any table."
    )
    return slim(head, rows, (2, 4, 5), caption="Mandrels", notes=tuple(dict.fromkeys(notes)))


def gap_cell(gap: float | None, fit: Fit | None, measures: Measures) -> str:
    """A gap in a table; where rings do not fit, and lack only what is too little to be told, none."""
    if gap is None:
        return NOT_RECKONED
    if fit is Fit.DOES_NOT_FIT and abs(gap) < LEAST_INCH * MM_PER_INCH:
        return "none"
    return measures.small(gap)


def _named_mandrel(name: str, diameter: float, measures: Measures) -> str:
    """A mandrel's name, which tells its millimetres; with its inches where they are wanted and not in it."""
    if measures.units is Units.METRIC or _NAMES_INCHES.search(name):
        return name
    return f"{name}\n{inches(diameter)}"


def _spring_words(plan: MandrelPlan) -> str:
    """How the wire of a metal was taken to spring."""
    metal, spring = plan.metal.name, plan.spring
    if spring is None:
        return f"How wire of {metal} springs is not known: temper and figures {NOT_GIVEN}. Wind a trial coil."
    return f"{metal[:1].upper()}{metal[1:]}, {spring_words(spring)}."


def spring_words(spring: Spring) -> str:
    """Temper, figures and where they are from."""
    temper = f"{spring.temper} (assumed: {NOT_GIVEN})" if spring.assumed else spring.temper
    figures = f"{spring.youngs_modulus:g} GPa stiff, yields at {spring.yield_strength:g} MPa"
    source = "as given" if spring.source == "given" else f"from {spring.source}"
    trial = ""
    if spring.is_odd:
        trial = (
            f"; your trial coil springs {spring.calibration:.3g} times as much as such wire does, so that it "
            "was measured wrongly or is other wire: measure it again"
        )
    elif spring.calibration != 1.0:
        trial = f"; set right by a trial coil, by a factor {spring.calibration:.2f}"
    return f"{temper}: {figures} ({source}){trial}"


def finding_table(result: Result, measures: Measures) -> Table | None:
    """Findings, with the wire to cut for one of each where they are made by hand; None without any."""
    if not result.findings:
        return None
    service = result.design.service
    by_hand = not in_one(service)
    rows = [
        (
            f"{entry.finding.name}\n{entry.finding.kind}", entry.metal.name, f"{entry.count:,}",
            "\n".join(_cuts(entry.finding, measures)) if by_hand else "", _outer(entry.finding, measures),
            "" if printed(service) else weight(entry.weight),
        )
        for entry in result.findings
    ]  # fmt: skip
    head = ("Finding", "Metal", "Needed", "Cut for each", "Size of each", "Weight")
    along = "Lengths to cut are along the middle of the wire; what is filed or sawn off is to be added."
    return slim(head, rows, (2, 5), caption="Findings", notes=(along,) if by_hand else ())


def _cuts(finding: Finding, measures: Measures) -> list[str]:
    if KINDS[finding.kind].bought:
        return ["mostly bought ready made (common practice)"]
    pieces = finding.cutting_list
    lines = []
    for cut in pieces:
        what = "" if len(pieces) == 1 else f"{cut.what}: "
        lines.append(f"{what}{measures.length(cut.length, 1, said=True)} of")
        lines.append(measures.wire(cut.wire, said=True))
    for diameter, thick in finding.discs:
        across = measures.length(diameter, said=True)
        lines.append(f"disc: {across} across, {measures.small(thick, said=True)} thick")
    return lines


def _outer(finding: Finding, measures: Measures) -> str:
    """How long and wide a finding is from outside to outside."""
    low, high = finding.shape.box
    long, wide = (measures.length(float(extent), 1, said=True) for extent in (high - low)[:2])
    return f"{long} long\n{wide} wide"


def bead_table(beads: tuple[BeadCount, ...], measures: Measures) -> Table | None:
    """Beads; None without any."""
    if not beads:
        return None
    rows = []
    for entry in beads:
        bead = entry.bead
        thick = "" if bead.form == "ball" else measures.length(bead.thickness)
        rows.append(
            (
                bead.form, measures.length(bead.diameter), thick, measures.length(bead.hole),
                f"{entry.count:,}", weight(entry.weight),
            )
        )  # fmt: skip
    head = ("Bead", "Across", "Thick", "Hole", "Needed", "Weight")
    return slim(head, rows, (1, 2, 3, 4, 5), caption="Beads")


def weight_table(result: Result) -> Table:
    """Weight by metal, of beads, and in all."""
    rows = []
    for metal in result.metals.metals:
        rings = sum(count.weight for count in result.counts if count.metal == metal)
        findings = sum(count.weight for count in result.findings if count.metal == metal)
        parts = (weight(rings), weight(findings) if findings else "", weight(rings + findings))
        rows.append((metal.name, f"{metal.density:g} g/cm³", *parts))
    known = [entry.weight for entry in result.beads if entry.weight is not None]
    if result.beads:
        beads = weight(sum(known)) if known else NOT_GIVEN
        rows.append(("beads", "", "", "", beads))
    if len(rows) > 1:
        rows.append(("in all", "", "", "", weight(result.weight)))
    notes = [_weighed(result.design.service)]
    notes += [f"Density of {metal.name}: {_source(metal.source)}." for metal in result.metals.metals]
    if result.beads_not_weighed:
        notes.append(f"Without {result.beads_not_weighed:,} beads whose density is {NOT_GIVEN}.")
    head = ("Metal", "Density", "Rings", "Findings", "In all")
    caption = "What it would weigh in metal" if printed(result.design.service) else "Weight of the piece"
    return slim(head, rows, (1, 2, 3, 4), caption=caption, notes=tuple(notes))


def _weighed(service: Service | None) -> str:
    """What is in the weight of a piece, and what is not."""
    if service is None or not in_one(service):
        sprues = "" if service is None else " and sprues"
        return (
            f"Closed and solid, spare rings{sprues} not counted; solder and what is sawn out of a ring are "
            "left out."
        )
    if printed(service):
        return f"Closed and solid: {NOT_THE_PRINT}."
    return "Closed and solid, as finished: sprues, and metal where parts are soldered, are left out."


def _source(source: str) -> str:
    """Where a figure is from; tables write what was remembered as ``memory``."""
    return f"from {source}" if source.startswith("memory") else source


def size_words(size: RingSize, measures: Measures) -> str:
    """A ring size in a line."""
    inside = measures.length(size.inside_diameter, said=True)
    return f"{size.name}: {inside} inside, wire {measures.wire(size.wire_diameter, said=True)}"
