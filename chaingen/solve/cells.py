"""The repeating cell of a piece, whatever it is made of."""

from dataclasses import dataclass

from chaingen.solve.contacts import State
from chaingen.solve.search import STARTS, Search, solve_cell
from chaingen.solve.taut import Taut
from chaingen.solve.weaves import solve_weave
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sheet


@dataclass(frozen=True, eq=False)
class Cell:
    """A solved cell.

    Attributes:
        graph: Its link graph.
        state: Its rings and the motion to the next.
        search: The evidence.
        gap: Its smallest signed gap [mm].
        repeats: How many repeats of the piece it stands for: two for an odd row of groups, else one.
        taut: The cell pulled straight, once that was done.
    """

    graph: LinkGraph
    state: State
    search: Search
    gap: float
    repeats: int
    taut: Taut | None = None


def cell_of(piece: Run | Chain | Sheet, *, starts: int = STARTS, enough: float = 0.0) -> Cell:
    """The cell that a piece repeats.

    Args:
        piece: A run, of which only the repeated groups count, a chain or a sheet.
        starts: Seeded starts, for groups.
        enough: See `solve_cell`.
    """
    if isinstance(piece, Run):
        graph, state, search, gap = solve_cell(piece.cell, starts=starts, enough=enough)
        return Cell(graph, state, search, gap, len(graph.groups) // len(piece.cell))
    return Cell(*solve_weave(piece.weave, piece.chosen, enough=enough), 1)
