"""Placement: from a piece to poses of all its rings, and an honest answer to whether it can be made.

All starts are seeded: equal input gives equal output.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from chaingen.geometry.bodies import Bodies
from chaingen.solve.bound import HoleProof, hole_proof
from chaingen.solve.cells import Cell, cell_of
from chaingen.solve.check import CheckReport, check
from chaingen.solve.place_run import PERIODIC_REPEATS, place_run
from chaingen.solve.place_sections import place_sections
from chaingen.solve.place_weave import place_chain, place_sheet
from chaingen.solve.placement import Answer, Placement
from chaingen.solve.search import STARTS, Search
from chaingen.solve.telling import told_to
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Piece, Sections, Sheet

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class _Placed:
    graph: LinkGraph
    rings: Bodies
    searches: list[Search]
    gap: float
    joints: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...] = ()
    cell_area: float | None = None


def _placed(piece: Piece, starts: int, enough: float) -> _Placed:
    if isinstance(piece, Run):
        return _Placed(piece_graph(piece), *place_run(piece, starts=starts, enough=enough))
    if isinstance(piece, Chain):
        return _Placed(*place_chain(piece, enough=enough))
    if isinstance(piece, Sheet):
        graph, rings, searches, gap, area = place_sheet(piece, enough=enough)
        return _Placed(graph, rings, searches, gap, cell_area=area)
    return _Placed(*place_sections(piece, starts=starts, enough=enough))


def repeats_cell(piece: Piece) -> bool:
    """Whether a piece is placed by one cell that it repeats, its ends perhaps aside."""
    if isinstance(piece, Run):
        return piece.closed or piece.repeat >= PERIODIC_REPEATS
    return isinstance(piece, Chain | Sheet)


def _cell(piece: Piece, starts: int, enough: float) -> Cell | None:
    """The cell that a piece was placed by: the search remembers it."""
    if isinstance(piece, Sections) or not repeats_cell(piece):
        return None
    return cell_of(piece, starts=starts, enough=enough)


def answer_of(report: CheckReport, proof: HoleProof | None, searches: Sequence[Search]) -> Answer:
    """What can be said of poses.

    Args:
        report: What the check found.
        proof: A hole that cannot hold its wires.
        searches: How the poses were found.
    """
    if report.sound:
        return Answer.FITS
    if proof is not None:
        return Answer.CANNOT_FIT
    if all(each.converged for each in searches):
        return Answer.NO_FIT_FOUND
    return Answer.NOT_CONVERGED


def place(
    piece: Piece, *, clearance: float = 0.0, starts: int = STARTS, on_progress: Progress | None = None
) -> Placement:
    """Place every ring of a piece as far from its neighbours as it goes.

    Args:
        piece: The piece.
        clearance: Gap asked for between any two wires [mm].
        starts: Seeded starts of each search of groups; the best is kept.
        on_progress: Told in words what is being solved.

    Returns:
        The poses with the answer. A best try is given in every case, also where a proof says that nothing
        fits.

    Raises:
        NothingLeft: An outline holds no ring of its sheet.
    """
    say = on_progress or (lambda _: None)
    say("placing rings")
    with told_to(on_progress):
        placed = _placed(piece, starts, clearance)
    proof = hole_proof(placed.graph, clearance)
    say("checking the whole piece")
    report = check(placed.graph, placed.rings, clearance=clearance)
    answer = answer_of(report, proof, placed.searches)
    return Placement(
        placed.graph,
        placed.rings,
        answer,
        placed.gap,
        clearance,
        proof,
        tuple(placed.searches),
        placed.joints,
        placed.cell_area,
        _cell(piece, starts, clearance),
    )
