"""Pictures of the findings that are made by hand, with the sizes that they are bent to."""

from collections.abc import Mapping
from pathlib import Path

from chaingen.findings.catalogue import KINDS
from chaingen.findings.finding import Finding
from chaingen.geometry.shapes import Closure
from chaingen.make.finding_counts import FindingCount
from chaingen.make.result import Result
from chaingen.show.finding_picture import draw_finding
from chaingen.show.sheet.document import Figure
from chaingen.show.sheet.measures import Measures

MOST_DRAWN = 9
"""Most findings that are drawn."""

ABREAST = 1.0 / 3.0
"""How wide a picture of a finding is printed, as a part of the text's width."""


def made_by_hand(result: Result) -> list[FindingCount]:
    """The findings of a piece that a maker bends, each name once, in order of first use."""
    own = {entry.finding.name: entry for entry in result.findings if not KINDS[entry.finding.kind].bought}
    return list(own.values())[:MOST_DRAWN]


def draw_findings(folder: Path, result: Result) -> dict[str, Path]:
    """Draw the findings of a piece that are made by hand, by their name.

    Args:
        folder: Where the pictures go.
        result: The piece.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: A file cannot be written.
    """
    return {
        entry.finding.name: draw_finding(entry.finding, folder / f"finding-{number}.png", metal=entry.metal)
        for number, entry in enumerate(made_by_hand(result), start=1)
    }


def finding_figures(result: Result, pictures: Mapping[str, Path], measures: Measures) -> list[Figure]:
    """The pictures of findings, each with its sizes."""
    return [
        Figure(pictures[entry.finding.name], size_words(entry.finding, measures), ABREAST)
        for entry in made_by_hand(result)
        if entry.finding.name in pictures
    ]


def size_words(finding: Finding, measures: Measures) -> str:
    """What a finding is bent to: its wires, and each of its eyes with what it is wound or bent round."""
    wires = dict.fromkeys(round(wire, 6) for wire, _ in finding.wires)
    said = [f"wire {' and '.join(measures.wire(wire, said=True) for wire in wires)}"] if wires else []
    several = len(finding.shape.eyes) > 1
    told: dict[tuple[str, float], None] = {}
    for eye in finding.shape.eyes:
        if eye.closure is Closure.BAR:
            continue  # it is what is linked with the bar, and no part that is bent
        name = eye.name.rstrip(" 0123456789") if several else "inside"
        told[name, round(eye.inside, 6)] = None
    for name, inside in told:
        size = measures.length(inside, said=True)
        said.append(f"{name} {size} inside" if name != "inside" else f"{size} inside")
    return f"{finding.kind[0].upper()}{finding.kind[1:]} {finding.name!r}: {', '.join(said)}."
