"""What a service is sent: one file for each build of its machine, or each casting, and how many of each."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from chaingen.design.service import Service
from chaingen.model.kinds import Model
from chaingen.prepare.cast import Sizes
from chaingen.prepare.checks import ServiceCheck
from chaingen.stock.metals import Metal

WEIGHED_AT = 0.01
"""Coarsest mesh from which metal is weighed [mm]."""

PATTERN, SPRUED = "pattern", "pattern-sprued"
"""What names of a piece in one begin with, and those of the same with sprues, which is cast in its stead."""


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
        copies: How often it is made; all but this is of one of them.
    """

    name: str
    model: Model
    metal: Metal | None
    parts: int
    rings: tuple[tuple[str, int], ...] = ()
    pieces_weight: float = 0.0
    sprues_weight: float = 0.0
    copies: int = 1

    @property
    def weight(self) -> float:
        """All metal that one of it takes [g]."""
        return self.pieces_weight + self.sprues_weight


def metal_to_melt(batches: Sequence[Batch]) -> dict[Metal, float]:
    """Weight of each metal that all copies of all castings take [g]; nothing of prints.

    Of a piece in one that is sent with and without sprues, the one with sprues counts: it is cast but once.
    """
    names = {batch.name for batch in batches}
    found: dict[Metal, float] = {}
    for batch in batches:
        sprued = batch.name.replace(PATTERN, SPRUED, 1)
        if batch.metal is None or (sprued != batch.name and sprued in names):
            continue
        found[batch.metal] = found.get(batch.metal, 0.0) + batch.copies * batch.weight
    return found


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
        at_rest: What is sent of the piece as it lies at rest, by the name of the scene.
    """

    service: Service
    tolerance: float
    sizes: tuple[Sizes, ...]
    batches: tuple[Batch, ...]
    checks: tuple[ServiceCheck, ...]
    by_hand: tuple[str, ...] = ()
    at_rest: Mapping[str, tuple[Batch, ...]] = field(default_factory=dict)

    @property
    def files(self) -> tuple[Batch, ...]:
        """All that is sent, of the piece as placed and at rest."""
        return (*self.batches, *(batch for own in self.at_rest.values() for batch in own))
