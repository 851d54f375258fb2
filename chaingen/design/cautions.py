"""What the maker of a piece should know of how its findings hold and close.

All of it can be made, so that nothing is refused; it is told with the verdict, never left out.
"""

from dataclasses import dataclass

from chaingen.design.design import Design
from chaingen.design.fastenings import Side, lets_in, meetings, opens_to, row_of
from chaingen.findings.finding import OPEN, Finding, slips_out
from chaingen.geometry.shapes import Closure, Eye
from chaingen.units import format_mm
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sections, Strands

ON_THE_BODY = "ear"
"""How the kinds of findings begin that go through skin and take no partner."""


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that can be made, and that its maker should know.

    Attributes:
        kind: ``slips out``, ``does not close``, ``open hook`` or ``through skin``.
        finding: The finding's name.
        eye: Which of its eyes; empty where it is about none.
        opening: How wide that is open [mm], or how far it opens; None where that does not matter.
        wire: Diameter of the wire that it is about [mm]; None likewise.
        text: All of it in a sentence.
    """

    kind: str
    finding: str
    eye: str
    opening: float | None
    wire: float | None
    text: str


def cautions(design: Design) -> tuple[Caution, ...]:
    """What should be known of how a piece holds and closes, each once."""
    found: list[Caution] = []
    used: dict[str, Finding] = {}
    for here, there in meetings(design):
        for side, other, after in ((here, there, True), (there, here, False)):
            if side.finding is None:
                continue
            used[side.finding.name] = side.finding
            for eye in side.eyes(after):
                found += _slipping(side.finding, eye, other, after)
    for side in _alone(design):
        if side.finding is not None:
            used.setdefault(side.finding.name, side.finding)
    found += _closing(design)
    for finding in used.values():
        found += _hooks(finding)
        if finding.kind.startswith(ON_THE_BODY):
            text = (
                f"{finding.name!r} goes through skin: take metal that is meant for it, and round and polish "
                "its end; local rules on nickel in such wire come first."
            )
            found.append(Caution("through skin", finding.name, "", None, None, text))
    return tuple(dict.fromkeys(found))


def _alone(design: Design) -> list[Side]:
    """The only group of a piece of one, which meets nothing."""
    piece = design.piece
    if isinstance(piece, Run) and len(groups := piece.groups()) == 1:
        return [Side(groups[0], "pattern.groups[1]")]
    return []


def _slipping(finding: Finding, eye: Eye, other: Side, after: bool) -> list[Caution]:
    """Whether what an eye holds can slip out of it."""
    wires = [(f"ring {size.name!r}", size.wire_diameter) for size in other.sizes]
    if other.finding is not None:
        wires += [
            (f"finding {other.finding.name!r}", 2.0 * mate.wire_radius) for mate in other.eyes(not after)
        ]
    return [
        Caution(
            "slips out",
            finding.name,
            eye.name,
            eye.opening,
            wire,
            f"The eye {eye.name!r} of {finding.kind} {finding.name!r} is open by {format_mm(eye.opening)}, "
            f"and the wire of {what}, {format_mm(wire)}, can slip out of it: it has to be closed further.",
        )
        for what, wire in wires
        if slips_out(eye, wire)
    ]


def _hooks(finding: Finding) -> list[Caution]:
    return [
        Caution(
            "open hook",
            finding.name,
            eye.name,
            eye.opening,
            None,
            f"{finding.kind.capitalize()} {finding.name!r}, open hook: {format_mm(eye.opening)}.",
        )
        for eye in finding.shape.eyes
        if eye.closure is Closure.HOOK and eye.opening > 0.0
    ]


def _outermost(design: Design) -> tuple[Side, Side] | None:
    """What is first and what is last in an open piece."""
    piece, ends = design.piece, design.ends
    if isinstance(piece, Run):
        if piece.closed or not (row := row_of(piece, "pattern", len(ends.start), len(ends.end), False)):
            return None
        return row[0], row[-1]
    if not isinstance(piece, Sections):
        return None
    sides = []
    for end, index in ((piece.parts[0], 0), (piece.parts[-1], -1)):
        part = end.part if isinstance(end, Strands) else end
        sides.append(Side(part if isinstance(part, Chain) else part.groups()[index], "pattern.sections"))
    return sides[0], sides[1]


def _closing(design: Design) -> list[Caution]:
    """Whether a clasp at one end takes what is at the other."""
    outermost = _outermost(design)
    if outermost is None:
        return []
    found = []
    start, end = outermost
    mouths: list[list[Eye]] = []
    for side, after in ((start, False), (end, True)):
        finding = side.finding
        if finding is None or finding.kind.startswith(ON_THE_BODY):
            mouths.append([])
        else:
            mouths.append([eye for eye in side.eyes(after) if eye.closure in OPEN])
    if mouths[0] and mouths[1]:
        assert start.finding is not None
        assert end.finding is not None
        text = (
            f"There is a clasp at either end, {start.finding.name!r} and {end.finding.name!r}, and neither "
            "has an eye for the other: one end wants a ring or an eye."
        )
        return [Caution("does not close", start.finding.name, mouths[0][0].name, None, None, text)]
    for own, side, other, after in ((mouths[0], start, end, True), (mouths[1], end, start, False)):
        finding = side.finding
        for eye in own:
            assert finding is not None
            taken = _taken(other, after)
            if taken is None:
                continue
            what, wire, hole = taken
            bar = bar_length(finding)
            if bar is not None and bar <= hole:
                text = (
                    f"{finding.kind.capitalize()} {finding.name!r} is {format_mm(bar)} long, and {what} "
                    f"at the other end {format_mm(hole)} inside: it slips out."
                )
                found.append(Caution("does not close", finding.name, eye.name, hole, bar, text))
            elif not lets_in(eye, wire):
                width = min(opens_to(eye), eye.inside)
                text = (
                    f"{finding.kind.capitalize()} {finding.name!r} opens {format_mm(width)}, and the wire of "
                    f"{what} at the other end is {format_mm(wire)}: it does not close."
                )
                found.append(Caution("does not close", finding.name, eye.name, width, wire, text))
    return found


def bar_length(finding: Finding) -> float | None:
    """Length of a toggle's bar from end to end [mm]; None of what is none."""
    if all(eye.closure is not Closure.BAR for eye in finding.shape.eyes):
        return None
    low, high = finding.shape.box
    return float((high - low).max())


def _taken(side: Side, after: bool) -> tuple[str, float, float] | None:
    """What a clasp takes at the other end, with its wire and its inside [mm].

    None where nothing there is meant for one.
    """
    finding = side.finding
    if finding is None:
        thin = min(side.sizes, key=lambda size: size.wire_diameter)
        return f"ring {thin.name!r}", thin.wire_diameter, thin.inside_diameter
    if finding.kind.startswith(ON_THE_BODY):
        return None
    eyes = side.eyes(after) or side.eyes(not after)
    if not eyes:
        return None
    thinnest = min(eyes, key=lambda eye: eye.wire_radius)
    return f"{finding.kind} {finding.name!r}", 2.0 * thinnest.wire_radius, thinnest.inside
