"""Tables of what a maker decides by: lengths, pull, rings at hand, a class, cost and time."""

from bisect import bisect_left
from collections import Counter

from chaingen.design.bench import Bench, OwnedRings
from chaingen.findings.closing import through_skin
from chaingen.make.money import Money, round_money
from chaingen.make.owned import OwnedChoice
from chaingen.make.plan import Plan
from chaingen.make.result import Result
from chaingen.make.strength import Strength
from chaingen.make.wire_plan import part_of
from chaingen.show.making import NO_PRICE, in_one
from chaingen.show.phrases import counted
from chaingen.show.sheet.document import Block, Bullets, Paragraph, Table
from chaingen.show.sheet.measures import NOT_GIVEN, Measures, duration, money
from chaingen.show.sheet.ring_tables import (
    gap_cell,
    order_tables,
    slim,
    spring_words,
    stock_table,
    wire_table,
)
from chaingen.solve.choices import LengthChoice, goes_by_repeats
from chaingen.solve.verdict import Fit
from chaingen.weave.pieces import Sheet

MOST_OWNED = 12
"""Ways to use rings at hand that a sheet lists."""


def length_table(choices: tuple[LengthChoice, ...], result: Result, measures: Measures) -> Table | None:
    """The next shorter piece, this one, the next longer one; None where there is no choice."""
    if len(choices) < 2:
        return None
    here = result.design.repeating.repeat
    # What hangs in an ear is worn round nothing.
    worn = not any(through_skin(entry.finding) for entry in result.findings)
    rows = [
        (
            "this piece" if choice.repeat == here else "shorter" if choice.repeat < here else "longer",
            f"{choice.repeat:,}", f"{choice.groups:,}", f"{choice.rings:,}",
            measures.length(choice.length, 1),
            measures.length(choice.inside, 1) if worn and choice.inside is not None else "",
            "" if choice.ease is None else measures.length(choice.ease, 1),
        )
        for choice in choices
    ]  # fmt: skip
    head = ("Choice", "Repeats", "Groups", "Rings", "Length", "Inside, worn", "Ease")
    notes = []
    if worn and any(choice.inside is not None for choice in choices):
        notes.append(
            "Inside, worn: round the inside of the piece when it is closed, for a chain has thickness."
        )
    if result.design.measure is None:
        notes += [f"Wrist or neck: {NOT_GIVEN}."] if worn else []
    else:
        measure = measures.length(result.design.measure, 1, said=True)
        notes.append(f"Ease is what the length has beyond the measure of wrist or neck, {measure}.")
    if result.design.pair:
        notes.append("Of one piece of the pair.")
    return slim(head, rows, (1, 2, 3, 4, 5, 6), caption="Lengths", notes=tuple(notes))


def strength_blocks(strength: Strength, measures: Measures) -> list[Block]:
    """The pull that a piece holds, as an estimate."""
    blocks: list[Block] = []
    tug = measures.pull(strength.tug)
    if strength.weakest is None or strength.strongest is None:
        if any(one.opens is not None for one in strength.rings):
            told = "It is told ring by ring."
        else:
            told = f"Temper and strength of the wire: {NOT_GIVEN}, so no pull can be told."
        blocks.append(Paragraph(told))
    else:
        low, high = measures.pull(strength.weakest), measures.pull(strength.strongest)
        verdict = {"yes": "it holds that", "no": "it does not hold that", "perhaps": "it may hold that"}
        holds = "" if strength.holds is None else f": {verdict.get(strength.holds, strength.holds)}"
        abreast = ""
        if strength.abreast is not None:
            several = strength.abreast > 1
            rings = "rings share" if several else "ring takes"
            abreast = f" At the weakest place {strength.abreast} {rings} the pull."
        blocks.append(
            Paragraph(
                f"Rings that are closed end to end and not soldered are reckoned to open at a pull between "
                f"{low} and {high}.{abreast} It should hold {tug}{holds}."
            )
        )
    if strength.advice:
        blocks.append(Paragraph(strength.advice))
    rows = [
        (one.size.name, one.metal.name, measures.pull(one.begins), measures.pull(one.opens))
        for one in strength.rings
        if one.begins is not None or one.opens is not None
    ]
    if rows:
        springs = dict.fromkeys(
            f"{one.metal.name[:1].upper()}{one.metal.name[1:]}, {spring_words(one.spring)}."
            for one in strength.rings
            if one.spring is not None
        )
        notes = (
            "An estimate with a wide band, not a test: the true pull hangs on how well the ends meet and on "
            "the wire itself. Pull a sample before a piece is sold.",
            "Grams and kilograms are what would have to hang on it to pull like that.",
            f"Its own weight pulls with {measures.pull(strength.weight)}.",
            *springs,
        )
        head = ("Ring", "Metal", "Begins to open", "Opens")
        blocks.append(Table("One ring, pulled at two opposite places", head, tuple(rows), (2, 3), notes))
    return blocks


def owned_table(choices: tuple[OwnedChoice, ...], result: Result, measures: Measures) -> Table | None:
    """Ways to make the piece of rings at hand, best first; None without any."""
    if not choices:
        return None
    rows = []
    for choice in choices[:MOST_OWNED]:
        used = "\n".join(f"{size.name}: {_owned(own, measures)}" for size, own in choice.rings)
        fits = choice.fit is not Fit.DOES_NOT_FIT
        whole = choice.reaches or choice.length is None
        lacking = "\n".join(f"{name}: {count:,}" for name, count in choice.short)
        rows.append(
            (
                used, choice.fit.value, gap_cell(choice.gap, choice.fit, measures),
                _reach(choice, result) if fits else "",
                "" if whole else measures.length(choice.length, 1), (lacking or "none") if fits else "",
            )
        )  # fmt: skip
    head = ("Rings at hand", "Fit", "Gap", "They reach", "Length then", "Short of")
    spare = result.design.bench.spare
    notes = []
    if spare and any(choice.fit is not Fit.DOES_NOT_FIT for choice in choices):
        notes.append(
            f"Of rings at hand {100.0 * spare:g} % more than are needed are kept back as spare ones."
        )
    more = len(choices) - MOST_OWNED
    if more > 0:
        notes.append(f"{counted(more, 'more way is', 'more ways are')} not listed.")
    return slim(head, rows, (2, 4), caption="Made of rings at hand", notes=tuple(notes))


def _reach(choice: OwnedChoice, result: Result) -> str:
    """How much of the piece, or how many of it, rings at hand make."""
    if choice.reaches:
        pieces = _pieces(choice, result)
        if pieces < 2:
            return "both pieces of the pair" if result.design.pair else "the whole piece"
        return f"{pieces:,} such {'pairs' if result.design.pair else 'pieces'}"
    if not choice.repeat:
        return "not one repeat" if goes_by_repeats(result.design) else "not the whole piece"
    both = ", of both pieces" if result.design.pair else ""
    return f"{choice.repeat:,} of {counted(result.design.repeating.repeat, 'repeat')}{both}"


def _pieces(choice: OwnedChoice, result: Result) -> int:
    """How many such pieces, or pairs, rings at hand make with spare ones kept; 1 where that is not known."""
    piece, spare = result.design.piece, result.design.bench.spare
    if isinstance(piece, Sheet) and piece.outline is not None:
        # Of other sizes an outline keeps another number of rings.
        return 1
    needed: Counter[str] = Counter()
    for count in result.counts:
        needed[count.size.name] += count.count

    def enough(pieces: int) -> bool:
        left = {id(own): own.count for _, own in choice.rings}
        for size, own in choice.rings:
            want = pieces * needed[size.name]
            left[id(own)] -= want + part_of(want, spare)
        return min(left.values()) >= 0

    most = min(own.count // max(1, needed[size.name]) for size, own in choice.rings)
    # More pieces never take fewer rings.
    return 1 + bisect_left(range(2, most + 1), True, key=lambda pieces: not enough(pieces))


def _owned(own: OwnedRings, measures: Measures) -> str:
    inside = measures.length(own.size.inside_diameter, said=True)
    wire = measures.wire(own.size.wire_diameter, said=True)
    metal = "" if own.metal is None else f", {own.metal}"
    return f"{inside} inside, wire {wire}{metal} ({own.count:,} there)"


def class_blocks(plan: Plan, result: Result, measures: Measures) -> list[Block]:
    """What a kit holds, what to order for a class, and what that costs; nothing without a class."""
    bench, service = result.design.bench, result.design.service
    blocks: list[Block] = []
    order, cost = plan.classroom, plan.class_money
    if order is None:
        return blocks
    teachers = order.kits - order.students
    kits = f"{order.students:,} for students"
    if teachers:
        kits += f" and {teachers:,} for who teaches"
    makes = " A kit makes both of the pair." if order.made == 2 else ""
    blocks.append(
        Paragraph(f"{order.kits:,} kits: {kits}. Spare parts are shared, beside what the kits hold.{makes}")
    )
    spare_rings = order.spare_rings
    if service is not None:
        # What is sent has spare rings by the service's rule, and so has a class's.
        spare_rings = tuple(part_of(kit.count * order.kits, service.spare) for kit in order.kit_rings)
    rows: list[tuple[str, ...]] = [
        (
            kit.size.name, kit.metal.name, measures.length(kit.size.inside_diameter),
            measures.wire(kit.size.wire_diameter), f"{kit.count:,}", f"{kit.count * order.kits:,}",
            f"{spare:,}", f"{kit.count * order.kits + spare:,}",
        )
        for kit, spare in zip(order.kit_rings, spare_rings, strict=True)
    ]  # fmt: skip
    if rows:
        head = ("Ring", "Metal", "Inside", "Wire", "In a kit", "In all kits", "Shared spare", "In all")
        sent = "What is sent to the service is for one kit: ask it for as many rings as are told here."
        notes = () if service is None else (sent,)
        blocks.append(Table("Rings of a class", head, tuple(rows), (2, 3, 4, 5, 6, 7), notes))
    if rows and service is None:
        blocks.append(stock_table(order.order, bench, "To order for a class: rings"))
        blocks.append(wire_table(order.order, bench, measures, "Or, for a class, wire to wind"))
        blocks += order_tables(plan.class_wire, order.findings, bench, measures, "Wire to buy for a class")
    parts = [
        (
            f"{entry.finding.name}\n{entry.finding.kind}", entry.metal.name,
            f"{entry.count // order.kits:,}", f"{entry.count:,}", f"{spare:,}", f"{entry.count + spare:,}",
        )
        for entry, spare in zip(order.findings, order.spare_findings, strict=True)
    ]  # fmt: skip
    if parts:
        heads = ("Finding", "Metal", "In a kit", "In all kits", "Shared spare", "In all")
        blocks.append(Table("Findings of a class", heads, tuple(parts), (2, 3, 4, 5)))
    beads = [
        f"Beads in all, on spare findings too: {entry.count:,} of form {entry.bead.form}, "
        f"{measures.length(entry.bead.diameter, said=True)} across."
        for entry in order.beads
    ]
    if beads:
        blocks.append(Bullets(tuple(beads)))
    if service is not None:
        return blocks
    if cost is not None and cost.currency is not None:
        costs = _material_rows(cost)
        if cost.material is not None:
            kit = round_money(cost.material / order.kits, cost.currency)
            costs.append(("material of a kit", "spares shared", money(kit, cost.currency)))
        charged = tuple(_wire_notes(cost, bench))
        blocks.append(Table("Material for a class", ("What", "From", "Amount"), tuple(costs), (2,), charged))
    return blocks


def _wire_notes(cost: Money, bench: Bench) -> list[str]:
    """That only wire that is used is charged, where it is bought in whole lengths and charged at all."""
    if bench.sold_in is None or not any(line.unit in ("metre", "gram") for line in cost.lines):
        return []
    return ["Wire is charged as it is used: what is left over of a length is not charged."]


def _material_rows(cost: Money) -> list[tuple[str, str, str]]:
    """Material line by line, and in all."""
    currency = cost.currency
    rows = [(line.what, line.basis or NOT_GIVEN, money(line.amount, currency)) for line in cost.lines]
    if cost.material is not None:
        rows.append(("material", "", money(cost.material, currency)))
    elif cost.known_material:
        rows.append(("material", "only what has a price", money(cost.known_material, currency)))
    else:
        rows.append(("material", "", NOT_GIVEN))
    return rows


def cost_blocks(plan: Plan, result: Result) -> list[Block]:
    """Cost, time and price; where a service makes the piece, or its rings, only what it has no part in."""
    cost, design = plan.money, result.design
    if design.service is None:
        return money_blocks(cost, design.bench, design.made)
    if cost.currency is None and cost.seconds is None:
        return []
    if in_one(design.service):
        return [Paragraph(NO_PRICE)]
    # Lines of rings come first; those of wire, bags or bought rings are not what a service asks.
    rows = [
        (line.what, line.basis or NOT_GIVEN, money(line.amount, cost.currency))
        for line in cost.lines[len(plan.rings) :]
    ]
    if cost.seconds is not None or cost.work is not None:
        rows.append(("work", _work(cost, design.bench), money(cost.work, cost.currency)))
    if not rows:
        return [Paragraph(NO_PRICE)]
    notes = ["Of both pieces of the pair."] if design.made == 2 else []
    notes += [
        NO_PRICE,
        "Work is reckoned as with rings of wire: every ring is closed by hand, and those that the steps link "
        "in are opened too. Cutting off sprues, and finishing, are not in it.",
    ]
    return [Table("Cost and time by hand", ("What", "From", "Amount"), tuple(rows), (2,), tuple(notes))]


def money_blocks(cost: Money, bench: Bench, pieces: int) -> list[Block]:
    """Cost, time and price: only what follows from what was given; nothing where nothing was."""
    currency = cost.currency
    if currency is None and cost.seconds is None:
        return []
    rows = _material_rows(cost)
    rows.append(("work", _work(cost, bench), money(cost.work, currency)))
    overhead = bench.prices.overhead
    if overhead is None:
        rows.append(("overhead", NOT_GIVEN, "none"))
    else:
        rows.append(("overhead", f"{100.0 * overhead:g} %", money(cost.overhead, currency)))
    rows.append(("cost", "", money(cost.cost, currency)))
    markup = NOT_GIVEN if bench.prices.markup is None else f"cost x {bench.prices.markup:g}"
    rows.append(("price to ask", markup, money(cost.price, currency)))
    notes = ["Of both pieces of the pair."] if pieces == 2 else []
    notes += _wire_notes(cost, bench)
    if cost.missing:
        notes.append(f"For a price these are missing: {'; '.join(cost.missing)}.")
    notes.append("Only what you said yourself is reckoned with; taxes and fees are not looked at.")
    head = ("What", "From", "Amount")
    return [Table("Cost, time and price", head, tuple(rows), (2,), tuple(notes))]


def _work(cost: Money, bench: Bench) -> str:
    """Time, and what an hour is worth."""
    rate = bench.prices.per_hour
    hour = "" if rate is None else f" at {money(rate.amount, rate.currency)} an hour"
    return f"{duration(cost.seconds)}{hour}"
