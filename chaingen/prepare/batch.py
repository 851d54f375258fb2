"""What a service is sent: one file for each build of its machine, or each casting."""

from collections.abc import Iterable
from dataclasses import dataclass

from chaingen.design.service import Service
from chaingen.model.kinds import Model
from chaingen.prepare.cast import Sizes
from chaingen.prepare.checks import ServiceCheck
from chaingen.stock.metals import Metal


@dataclass(frozen=True, eq=False)
class Batch:
    """One file's worth of a piece.

    Attributes:
        name: What its file is called, without ending: ``pattern``, ``pattern-sprued``, ``rings-1``,
            ``comb-1``, ``tree-1``.
        model: The pattern: bodies as cast, stretched by the model's `stretch`, standing in the build volume
            as they are to be built (z up).
        metal: What it is cast in; None where a print is the piece itself.
        parts: How many shells it holds before sprues join them.
        rings: How many loose rings of each size are in it, by the name of the size; none of a piece.
        pieces_weight: Metal of the parts as cast [g]; 0 without a metal.
        sprues_weight: Metal of feeders, main and button as cast [g].
    """

    name: str
    model: Model
    metal: Metal | None
    parts: int
    rings: tuple[tuple[str, int], ...] = ()
    pieces_weight: float = 0.0
    sprues_weight: float = 0.0

    @property
    def weight(self) -> float:
        """All metal that it takes [g]."""
        return self.pieces_weight + self.sprues_weight


def most_triangles(batches: Iterable[Batch]) -> int:
    """Triangles of the file that has the most; 0 without a file."""
    counts = (sum(len(kind.mesh.faces) * len(kind.bodies) for kind in each.model.kinds) for each in batches)
    return max(counts, default=0)


@dataclass(frozen=True, eq=False)
class Prepared:
    """A piece prepared for its service.

    Attributes:
        service: The service.
        tolerance: Farthest the meshes lie from the true surface [mm].
        sizes: Each ring size and metal, finished, as cast and as pattern.
        batches: What is sent; none where it cannot be prepared, which a check then says.
        checks: All that was checked.
        by_hand: What the service does not make and the maker adds, in words: beads, findings.
    """

    service: Service
    tolerance: float
    sizes: tuple[Sizes, ...]
    batches: tuple[Batch, ...]
    checks: tuple[ServiceCheck, ...]
    by_hand: tuple[str, ...] = ()
