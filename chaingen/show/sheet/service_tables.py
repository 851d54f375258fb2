"""What goes to a print or casting service: limits, checks, sizes, files, cautions."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from chaingen.design.bench import Units
from chaingen.design.service import Axes, Service
from chaingen.make.result import Result
from chaingen.model.figures import figures_of
from chaingen.prepare.batch import Prepared, metal_to_melt
from chaingen.prepare.cast import Sizes
from chaingen.prepare.sent import by, model_word
from chaingen.show.service_facts import checks_of, piece_sizes, service_cautions
from chaingen.show.service_words import (
    ASSUMED,
    holds_words,
    loose_lines,
    sent_open,
    shrinkage_reasons,
    soldered_lines,
)
from chaingen.show.sheet.document import Block, Bullets, Figure, Heading, Paragraph, Table
from chaingen.show.sheet.finding_figures import ABREAST
from chaingen.show.sheet.measures import Measures, weight
from chaingen.show.sheet.ring_tables import slim

_BOX = re.compile(r"([\d.,]+) by ([\d.,]+) by ([\d.,]+ mm)\b")
"""Three sides in a sentence, of which the last alone has its unit."""


def service_blocks(
    result: Result,
    prepared: Prepared | None,
    measures: Measures,
    pictures: Mapping[str, Path] = MappingProxyType({}),
) -> list[Block]:
    """What a service is to be sent and told; nothing of a piece without a service.

    Of a piece that does not fit only the checks, for nobody should have it made.

    Args:
        result: The piece.
        prepared: The same as prepared for its service; None where it is not.
        measures: How lengths are told.
        pictures: Of what is sent, by the names of batches.
    """
    service = result.design.service
    if service is None:
        return []
    blocks: list[Block] = [
        Heading("To send to a service"),
        _limits_table(service, measures),
        _check_table(result, prepared, measures),
    ]
    if result.fits:
        sizes = _size_table(piece_sizes(result, prepared), service, measures)
        told = [*loose_lines(result), *soldered_lines(service)]
        blocks += [] if sizes is None else [sizes]
        blocks += [Paragraph(measures.in_text(line)) for line in told]
        if prepared is not None and prepared.batches:
            blocks.append(_batch_table(prepared, measures))
            blocks += [Figure(path, name, ABREAST) for name, path in pictures.items()]
        if prepared is not None and prepared.by_hand:
            blocks += [Paragraph("Not made by the service, but by hand:"), Bullets(prepared.by_hand)]
    cautions = tuple(f"{text[:1].upper()}{text[1:]}" for text in service_cautions(service))
    what = "casting" if service.process.casts else "printing"
    return [*blocks, Paragraph(f"Cautions of {what} (common practice):"), Bullets(cautions)]


def _limits_table(service: Service, measures: Measures) -> Table:
    """The process and what it can make."""

    def told(name: str, text: str) -> str:
        return f"{text}{ASSUMED if name in service.assumed else ''}"

    rows = [("process", service.process.name)]
    if service.process.casts:
        rows.append(("route", service.route.value))
    rows.append(("thinnest wire", told("smallest_wire", measures.small(service.smallest_wire, said=True))))
    if service.process.assembled:
        gap = measures.small(service.smallest_gap, said=True)
        rows.append(("smallest gap between moving parts", told("smallest_gap", gap)))
    rows.append(("largest that it builds", told("build", _box(service.build, measures))))
    if service.finishing:
        rows.append(("finishing takes off a wire's thickness", measures.small(service.finishing, said=True)))
    usual = (
        "Assumed: usual values, gaps by common practice, the others from memory. Ask the service for its own "
        "and write them into the design."
    )
    notes = (usual,) if service.assumed else ()
    return Table("The service", ("What", "How much"), tuple(rows), (), notes)


def _check_table(result: Result, prepared: Prepared | None, measures: Measures) -> Table:
    rows = tuple(
        (check.name, check.state.value, _in_text(check.text, measures))
        for check in checks_of(result, prepared)
    )
    return Table("Checks against it", ("Check", "Result", "Found"), rows)


def _size_table(sizes: Sequence[Sizes], service: Service, measures: Measures) -> Table | None:
    """Rings finished, as cast and as sent; None where all that is the same and no more is to be said."""
    reasons = tuple(
        dict.fromkeys(reason for own in sizes for reason in shrinkage_reasons(service, own.metal))
    )
    if not sizes or not (reasons or service.finishing):
        return None
    rows = [
        (
            own.size.name, own.metal.name,
            measures.small(own.size.inside_diameter), measures.small(own.size.wire_diameter),
            measures.small(own.cast.inside_diameter) if service.finishing else "",
            measures.small(own.cast.wire_diameter) if service.finishing else "",
            _along(own.inside, measures), _along(own.wire, measures),
        )
        for own in sizes
    ]  # fmt: skip
    made, sent = "Cast" if service.process.casts else "Made", model_word(service).capitalize()
    head = (
        "Ring", "Metal", "Finished inside", "Finished wire", f"{made} inside", f"{made} wire",
        f"{sent} inside", f"{sent} wire",
    )  # fmt: skip
    notes = [f"{reason[:1].upper()}{reason[1:]}." for reason in reasons]
    if service.finishing:
        finishing = measures.small(service.finishing, said=True)
        notes.append(f"Finishing takes {finishing} off the thickness of a wire.")
    if sent_open(service):
        notes.append("Inside diameters are of closed rings, though they are sent open.")
    if any(ASSUMED in reason for reason in reasons):
        notes.append("Shrinkage differs from caster to caster and along x, y and z: measure a trial casting.")
    return slim(head, rows, (2, 3, 4, 5, 6, 7), caption="Sizes", notes=tuple(notes))


def _batch_table(prepared: Prepared, measures: Measures) -> Table:
    """The files: how many are made of each, and what it holds, weighs and measures; with all metal."""
    copied = any(batch.copies > 1 for batch in prepared.batches)
    rows = [
        (
            batch.name, f"{batch.copies:,}" if copied else "", holds_words(batch),
            "" if batch.metal is None else batch.metal.name,
            "" if batch.metal is None else weight(batch.pieces_weight),
            weight(batch.sprues_weight) if batch.sprues_weight else "",
            "" if batch.metal is None else weight(batch.weight), _box(figures_of(batch.model).size, measures),
        )
        for batch in prepared.batches
    ]  # fmt: skip
    melt = metal_to_melt(prepared.batches)
    rows += [("to melt", "", "", metal.name, "", "", weight(own), "") for metal, own in melt.items()]
    head = ("File", "How many", "Holds", "Metal", "Pieces", "Sprues", "In all", "Size as sent")
    notes = ["All files are in millimetres; say so to the service."]
    if any(batch.metal is not None for batch in prepared.batches):
        of_one = " of one copy of a file," if copied else ""
        notes.append(f"Weights are{of_one} of the metal as cast, before anything is cut off or finished.")
        notes.append("To melt is what every copy of every casting takes in all.")
    return slim(head, rows, (1, 4, 5, 6), caption="Files", notes=tuple(notes))


def _along(values: Axes, measures: Measures) -> str:
    """A length, or a line for each axis where they differ."""
    if len({round(value, 3) for value in values}) == 1:
        return measures.small(values[0])
    return "\n".join(
        f"{axis} {measures.small(value, said=True)}" for axis, value in zip("xyz", values, strict=True)
    )


def _box(sides: Sequence[float], measures: Measures) -> str:
    """Three sides: ``60 by 60 by 100 mm``."""
    if measures.units is Units.METRIC:
        return by(sides)
    return " by ".join(measures.length(side, 1, said=True) for side in sides)


def _in_text(text: str, measures: Measures) -> str:
    """A sentence in these units, every side of a box with its own."""
    if measures.units is Units.METRIC:
        return text
    return measures.in_text(_BOX.sub(r"\1 mm by \2 mm by \3", text))
