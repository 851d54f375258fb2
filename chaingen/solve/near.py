"""A piece near one that is placed: solved from where that one's search ended, to follow a size as it changes.

What comes of the one quick search is checked like any other placement. Where it ends with other links or
shapes, or does not end, there is no answer: the piece then has to be placed from the beginning. So it has
when anything but sizes, clearance and the number of repeats is new.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from chaingen.design.design import Design
from chaingen.findings.finding import Finding
from chaingen.solve.bound import hole_proof
from chaingen.solve.cells import Cell
from chaingen.solve.check import ROUND_OFF, CheckReport, check
from chaingen.solve.length import TautLengths
from chaingen.solve.near_cells import cell_near, lengths_near, taut_near
from chaingen.solve.near_rows import Placed, closed_chain, closed_run, open_run, whole_row
from chaingen.solve.place import answer_of, repeats_cell
from chaingen.solve.place_weave import NothingLeft, open_chain, sheet_of
from chaingen.solve.placement import Answer, Placement
from chaingen.solve.repeats import repeated_by
from chaingen.weave.groups import Group, Run
from chaingen.weave.pieces import Chain, Piece, Sections, Sheet

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Near:
    """A design placed from one near it.

    Attributes:
        design: The design, its number of repeats settled.
        placement: Its placement.
        report: What the check finds.
        finished_length: Finished length [mm]; an estimate where sizes are new; None where not known.
    """

    design: Design
    placement: Placement
    report: CheckReport
    finished_length: float | None


def design_near(
    design: Design,
    before: Design,
    placed: Placement,
    *,
    asked: float | None,
    finished: float | None,
    on_progress: Progress,
) -> Near | None:
    """Place a design from the placement of one near it.

    Args:
        design: The design.
        before: The other one, its number of repeats settled.
        placed: That one's placement.
        asked: The length that one asked for [mm].
        finished: That one's finished length [mm].
        on_progress: Told in words what is being done.

    Returns:
        None where it has to be placed from the beginning.

    Raises:
        BadInput: A length would take more rings than are accepted.
    """
    same = before.repeating
    if design.length is not None and design.length == asked and design.piece_of(same.repeat) == before.piece:
        design = design.repeated(same.repeat)
    by_length, lengths, cell = design.length is not None, None, None
    if placed.cell is not None and design.middle is None and alike(design.repeating, same):
        on_progress("placing rings")
        cell = cell_near(design.repeating, placed.cell, enough=design.clearance)
        if cell is None:
            return None
        if not isinstance(same, Sheet):
            on_progress("pulling the cell straight")
            cell = replace(cell, taut=taut_near(cell, placed.cell))
            lengths = lengths_near(cell, placed.cell, same, finished)
    if by_length:
        if cell is None or (lengths is None and cell.gap >= -ROUND_OFF):
            return None
        design = repeated_by(design, lengths, cell)
    on_progress("checking the whole piece")
    piece = design.piece
    found = place_near(piece, before.piece, placed, cell, clearance=design.clearance)
    if found is None or (by_length and lengths is None and found[0].answer is Answer.FITS):
        # A few repeats that fit where more would not have no length to go by.
        return None
    if piece != before.piece:
        finished = _length(lengths, design)
    return Near(design, *found, finished)


def _length(lengths: TautLengths | None, design: Design) -> float | None:
    return None if lengths is None else lengths.at(design.repeating.repeat)


def _alike_groups(groups: tuple[Group, ...], others: tuple[Group, ...]) -> bool:
    """Whether two rows differ in sizes only."""

    def same(one: Group, other: Group) -> bool:
        kinds = [size.kind if isinstance(size, Finding) else "" for size in (one.size, other.size)]
        said = [(group.kind, group.count, group.before, group.after) for group in (one, other)]
        if kinds[0] != kinds[1] or said[0] != said[1]:
            return False
        # How a finding's eyes stand to one another takes long to find out.
        return not kinds[0] or one.size == other.size or one.quarters == other.quarters

    return len(groups) == len(others) and all(map(same, groups, others))


def alike(piece: Piece, before: Piece) -> bool:
    """Whether two pieces differ at most in sizes and in how often they repeat their cell."""
    if isinstance(piece, Run) and isinstance(before, Run):
        rows = zip(
            (piece.first, piece.cell, piece.last), (before.first, before.cell, before.last), strict=True
        )
        same = (piece.closed, piece.joined) == (before.closed, before.joined)
        return same and all(_alike_groups(row, other) for row, other in rows)
    if isinstance(piece, Chain) and isinstance(before, Chain):
        return piece.closed == before.closed and piece.weave == before.weave
    if isinstance(piece, Sheet) and isinstance(before, Sheet):
        return piece.weave == before.weave
    return isinstance(piece, Sections) and piece == before


def place_near(
    piece: Piece, before: Piece, last: Placement, cell: Cell | None, *, clearance: float
) -> tuple[Placement, CheckReport] | None:
    """Place a piece from the placement of one near it.

    Args:
        piece: The piece.
        before: The other one.
        last: That one's placement.
        cell: The piece's cell from `cell_near`; None for what repeats none.
        clearance: Gap asked for between any two wires [mm].

    Returns:
        The placement and what the check finds; None where it has to be placed from the beginning.
    """
    if not alike(piece, before):
        return None
    if piece == before:
        placement = replace(last, clearance=clearance)
        answered = _answered(placement)
        # More starts may still be found to keep a clearance that is new.
        if clearance == last.clearance or answered[0].answer in (Answer.FITS, Answer.CANNOT_FIT):
            return answered
    cell = cell if repeats_cell(piece) else None
    if cell is None and (repeats_cell(piece) or repeats_cell(before)):
        return None
    area = None
    if isinstance(piece, Sheet):
        assert cell is not None
        try:
            graph, rings, searches, gap, area = sheet_of(
                piece, cell.graph, cell.state, cell.search, cell.gap, clearance
            )
        except NothingLeft:
            return None
    else:
        found = _row_near(piece, before, last, cell, clearance)
        if found is None:
            return None
        graph, rings, searches, gap = found
    placement = Placement(
        graph, rings, Answer.NOT_CONVERGED, gap, clearance, None, tuple(searches), (), area, cell
    )
    answered = _answered(placement)
    return None if answered[0].answer is Answer.NOT_CONVERGED else answered


def _answered(placement: Placement) -> tuple[Placement, CheckReport]:
    """A placement with what can be said of it, checked."""
    graph, clearance = placement.graph, placement.clearance
    proof = hole_proof(graph, clearance)
    report = check(graph, placement.rings, clearance=clearance)
    answer = answer_of(report, proof, placement.searches)
    if answer is not Answer.FITS and (not report.links_as_designed or report.faults):
        # Other links or shapes than those designed are no answer of a search that was to keep them.
        answer = Answer.CANNOT_FIT if proof is not None else Answer.NOT_CONVERGED
    return replace(placement, proof=proof, answer=answer), report


def _row_near(
    piece: Piece, before: Piece, last: Placement, cell: Cell | None, enough: float
) -> Placed | None:
    """Poses of a run or a chain."""
    if isinstance(piece, Chain) and isinstance(before, Chain):
        assert cell is not None
        if not piece.closed:
            return open_chain(piece, cell.graph, cell.state, cell.search, cell.gap, enough)
        return closed_chain(piece, before, last, cell)
    if not (isinstance(piece, Run) and isinstance(before, Run)):
        return None
    if cell is None:
        return whole_row(piece, last)
    return closed_run(piece, before, last, cell) if piece.closed else open_run(piece, last, cell)
