"""What is linked through the eyes of findings: whether there is an eye, and whether the wire goes through."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from chaingen.design.design import Design
from chaingen.errors import Problem
from chaingen.findings.closing import opens_to
from chaingen.findings.finding import Finding
from chaingen.geometry.shapes import Closure, Eye
from chaingen.units import format_mm
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from chaingen.weave.pieces import Chain, Section, Sections, Strands


@dataclass(frozen=True, slots=True)
class Side:
    """What meets its neighbour.

    Attributes:
        what: A group, or the chain of a weave.
        where: The place in the design that says it.
        strands: How many times it is there, side by side.
    """

    what: Group | Chain
    where: str
    strands: int = 1

    @property
    def finding(self) -> Finding | None:
        """The finding, if it is one."""
        return (
            self.what.size if isinstance(self.what, Group) and isinstance(self.what.size, Finding) else None
        )

    @property
    def sizes(self) -> tuple[RingSize, ...]:
        """Its ring sizes; of a chain all, for which of them are at its end is not said here."""
        if isinstance(self.what, Chain):
            return self.what.sizes()
        return (self.what.size,) if isinstance(self.what.size, RingSize) else ()

    def eyes(self, after: bool) -> tuple[Eye, ...]:
        """A finding's eyes towards what comes after it, or before it."""
        finding = self.finding
        if finding is None or not isinstance(self.what, Group):
            return ()
        return tuple(finding.shape.eyes[k] for k in (self.what.after if after else self.what.before))


def meetings(design: Design) -> Iterator[tuple[Side, Side]]:
    """Every two neighbours of a piece with how they come: each kind of meeting at least once."""
    piece, start, end = design.piece, len(design.ends.start), len(design.ends.end)
    if isinstance(piece, Run):
        row = row_of(piece, "pattern", start, end, design.length is not None)
        yield from pairwise(row)
        if piece.closed and len(row) > 1:
            yield row[-1], row[0]
        return
    if not isinstance(piece, Sections):
        return
    rows: list[list[Side]] = []
    count = len(piece.parts)
    for number, part in enumerate(piece.parts):
        if design.middle is not None:
            where = "pattern"
        else:
            where = f"pattern.sections[{number + (0 if start else 1)}]"
        rows.append(_section_row(part, where, start if number == 0 else 0, end if number == count - 1 else 0))
    # Joins alone are left off at both ends; that is told of the piece.
    rows = [row for row in rows if row]
    for row in rows:
        yield from pairwise(row)
    for before, after in pairwise(rows):
        yield before[-1], after[0]


def _section_row(part: Section, where: str, start: int, end: int) -> list[Side]:
    """The groups of a section with their places; a weave is one.

    Args:
        part: The section.
        where: Its place.
        start: How many groups it is where it is what a piece starts with, 0 where it is not.
        end: Likewise where it is what a piece ends with.
    """
    if isinstance(part, Strands):
        return [replace(side, strands=part.count) for side in _section_row(part.part, where, 0, 0)]
    if isinstance(part, Chain):
        return [Side(part, where)]
    if start:
        return row_of(part, "", start, 0, False)[:start]
    if end:
        return row_of(part, "", 0, end, False)[-end:]
    return row_of(part, where, 0, 0, False)


def row_of(run: Run, where: str, start: int, end: int, long: bool) -> list[Side]:
    """The groups of a run with their places, the repeated ones twice where they are repeated.

    Args:
        run: The run.
        where: Its place.
        start: How many of its first groups are said as what is at its start; all, where it has no others.
        end: How many of its last groups likewise.
        long: Whether it is repeated as often as a length takes.
    """
    repeat = 2 if long else min(run.repeat, 2)
    groups = run.first + run.cell * repeat + run.last
    places = []
    for k in range(len(groups)):
        if k < start:
            places.append(_end_place("start", k))
        elif k >= len(groups) - end:
            places.append(_end_place("end", len(groups) - 1 - k))
        elif k < len(run.first):
            places.append(f"{where}.first[{k - start + 1}]")
        elif k < len(run.first) + repeat * len(run.cell):
            places.append(f"{where}.groups[{(k - len(run.first)) % len(run.cell) + 1}]")
        else:
            places.append(f"{where}.last[{k - len(run.first) - repeat * len(run.cell) + 1}]")
    row = [Side(group, place) for group, place in zip(groups, places, strict=True)]
    # Joins at open ends join nothing and are left off.
    while row and not run.closed and where and _is_join(row[0]):
        row = row[1:]
    while row and not run.closed and where and _is_join(row[-1]):
        row = row[:-1]
    return row


def _is_join(side: Side) -> bool:
    return isinstance(side.what, Group) and side.what.kind is GroupKind.JOIN


def _end_place(end: str, number: int) -> str:
    return f"ends.{end}.finding" if number == 0 else f"ends.{end}.joins[{number}]"


def fastening_problems(design: Design) -> list[Problem]:
    """Findings that lack the eye by which a neighbour would be linked, or whose eye does not take it."""
    problems = _loose_strands(design)
    for here, there in meetings(design):
        missing = [
            problem
            for side, other, after in ((here, there, True), (there, here, False))
            if (problem := _eyeless(side, other, after))
        ]
        problems += missing
        if not missing:
            problems += _number_problems(here, there)
            problems += _size_problems(here, there)
    return list(dict.fromkeys(problems))


def _loose_strands(design: Design) -> list[Problem]:
    """Strands with nothing before or after them that would hold them together."""
    piece = design.piece
    if not isinstance(piece, Sections) or len(piece.parts) > 1 or not isinstance(piece.parts[0], Strands):
        return []
    where = "pattern" if design.middle is not None else "pattern.sections[1]"
    got = f"{piece.parts[0].count} strands with nothing at their ends"
    expected = "an end bar at one of their ends, or a section of rings side by side"
    return [Problem(f"{where}.strands", got, expected, "[ends.start] and [ends.end] name end bars")]


def _called(finding: Finding) -> str:
    article = "an" if finding.kind[0] in "aeiouS" else "a"
    return f"finding {finding.name!r}, {article} {finding.kind}"


def _eyeless(side: Side, other: Side, after: bool) -> Problem | None:
    """Whether a finding has no eye towards a neighbour."""
    finding = side.finding
    if finding is None or side.eyes(after):
        return None
    got = f"{_called(finding)}, which has no eye towards what comes {'after' if after else 'before'} it"
    if side.where.startswith("ends."):
        expected, advice = "a finding with an eye towards the piece", ""
    else:
        expected = "a finding with eyes at both ends between two groups"
        one_way = side.eyes(not after)
        advice = (
            "it ends a piece; turned = true or false says which of its ends comes first" if one_way else ""
        )
        if finding.kind == "wire path":
            advice = 'end = "outer" for the eye that is at its other end'
    return Problem(side.where, got, expected, advice)


def _number_problems(here: Side, there: Side) -> list[Problem]:
    """Whether every one of several eyes finds its ring, and every strand its eye or ring."""
    problems = []
    if here.strands != there.strands:
        for side, other, after in ((here, there, True), (there, here, False)):
            if side.strands > 1 and _places(other, not after) != side.strands:
                needed = f"an end bar with {side.strands} eyes, or {side.strands} rings side by side"
                got = f"{side.strands} strands beside {_told(other, not after)}"
                problems.append(Problem(f"{_part_of(side)}.strands", got, needed))
        return problems
    for side, other, after in ((here, there, True), (there, here, False)):
        eyes = side.eyes(after)
        if len(eyes) < 2:
            continue
        finding = side.finding
        assert finding is not None
        needed = f"{len(eyes)} rings side by side there, one for each eye"
        advice = f"side_by_side = {len(eyes)} or join = {len(eyes)}"
        if finding.kind == "end bar":
            advice += f"; or strands = {len(eyes)} in [pattern], a strand for each eye"
        elif finding.kind == "wire path":
            advice += '; or end = "outer" for the eye that is at its other end'
        if isinstance(other.what, Chain):
            met = "a weave"
        elif other.finding is not None:
            met = _called(other.finding)
        elif other.what.kind is GroupKind.ROSETTE:
            met = f"a rosette of {other.what.count}"
        elif other.what.count != len(eyes):
            met = f"{other.what.count} ring{'s' if other.what.count > 1 else ''}"
        else:
            continue
        problems.append(
            Problem(side.where, f"{len(eyes)} eyes of finding {finding.name!r} beside {met}", needed, advice)
        )
    return problems


def _places(side: Side, after: bool) -> int:
    """In how many places strands can be held: in each eye of an end bar, in each of rings side by side."""
    if side.finding is not None:
        return len(side.eyes(after))
    if isinstance(side.what, Chain) or side.what.kind is GroupKind.ROSETTE:
        return 1
    return side.what.count


def _told(side: Side, after: bool) -> str:
    """What strands would be held by, for a message."""
    if side.strands > 1:
        return f"{side.strands} others"
    if side.finding is not None:
        count = len(side.eyes(after))
        return f"{_called(side.finding)} with {count} eye{'s' if count > 1 else ''} there"
    if isinstance(side.what, Chain):
        return "a weave"
    if side.what.kind is GroupKind.ROSETTE:
        return f"a rosette of {side.what.count}"
    return f"{side.what.count} ring{'s' if side.what.count > 1 else ''}"


def _part_of(side: Side) -> str:
    """The place of the pattern or section that a side is part of."""
    return re.sub(r"\.(first|groups|last)\[\d+\]$", "", side.where)


def _size_problems(here: Side, there: Side) -> list[Problem]:
    """Wires too thick for the eye, or the ring, that they have to pass."""
    problems = []
    for side, other, after in ((here, there, True), (there, here, False)):
        finding = side.finding
        if finding is None:
            continue
        for eye in side.eyes(after):
            for mate in other.eyes(not after):
                problems += _eyes_problems(side, finding, eye, other, mate)
            if not other.sizes:
                continue
            # Of a weave's sizes only what holds for all of them is told.
            thin = min(other.sizes, key=lambda size: size.wire_diameter)
            wide = max(other.sizes, key=lambda size: size.inside_diameter)
            if thin.wire_diameter > eye.inside:
                got = (
                    f"the eye {eye.name!r} of finding {finding.name!r}, {format_mm(eye.inside)} inside, for "
                    f"ring {thin.name!r} of {format_mm(thin.wire_diameter)} wire"
                )
                problems.append(Problem(side.where, got, "an eye that the wire goes through"))
            if 2.0 * eye.wire_radius > wide.inside_diameter:
                got = (
                    f"wire of {format_mm(2.0 * eye.wire_radius)} of finding {finding.name!r} for ring "
                    f"{wide.name!r} of {format_mm(wide.inside_diameter)} inside"
                )
                expected = "wire no thicker than the inside of a ring that it has to pass"
                problems.append(Problem(side.where, got, expected))
    return problems


def _eyes_problems(side: Side, finding: Finding, eye: Eye, other: Side, mate: Eye) -> list[Problem]:
    """Two findings linked eye to eye; told once of each two that neither lets the other in."""
    assert other.finding is not None
    problems = []
    wire = 2.0 * mate.wire_radius
    named = f"the eye {eye.name!r} of finding {finding.name!r}"
    others = f"finding {other.finding.name!r}"
    if wire > eye.inside:
        got = f"{named}, {format_mm(eye.inside)} inside, for wire of {format_mm(wire)} of {others}"
        problems.append(Problem(side.where, got, "an eye that the wire goes through"))
    elif side.where <= other.where and not (lets_in(eye, wire) or lets_in(mate, 2.0 * eye.wire_radius)):
        got = f"{named} and the eye {mate.name!r} of {others}, neither of which opens for the other"
        problems.append(Problem(side.where, got, "an eye that can be opened, or a ring between them"))
    return problems


def lets_in(eye: Eye, wire_diameter: float) -> bool:
    """Whether an eye can be opened, by pliers, hand or spring, for a closed wire to be led in [mm]."""
    if wire_diameter > eye.inside or eye.closure is Closure.SOLDERED:
        return False
    return eye.closure is Closure.PLIERS or wire_diameter <= opens_to(eye)
