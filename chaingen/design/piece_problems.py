"""What is wrong with the piece that a design says as a whole: its size, its sums, what meets where."""

from collections.abc import Sequence
from itertools import pairwise

from chaingen.design.design import MAX_CELL_RINGS, MAX_END_RINGS, MAX_RINGS, Design, Ends
from chaingen.errors import Problem
from chaingen.findings.finding import Finding
from chaingen.units import format_mm
from chaingen.weave.groups import BodySize, GroupKind, RingSize, Run
from chaingen.weave.pieces import Chain, Piece, Section, Sections, Sheet, Strands
from chaingen.weave.tiling import FEWEST_ROUND, fewest_round

NO_ENDS = Ends()
"""Nothing at the ends of a piece."""


def piece_problems(design: Design) -> list[Problem]:
    """What is wrong with the piece as a whole."""
    piece, problems = design.piece, []
    thinnest = min(size.wire_diameter for size in design.ring_sizes)
    if design.tolerance >= 0.5 * thinnest:
        limit = f"less than {format_mm(0.5 * thinnest)}, half the thinnest wire"
        problems.append(Problem("tolerance", format_mm(design.tolerance), limit))
    rings = piece.most_rings()
    if rings > MAX_RINGS:
        return [
            *problems,
            Problem(_extent(piece), f"a piece of {rings:,} rings", f"at most {MAX_RINGS:,} rings"),
        ]
    if isinstance(piece, Sections):
        first = 1 if design.ends.start else 0
        own = len(piece.parts) - first - (1 if design.ends.end else 0)
        for number, part in enumerate(piece.parts[first : first + own], start=1):
            where = "pattern" if design.middle is not None else f"pattern.sections[{number}]"
            problems += _part_problems(part, where, design.length)
        if design.length is not None and all(one.where != "pattern.length" for one in problems):
            # A length beside sections is that of what has findings at its ends.
            problems += _short_length(piece.parts, design.length)
    else:
        problems += _part_problems(piece, "pattern", design.length, design.ends)
    return problems


def _short_length(parts: Sequence[Section], length: float) -> list[Problem]:
    """Whether a length has room for one repeat between what is at the ends."""
    ends = [group for part in parts if isinstance(part, Run) for group in part.groups()]
    rings = min(
        (
            size.inside_diameter + 2.0 * size.wire_diameter
            for part in parts
            if not isinstance(part, Run)
            for size in part.sizes()
        ),
        default=0.0,
    )
    findings = [group.size for group in ends if isinstance(group.size, Finding)]
    least = rings + sum(_long(finding) - 4.0 * finding.wire_radius for finding in findings)
    if length >= least:
        return []
    limit = f"at least the findings and one ring, about {format_mm(least, 1)} from outside to outside"
    return [Problem("pattern.length", format_mm(length), limit)]


def _long(size: BodySize) -> float:
    """How long a ring or a finding is along the piece, from outside to outside [mm]."""
    if isinstance(size, RingSize):
        return size.inside_diameter + 2.0 * size.wire_diameter
    low, high = size.shape.box
    return float(high[0] - low[0])


def _extent(piece: Piece) -> str:
    """The place that says how large a piece is."""
    if isinstance(piece, Sections):
        return "pattern.sections"
    if isinstance(piece, Sheet):
        return "pattern.outline" if piece.outline is not None else "pattern.columns"
    return "pattern.repeat"


def _part_problems(
    part: Section | Sheet, where: str, length: float | None, ends: Ends = NO_ENDS
) -> list[Problem]:
    if isinstance(part, Strands):
        part = part.part
    if isinstance(part, Run):
        return _run_problems(part, where, length, ends)
    problems = _link_problems(part, where)
    if isinstance(part, Chain):
        problems += _chain_problems(part, where, length)
    return problems


def _link_problems(piece: Chain | Sheet, where: str) -> list[Problem]:
    """Rings of unlike sizes that are linked, one with a wire thicker than the other's inside."""
    sizes = dict(piece.chosen)
    role_of = {ring.name: ring.role for ring in piece.weave.rings}
    pairs = dict.fromkeys(
        pair
        for link in piece.weave.links
        for pair in (
            (role_of[link.first], role_of[link.second]),
            (role_of[link.second], role_of[link.first]),
        )
    )
    return [
        Problem(
            f"{where}.rings",
            f"wire of {format_mm(sizes[thick].wire_diameter)} for {thick}, linked with {narrow} of "
            f"{format_mm(sizes[narrow].inside_diameter)} inside",
            "wire no thicker than the inside of a ring that it has to pass",
        )
        for thick, narrow in pairs
        if sizes[thick].wire_diameter > sizes[narrow].inside_diameter
    ]


def _chain_problems(chain: Chain, where: str, length: float | None) -> list[Problem]:
    if chain.closed and length is None and chain.repeat < (fewest := fewest_round(chain.weave)):
        got = f"a closed loop of {chain.repeat} cell{'s' if chain.repeat > 1 else ''}"
        expected = f"at least {fewest} cells in a closed loop of this weave"
        return [Problem(where, got, expected, "raise repeat")]
    if length is None:
        return []
    outside = min(size.inside_diameter + 2.0 * size.wire_diameter for size in chain.sizes())
    if length < outside:
        limit = f"at least one ring, which is {format_mm(outside)} from outside to outside"
        return [Problem(f"{where}.length", format_mm(length), limit)]
    return []


def _run_problems(run: Run, where: str, length: float | None, ends_of: Ends) -> list[Problem]:
    problems = []
    cell = sum(g.count for g in run.cell) * (2 if sum(g.quarters for g in run.cell) % 2 else 1)
    repeats = run.closed or run.repeat > 2 or length is not None
    if repeats and cell > MAX_CELL_RINGS:
        problems.append(
            Problem(
                f"{where}.groups",
                f"{cell} rings to be repeated as one (an odd number of quarter turns counts twice)",
                f"at most {MAX_CELL_RINGS}, more take too long to place",
                "repeat fewer groups, or write an open run out with neither repeat nor length",
            )
        )
    ends = sum(g.count for g in run.first + run.last)
    if length is not None and ends > MAX_END_RINGS:
        problems.append(
            Problem(
                f"{where}.length",
                f"{ends} rings in first and last",
                f"at most {MAX_END_RINGS} beside a length, more take too long to pull straight",
                "write repeat instead",
            )
        )
    # Two repeats show every pair of neighbours that there can be.
    row = run.first + run.cell * (2 if length is not None else min(run.repeat, 2)) + run.last
    # What joins a finding to the piece may be as many rings in a row as its maker chooses.
    own = row[len(ends_of.start) : len(row) - len(ends_of.end)]
    joins = [group.kind is GroupKind.JOIN for group in own]
    advice = "write side_by_side instead of join"
    if all(joins):
        problems.append(Problem(f"{where}.groups", "joins only", "a join between two groups", advice))
        return problems
    if any(a and b for a, b in pairwise(joins + joins[:1] if run.closed else joins)):
        problems.append(
            Problem(
                f"{where}.groups",
                "two joins in a row, or in a row when repeated",
                "a group between any two joins",
                advice,
            )
        )
    count = len(run.groups())
    if run.closed and length is None and count < FEWEST_ROUND:
        got = f"a closed loop of {count} group{'s' if count > 1 else ''}"
        expected = f"at least {FEWEST_ROUND} groups in a closed loop"
        problems.append(Problem(where, got, expected, "raise repeat"))
    if length is not None:
        first = next(group for group in row if group.kind is not GroupKind.JOIN)
        findings = [group for group in row if group.kind is GroupKind.FINDING]
        outside = max(_long(group.size) for group in [first, *findings])
        if length < outside:
            what = "its longest finding" if findings else "one group"
            limit = f"at least {what}, which is {format_mm(outside)} from outside to outside"
            problems.append(Problem(f"{where}.length", format_mm(length), limit))
    return problems
