"""What placing a piece gives: poses of all its rings, and an honest answer to whether it can be made."""

from dataclasses import dataclass
from enum import StrEnum

from chaingen.geometry.bodies import Bodies
from chaingen.solve.bound import HoleProof
from chaingen.solve.cells import Cell
from chaingen.solve.search import Search
from chaingen.weave.graph import LinkGraph


class Answer(StrEnum):
    """What the search can say. None of these is ever called by the name of another."""

    FITS = "fits"
    CANNOT_FIT = "cannot fit"
    NO_FIT_FOUND = "no fit found"
    NOT_CONVERGED = "did not converge"


@dataclass(frozen=True, eq=False)
class Placement:
    """Where every ring is.

    Attributes:
        graph: The link graph of the whole piece.
        rings: The poses, in the graph's order; an open run lies along x, a closed loop round z,
            a sheet about the plane of x and y.
        answer: Whether it fits.
        gap: Smallest signed gap that the searches reached [mm].
        clearance: The gap asked for [mm].
        proof: The hole that cannot hold its wires, when the answer is "cannot fit".
        searches: The evidence, one entry for each part that was solved.
        joints: Where sections follow one another: the rings at the end of one, and those at the beginning of
            the next that they link.
        cell_area: Area of a sheet's repeating cell [mm2]; None for others.
        cell: The cell that was repeated, laid straight; None where there is none, or several.
    """

    graph: LinkGraph
    rings: Bodies
    answer: Answer
    gap: float
    clearance: float
    proof: HoleProof | None
    searches: tuple[Search, ...]
    joints: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...] = ()
    cell_area: float | None = None
    cell: Cell | None = None
