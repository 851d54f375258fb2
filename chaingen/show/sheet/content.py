"""What the maker's sheet says: the blocks of a document, from everything that is known of a piece."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from chaingen.make.plan import Plan
from chaingen.make.result import Result
from chaingen.prepare.batch import Prepared
from chaingen.show.finding_words import COMES_APART, parting_lines
from chaingen.show.making import IN_ONE, NOT_THE_PRINT, in_one, printed, strength_words
from chaingen.show.phrases import counted
from chaingen.show.service_words import failed_lines
from chaingen.show.sheet.cautions_words import caution_lines
from chaingen.show.sheet.code import fits
from chaingen.show.sheet.design_text import says_any, without_keys
from chaingen.show.sheet.document import (
    Block,
    Bullets,
    Code,
    Document,
    Figure,
    Heading,
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
    pull_line,
    sizes_line,
)
from chaingen.show.sheet.plan_tables import (
    class_blocks,
    cost_blocks,
    length_table,
    owned_table,
    strength_blocks,
)
from chaingen.show.sheet.ring_tables import (
    bead_table,
    finding_table,
    made_table,
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
from chaingen.show.sheet.work_blocks import work_blocks
from chaingen.show.words import headline, round_lines
from chaingen.solve.placement import Answer

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
    blocks: list[Block] = [*_verdict(result, prepared, measures)]
    if pictures.whole is not None:
        blocks.append(Figure(pictures.whole, _caption(result), WHOLE_WIDTH))
    blocks += [_piece_table(result, measures), *_design_code(result)]
    blocks += service_blocks(result, prepared, measures, pictures.sent)
    if plan is not None:
        if not result.fits:
            blocks += _not_fitting(result, plan, measures)
        elif in_one(design.service):
            blocks += _made_in_one(result, measures)
        else:
            blocks += _preparation(result, plan, pictures, measures)
            if plan.order is not None and plan.order.steps:
                blocks += work_blocks(result, plan.order, pictures.steps, pictures.not_drawn)
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
    service = result.design.service
    made_of = ", ".join(metal.name for metal in result.metals.metals)
    if service is not None and printed(service):
        made_of = f"printed ({service.process.name})"
    pieces = "a pair, " if result.design.pair else ""
    rings = counted(sum(count.count for count in result.counts), "ring")
    return f"Maker's sheet: {pieces}{rings}, {made_of}"


# --- the verdict ----------------------------------------------------------------------------------


def _verdict(result: Result, prepared: Prepared | None, measures: Measures) -> list[Block]:
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
    told = [headline(result), *failed_lines(result, prepared), *parting_lines(result)]
    blocks += [Paragraph(measures.in_text(line, exact), strong=True) for line in told]
    service = result.design.service
    plan = result.plan if service is None else None
    if result.fits and plan is not None and (pull := pull_line(plan, measures)):
        blocks.append(Paragraph(pull, strong=True))
    if result.counts:
        blocks.append(Paragraph(sizes_line(result, measures)))
    if result.band is not None:
        blocks.append(Paragraph(band_words(result.band, measures)))
    thread = result.threading
    if result.fits and thread is not None and thread.margin < 0.0 and not in_one(service):
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
    is_print = printed(design.service)
    if not is_print:
        rows.append((f"weight{less}", weight(result.weight)))
    notes = ["Numbers of parts and weights are of both pieces, lengths of one."] if design.pair else []
    if any(what == AS_NECKLACE for what, _ in rows):
        notes.append("Names of lengths of necklaces differ from shop to shop (common practice).")
    if is_print:
        metals = " and ".join(metal.name for metal in result.metals.metals)
        notes.append(f"In {metals} it would weigh {weight(result.weight)}{less}: {NOT_THE_PRINT}.")
    plan = result.plan
    if plan is not None and result.fits and not cost_blocks(plan, result):
        notes.append(f"Prices and times: {NOT_GIVEN}. Nothing is guessed.")
    return Table("The piece", ("What", "How much"), tuple(rows), (1,), tuple(notes))


# --- what to prepare ------------------------------------------------------------------------------


def _preparation(result: Result, plan: Plan, pictures: SheetPictures, measures: Measures) -> list[Block]:
    """Rings, wire, mandrels, findings, weight."""
    bench, service = result.design.bench, result.design.service
    tables: list[Table | Figure | None] = []
    of_wire = bool(result.counts) and service is None
    mandrels = mandrel_table(plan.mandrels, bench, measures) if of_wire else None
    if result.counts and service is not None:
        tables += [ring_table(result, plan.order, measures), made_table(result.counts, service)]
    if of_wire:
        tables += [
            ring_table(result, plan.order, measures),
            stock_table(plan.rings, bench),
            wire_table(plan.rings, bench, measures),
            *order_tables(plan.wire, result.findings, bench, measures),
            mandrels,
        ]
    tables += [
        finding_table(result, measures),
        *finding_figures(result, pictures.findings, measures),
        bead_table(result.beads, measures),
        weight_table(result),
    ]
    blocks: list[Block] = [Heading("What to prepare")]
    if of_wire and mandrels is None:
        metals = ", ".join(dict.fromkeys(entry.metal.name for entry in plan.mandrels))
        blocks.append(
            Paragraph(
                f"No mandrel is told: how wire of {metals} springs was {NOT_GIVEN} and is not in the tables. "
                "Wind a short trial coil on what is near the inside diameter wanted, and measure it.",
            )
        )
    return [*blocks, *(table for table in tables if table is not None)]


def _made_in_one(result: Result, measures: Measures) -> list[Block]:
    """Rings, findings, beads, weight of a piece that a service makes whole."""
    tables = [
        ring_table(result, None, measures) if result.counts else None,
        finding_table(result, measures),
        bead_table(result.beads, measures),
        weight_table(result),
    ]
    return [
        Heading("What it is made of"),
        Paragraph(IN_ONE),
        *(table for table in tables if table is not None),
    ]


def _not_fitting(result: Result, plan: Plan, measures: Measures) -> list[Block]:
    """Of a piece that does not fit: what was designed, and rings at hand that may do instead."""
    blocks: list[Block] = [Heading("What was designed")]
    if result.counts:
        blocks.append(ring_table(result, None, measures))
    left_out = result.design.bench.hand_out or in_one(result.design.service)
    owned = None if left_out else owned_table(plan.owned, result, measures)
    return blocks if owned is None else [*blocks, owned]


# --- what to decide by ----------------------------------------------------------------------------


def _choices(result: Result, plan: Plan, measures: Measures) -> list[Block]:
    bench, service = result.design.bench, result.design.service
    blocks: list[Block] = []
    lengths = length_table(plan.lengths, result, measures)
    if lengths is not None:
        blocks += [Heading("Length"), lengths]
    blocks.append(Heading("The pull it holds"))
    if service is None:
        blocks += strength_blocks(plan.strength, measures)
    else:
        trial = "Pull a sample before a piece bears anything or is sold."
        blocks.append(Paragraph(f"{strength_words(service)} {trial}"))
    if bench.hand_out:
        # What is at hand, who takes part and what it costs are for the maker alone.
        return blocks
    if not in_one(service):
        owned = owned_table(plan.owned, result, measures)
        blocks += [] if owned is None else [Heading("Rings at hand"), owned]
        if plan.classroom is not None:
            blocks += [Heading("For a class"), *class_blocks(plan, result, measures)]
    costs = cost_blocks(plan, result)
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
