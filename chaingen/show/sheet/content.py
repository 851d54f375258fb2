"""What the maker's sheet says: the blocks of a document, from everything that is known of a piece."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from chaingen.make.order.steps import Order, Step
from chaingen.make.plan import Plan
from chaingen.make.result import Result
from chaingen.prepare.batch import Prepared
from chaingen.show.finding_words import COMES_APART, parting_lines
from chaingen.show.phrases import counted
from chaingen.show.sheet.cautions_words import GRIP, caution_lines
from chaingen.show.sheet.code import fits
from chaingen.show.sheet.design_text import says_any, without_keys
from chaingen.show.sheet.document import (
    Block,
    Bullets,
    Code,
    Document,
    Figure,
    Heading,
    Instruction,
    Instructions,
    Paragraph,
    Table,
)
from chaingen.show.sheet.finding_figures import finding_figures
from chaingen.show.sheet.measures import NOT_GIVEN, Measures, weight
from chaingen.show.sheet.piece_words import (
    AS_NECKLACE,
    band_words,
    exact_lengths,
    extent_rows,
    measure_rows,
    name_line,
    pull_line,
    sizes_line,
)
from chaingen.show.sheet.plan_tables import (
    class_blocks,
    length_table,
    money_blocks,
    owned_table,
    strength_blocks,
)
from chaingen.show.sheet.ring_tables import (
    bead_table,
    finding_table,
    mandrel_table,
    order_tables,
    ring_table,
    size_words,
    stock_table,
    weight_table,
    wire_table,
)
from chaingen.show.sheet.rows import sheet_rows
from chaingen.show.sheet.service_tables import service_blocks
from chaingen.show.step_words import StepWords
from chaingen.show.words import headline, round_lines
from chaingen.solve.placement import Answer
from chaingen.weave.groups import RingSize

__all__ = ["SheetPictures", "sheet_document", "sheet_rows"]

PRIVATE = ("settings", "bench", "prices", "owned", "classroom", "sheet")
"""Tables and keys of a design that a sheet for others does not show."""

WHOLE_WIDTH = 0.86
"""How wide the picture of the piece is printed, as a part of the text's width."""


@dataclass(frozen=True, slots=True)
class SheetPictures:
    """Pictures for a sheet.

    Attributes:
        whole: The piece, three-quarter or from the front; None where there is none.
        steps: One for each of `Order.distinct`, None where there is none; may be shorter.
        findings: Findings that are made by hand, by name.
        not_drawn: Why there are no pictures; empty when there are.
        sent: What a service is sent, by the name of its batch.
    """

    whole: Path | None = None
    steps: Sequence[Path | None] = ()
    findings: Mapping[str, Path] = field(default_factory=dict)
    not_drawn: str = ""
    sent: Mapping[str, Path] = field(default_factory=dict)


def sheet_document(result: Result, pictures: SheetPictures, prepared: Prepared | None = None) -> Document:
    """The maker's sheet of a piece.

    Args:
        result: The piece with its plan; of a piece without one only what is known of it.
        pictures: Its pictures.
        prepared: The piece as prepared for its service; None where it is not.
    """
    design, plan = result.design, result.plan
    measures = Measures(design.bench.units)
    blocks: list[Block] = [*_verdict(result, measures)]
    if pictures.whole is not None:
        blocks.append(Figure(pictures.whole, _caption(result), WHOLE_WIDTH))
    blocks += [_piece_table(result, measures), *_design_code(result)]
    blocks += service_blocks(result, prepared, measures, pictures.sent)
    if plan is not None:
        blocks += (
            _preparation(result, plan, pictures, measures)
            if result.fits
            else _not_fitting(result, plan, measures)
        )
        if result.fits and plan.order is not None and plan.order.steps:
            blocks += _work(result, plan.order, pictures)
    blocks += [Heading("Cautions"), Bullets(caution_lines(result))]
    if plan is not None and result.fits:
        blocks += _choices(result, plan, measures)
    return Document(
        title=design.title,
        subtitle=_subtitle(result),
        blocks=tuple(blocks),
        paper=design.bench.paper.value,
        foot=f"{design.title} · maker's sheet",
    )


def _caption(result: Result) -> str:
    collided = " What runs into something else is magenta." if len(result.collided) else ""
    return f"{result.design.title}, as designed.{collided}"


def _subtitle(result: Result) -> str:
    metals = ", ".join(metal.name for metal in result.metals.metals)
    pieces = "a pair, " if result.design.pair else ""
    rings = counted(sum(count.count for count in result.counts), "ring")
    return f"Maker's sheet: {pieces}{rings}, {metals}"


# --- the verdict ----------------------------------------------------------------------------------


def _verdict(result: Result, measures: Measures) -> list[Block]:
    """Whether it can be made, first of all."""
    blocks: list[Block] = []
    if not result.fits:
        not_known = result.placement.answer is Answer.NOT_CONVERGED
        why = "whether it goes together is not known" if not_known else "it does not go together"
        blocks.append(
            Paragraph(
                f"DO NOT MAKE IT FROM THIS SHEET: {why} with these sizes. Change the design first.", True
            )
        )
    exact = exact_lengths(result)
    told = [headline(result), *parting_lines(result)]
    blocks += [Paragraph(measures.in_text(line, exact), strong=True) for line in told]
    if result.fits and result.plan is not None and (pull := pull_line(result.plan, measures)):
        blocks.append(Paragraph(pull, strong=True))
    if result.counts:
        blocks.append(Paragraph(sizes_line(result, measures)))
    if result.band is not None:
        blocks.append(Paragraph(band_words(result.band, measures)))
    thread = result.threading
    if result.fits and thread is not None and thread.margin < 0.0:
        ring = result.placement.graph.names[thread.ring]
        blocks.append(
            Paragraph(
                f"But by a simple reckoning the last wire may not pass: {ring} lacks "
                f"{measures.small(-thread.margin, said=True)} for {counted(thread.wires, 'wire')}. Try it "
                "on a few rings first.",
                strong=True,
            )
        )
    if not result.fits:
        for nearest in result.nearest:
            sizes = "; ".join(size_words(size, measures) for size in nearest.sizes)
            gap = measures.small(nearest.gap, said=True)
            changed = "inside diameters" if nearest.change == "inside" else "wires"
            blocks.append(Paragraph(f"Nearest {changed} that fit: {sizes}; gap {gap}."))
        blocks += [Paragraph(line) for line in round_lines(result)]
    others = [
        measures.in_text(caution.text) for caution in result.cautions if caution.kind not in COMES_APART
    ]
    if others:
        blocks.append(Bullets(tuple(others)))
    return blocks


def _piece_table(result: Result, measures: Measures) -> Table:
    """The piece in a few lines."""
    design = result.design
    rows = [("pieces", "2, mirror images")] if design.pair else []
    if result.fits:
        if result.check.binding_pair is not None:
            rows.append(("smallest gap between wires", measures.small(result.check.smallest_gap)))
        rows += extent_rows(result, measures)
    rows += measure_rows(result, measures)
    rows.append(("rings", f"{sum(count.count for count in result.counts):,}"))
    if result.findings:
        rows.append(("findings", f"{sum(count.count for count in result.findings):,}"))
    less = " (without beads of unknown density)" if result.beads_not_weighed else ""
    rows.append((f"weight{less}", weight(result.weight)))
    notes = ["Numbers of parts and weights are of both pieces, lengths of one."] if design.pair else []
    if any(what == AS_NECKLACE for what, _ in rows):
        notes.append("Names of lengths of necklaces differ from shop to shop (common practice).")
    plan = result.plan
    if plan is not None and result.fits and not money_blocks(plan.money, design.bench, design.made):
        notes.append(f"Prices and times: {NOT_GIVEN}. Nothing is guessed.")
    return Table("The piece", ("What", "How much"), tuple(rows), (1,), tuple(notes))


# --- what to prepare ------------------------------------------------------------------------------


def _preparation(result: Result, plan: Plan, pictures: SheetPictures, measures: Measures) -> list[Block]:
    """Rings, wire, mandrels, findings, weight."""
    bench = result.design.bench
    tables: list[Table | Figure | None] = []
    mandrels = mandrel_table(plan.mandrels, bench, measures) if result.counts else None
    if result.counts:
        tables += [
            ring_table(result, plan.order, measures),
            stock_table(plan.rings, bench),
            wire_table(plan.rings, bench, measures),
            *order_tables(plan.wire, result.findings, bench, measures),
            mandrels,
        ]
    tables += [
        finding_table(result.findings, measures),
        *finding_figures(result, pictures.findings, measures),
        bead_table(result.beads, measures),
        weight_table(result),
    ]
    blocks: list[Block] = [Heading("What to prepare")]
    if result.counts and mandrels is None:
        metals = ", ".join(dict.fromkeys(entry.metal.name for entry in plan.mandrels))
        blocks.append(
            Paragraph(
                f"No mandrel is told: how wire of {metals} springs was {NOT_GIVEN} and is not in the tables. "
                "Wind a short trial coil on what is near the inside diameter wanted, and measure it.",
            )
        )
    return [*blocks, *(table for table in tables if table is not None)]


def _not_fitting(result: Result, plan: Plan, measures: Measures) -> list[Block]:
    """Of a piece that does not fit: what was designed, and rings at hand that may do instead."""
    blocks: list[Block] = [Heading("What was designed")]
    if result.counts:
        blocks.append(ring_table(result, None, measures))
    owned = None if result.design.bench.hand_out else owned_table(plan.owned, result, measures)
    return blocks if owned is None else [*blocks, owned]


# --- the order of work ----------------------------------------------------------------------------


def _work(result: Result, order: Order, pictures: SheetPictures) -> list[Block]:
    """What to open and close, and step by step what to do."""
    design, graph = result.design, result.placement.graph
    words = StepWords(graph, result.metals, order, design.bench.units)
    blocks: list[Block] = [Heading("Order of work")]
    if design.pair:
        blocks.append(Paragraph("For one piece of the pair; make it twice, the second as its mirror image."))
    # Sizes were told in the table of rings, so that here the names do.
    told = [line for line in words.preparation() if not line.startswith(("Open ", "Close "))]
    ready = [
        line for line in (*_to_open(result, order), *told, words.least_words(), name_line(result)) if line
    ]
    blocks += [Bullets(tuple(ready))] if ready else []
    blocks += [Paragraph("Opening and closing rings (common practice):"), Bullets(GRIP)]
    lines: list[Instruction] = []
    shown: dict[int, int] = {}
    missing = 0
    for instruction, text in zip(order.instructions, words.lines(), strict=True):
        picture, alt = None, ""
        which = instruction.picture
        if instruction.step is not None and which is not None:
            has = which < len(pictures.steps) and pictures.steps[which] is not None
            if not has:
                missing += which not in shown
            elif which in shown:
                # One picture serves every step that is done alike.
                text = f"{text} (See the picture of step {shown[which]}.)"
            else:
                picture = pictures.steps[which]
                alt = _alt(result, order.steps[instruction.step])
            shown.setdefault(which, instruction.number)
        lines.append(Instruction(instruction.number, text, picture, alt))
    drawn = any(line.picture is not None for line in lines)
    if drawn:
        blocks.append(
            Paragraph(
                "In the pictures the ring that is closed at the step is dark blue, what is taken up with it "
                "orange; the piece is shown as it is once the step is made."
            )
        )
    if any(instruction.step is None for instruction in order.instructions):
        blocks.append(
            Paragraph(
                "Steps that are made again name the rings of their first time; each further time they are "
                "the next ones along."
            )
        )
    if pictures.not_drawn:
        blocks.append(Paragraph(f"Without pictures: {pictures.not_drawn}.", small=True))
    elif drawn and missing:
        blocks.append(
            Paragraph(
                f"{counted(missing, 'step')} without a picture, for there are more than are drawn: go by the "
                "words there."
            )
        )
    return [*blocks, Instructions(tuple(lines))]


def _to_open(result: Result, order: Order) -> list[str]:
    """How many rings of each name to open and to close before the first step, for one piece."""
    metals, members = result.metals, result.placement.graph.members
    several = len({count.metal.name for count in result.counts}) > 1
    lines = []
    for verb, bodies, then in (
        ("Open", order.opened.opened, ""),
        ("Close", order.opened.closed, " Rings that are bought closed serve as they come."),
    ):
        names = Counter(
            (members[body].size.name, metals.metals[int(metals.of_ring[body])].name)
            for body in bodies
            if isinstance(members[body].size, RingSize)
        )
        if names:
            kinds = ", ".join(
                f"{count:,} {name}{f' of {metal}' if several else ''}"
                for (name, metal), count in names.items()
            )
            lines.append(f"{verb} {counted(sum(names.values()), 'ring')}: {kinds}.{then}")
    return lines


def _alt(result: Result, step: Step) -> str:
    names = result.placement.graph.names
    taken = [names[body] for body in (*step.added, *step.laid)]
    orange = f", in orange {', '.join(taken)}" if taken else ""
    through = [names[body] for body in step.through]
    linked = f", linked with {', '.join(through)}" if through else ""
    return f"In dark blue {names[step.body]}{linked}{orange}."


# --- what to decide by ----------------------------------------------------------------------------


def _choices(result: Result, plan: Plan, measures: Measures) -> list[Block]:
    bench = result.design.bench
    blocks: list[Block] = []
    lengths = length_table(plan.lengths, result, measures)
    if lengths is not None:
        blocks += [Heading("Length"), lengths]
    blocks += [Heading("The pull it holds"), *strength_blocks(plan.strength, measures)]
    if bench.hand_out:
        # What is at hand, who takes part and what it costs are for the maker alone.
        return blocks
    owned = owned_table(plan.owned, result, measures)
    if owned is not None:
        blocks += [Heading("Rings at hand"), owned]
    if plan.classroom is not None:
        blocks += [Heading("For a class"), *class_blocks(plan, bench, measures)]
    costs = money_blocks(plan.money, bench, result.design.made)
    return [*blocks, Heading("Cost and time"), *costs] if costs else blocks


def _design_code(result: Result) -> list[Block]:
    """The design's text as a code, whole where it fits and says nothing of others' files, else shortened.

    A settings file lies on the maker's own machine: a design that names it would not be read elsewhere.
    """
    source = result.design.source
    if not source.strip():
        return []
    left_out = PRIVATE if result.design.bench.hand_out else ("settings",)
    whole = not says_any(source, left_out)
    if whole and fits(source):
        return [Code(source, "The text of the design file.")]
    short = without_keys(source, left_out)
    if short is not None and fits(short):
        what = (
            "what is said of the bench" if result.design.bench.hand_out else "the name of its settings file"
        )
        without = "comments" if whole else f"comments and {what}"
        return [Code(short, f"The text of the design file, without its {without}.")]
    return [Paragraph("The text of the design file is too long to be printed here as a code.", small=True)]
