"""What the maker of a piece should know of how its findings hold and close.

All of it can be made, so that nothing is refused; it is told with the verdict, never left out.
"""

from dataclasses import dataclass

from chaingen.design.design import Design
from chaingen.design.fastenings import Side, meetings, row_of
from chaingen.findings.closing import End, end_of_finding, end_of_ring, through_skin, why_not
from chaingen.findings.finding import Finding
from chaingen.geometry.shapes import Closure, Eye
from chaingen.units import format_mm
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sections, Strands


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
        if through_skin(finding):
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
        # A hook holds what hangs on it while it is worn; within a piece it lets go of it.
        if eye.closure is not Closure.GATE and eye.opening > wire
    ]


def _hooks(finding: Finding) -> list[Caution]:
    hooks = [e for e in finding.shape.eyes if e.closure is Closure.HOOK and e.opening > 0.0]
    return [
        Caution(
            "open hook",
            finding.name,
            eye.name,
            eye.opening,
            None,
            _hook_text(finding, eye, len(hooks) > 1),
        )
        for eye in hooks
    ]


def _hook_text(finding: Finding, eye: Eye, several: bool) -> str:
    called = f"{finding.kind[0].upper()}{finding.kind[1:]} {finding.name!r} is open as it is worn"
    opening = f"the opening of its {eye.name!r}" if several else "its opening"
    return f"{called}: {opening} is {format_mm(eye.opening)}."


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
    """Whether what is at one end of a piece closes on what is at the other."""
    outermost = _outermost(design)
    if outermost is None:
        return []
    start, end = outermost
    findings = [side.finding for side in outermost]
    if all(finding is None for finding in findings) or any(f and through_skin(f) for f in findings):
        return []
    ends = _end(start, False), _end(end, True)
    clasps = [(side, one) for side, one in zip(outermost, ends, strict=True) if one and one.is_clasp]
    if None in ends:
        # A pin or pendant hangs from a piece that is not worn closed, unless a clasp says that it is.
        if not clasps:
            return []
        side, one = clasps[0]
        assert side.finding is not None
        text = f"{_sentence(one.what)} has nothing at the other end to close on."
        return [Caution("does not close", side.finding.name, _mouth(side, start), None, None, text)]
    first, last = ends
    assert first is not None
    assert last is not None
    why = why_not(first, last)
    # Without a clasp nothing says that it shall be worn closed.
    if why is None or not clasps:
        return []
    side, one = clasps[0]
    assert side.finding is not None
    other = last if one is first else first
    width = None if one.width == float("inf") else min(one.width, one.hole)
    name = _mouth(side, start)
    return [Caution("does not close", side.finding.name, name, width, other.wire, f"{_sentence(why)}.")]


def _mouth(side: Side, start: Side) -> str:
    """Name of the eye that a finding at an end has outward."""
    return side.eyes(side is not start)[0].name


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def _end(side: Side, after: bool) -> End | None:
    """What is at an end of a piece; None where it has nothing that could be closed."""
    finding = side.finding
    if finding is None:
        thin = min(side.sizes, key=lambda size: size.wire_diameter)
        return end_of_ring(thin.name, thin.wire_diameter, thin.inside_diameter)
    eyes = side.eyes(after)
    return end_of_finding(finding, eyes[0]) if eyes else None
