"""The design: what a design file says, in millimetres and checked."""

from dataclasses import dataclass, replace

from chaingen.design.colouring import MetalPattern
from chaingen.design.scene import Scene
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Piece

MAX_CELL_RINGS = 60
"""The most rings of the groups that are repeated."""

MAX_END_RINGS = 60
"""The most rings before and after the repeated groups when a finished length is asked for."""

MAX_RINGS = 200_000
"""The largest piece that is accepted."""


@dataclass(frozen=True, slots=True)
class Design:
    """A piece as its maker asks for it.

    Attributes:
        title: What the piece is called.
        metal: What its rings are made of, where nothing else is said.
        piece: Its groups or weaves; repeated as given, once when a length is given instead.
        length: Finished length asked for [mm], pulled straight and outside to outside; None when repeats
            are given.
        clearance: Gap asked for between any two wires [mm].
        tolerance: How far real rings are off in inside diameter and wire [mm].
        ring_sizes: All ring sizes that the file names.
        supple: Whether to find how far the piece bends and twists.
        scenes: How the piece is let come to rest.
        size_metals: Metals of ring sizes that name their own.
        metal_pattern: Which ring is of which metal, where that goes by place; it comes before the others.
    """

    title: str
    metal: Metal
    piece: Piece
    length: float | None
    clearance: float
    tolerance: float
    ring_sizes: tuple[RingSize, ...]
    supple: bool = False
    scenes: tuple[Scene, ...] = ()
    size_metals: tuple[tuple[str, Metal], ...] = ()
    metal_pattern: MetalPattern | None = None

    def repeated(self, repeat: int) -> "Design":
        """The same piece with a number of repeats instead of a length."""
        return replace(self, piece=self.piece.repeated(repeat), length=None)

    def bare(self) -> "Design":
        """The same piece without scenes and without asking how supple it is."""
        return replace(self, scenes=(), supple=False)
