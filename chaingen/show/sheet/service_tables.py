"""What goes to a print or casting service: limits, checks, sizes, files, cautions."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from chaingen.design.bench import Units
from chaingen.design.service import Axes, Service
from chaingen.make.result import Result
from chaingen.model.figures import figures_of
from chaingen.model.threemf import why_not
from chaingen.prepare.batch import Prepared, metal_to_melt
from chaingen.prepare.cast import Sizes
from chaingen.prepare.sent import ServiceCheck, by, model_word
from chaingen.prepare.write import FOLDER
from chaingen.show.service_facts import checks_of, nothing_sent, piece_sizes, service_cautions
from chaingen.show.service_words import (
    ASSUMED,
    OWN_MATERIAL,
    holds_words,
    loose_lines,
    sent_open,
    shrinkage_reasons,
    soldered_lines,
    title_words,
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
    checks = checks_of(result, prepared)
    blocks: list[Block] = [
        Heading("To send to a service"),
        _limits_table(service, measures),
        _check_table(checks, measures),
    ]
    blocks += [Paragraph(text)] if (text := nothing_sent(prepared)) else []
    if result.fits:
        sizes = _size_table(piece_sizes(result, prepared), service, measures)
        made = prepared is None or bool(prepared.batches)
        told = [*(loose_lines(result) if made else []), *soldered_lines(service, checks)]
        blocks += [] if sizes is None else [sizes]
        blocks += [Paragraph(measures.in_text(line)) for line in told]
        if prepared is not None and prepared.batches:
            blocks.append(_batch_table(prepared, measures))
            titles = {batch.name: title_words(batch) for batch in prepared.batches}
            blocks += [Figure(path, titles.get(name, name), ABREAST) for name, path in pictures.items()]
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
        if service.safe_gap > service.smallest_gap:
            gap = f"{gap}, {measures.small(service.safe_gap, said=True)} to be sure"
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


def _check_table(checks: Sequence[ServiceCheck], measures: Measures) -> Table:
    rows = tuple(
        (check.name, check.state.value, _in_text("\n".join(check.lines) or check.text, measures))
        for check in checks
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
    """The files: how many are made of each, and what it holds, weighs and measures; with all metal.

    Names of files are short, each on a line of its own, so that none is broken over lines.
    """
    ends = (".stl",) if why_not() else (".stl", ".3mf")
    copied = any(batch.copies > 1 for batch in prepared.batches)
    rows = [
        (
            "\n".join(f"{batch.name}{end}" for end in ends), f"{batch.copies:,}" if copied else "",
            f"{holds_words(batch)}\n{_box(figures_of(batch.model).size, measures)}",
            "" if batch.metal is None else batch.metal.name,
            "" if batch.metal is None else weight(batch.pieces_weight),
            weight(batch.sprues_weight) if batch.sprues_weight else "",
            "" if batch.metal is None else weight(batch.weight),
        )
        for batch in prepared.batches
    ]  # fmt: skip
    melt = metal_to_melt(prepared.batches)
    rows += [("to melt", "", "", metal.name, "", "", weight(own)) for metal, own in melt.items()]
    head = ("File", "How many", "Holds, size as sent", "Metal", "Pieces", "Sprues", "In all")
    notes = ["All files are in millimetres; say so to the service."]
    if len(ends) > 1:
        notes.append("Of each, send the one that the service takes: both hold the same.")
    if any(batch.metal is not None for batch in prepared.batches):
        of_one = " of one copy of a file," if copied else ""
        notes.append(f"Weights are{of_one} of the metal as cast, before anything is cut off or finished.")
        notes.append("To melt is what every copy of every casting takes in all.")
    else:
        notes.append(OWN_MATERIAL)
    return slim(head, rows, (1, 4, 5, 6), caption=f"Files, in the folder {FOLDER}", notes=tuple(notes))


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
