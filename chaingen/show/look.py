"""How every body looks: colours and roughness of the metals, which body is of which, colours of beads."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.types import Ints
from chaingen.make.metals import RingMetals
from chaingen.model.templates import Holes, holes_of
from chaingen.stock.metals import Metal
from chaingen.weave.graph import LinkGraph

Colour = tuple[float, float, float]

PLAIN_GLASS: Colour = (0.55, 0.66, 0.68)
"""sRGB of beads whose colour nobody said."""


@dataclass(frozen=True, eq=False)
class Look:
    """The look of n bodies.

    Attributes:
        colours: sRGB colour of each metal, each part 0 to 1.
        roughness: Roughness of each metal, 0 (mirror) to 1.
        of_ring: Index among them of each body's metal, shape (n,).
        beads: sRGB colours of beads by their part, see `Strand`, for each finding that has any.
        beads_of: Index among these of each body, -1 without beads, shape (n,); None where none has any.
        holes: Holes of beads, see `templates`.
    """

    colours: tuple[Colour, ...]
    roughness: tuple[float, ...]
    of_ring: Ints
    beads: tuple[Mapping[str, Colour], ...] = ()
    beads_of: Ints | None = None
    holes: Holes = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.of_ring)

    def __getitem__(self, index: Ints | slice) -> "Look":
        """The look of the bodies at `index` (a slice, an index array or a mask)."""
        beads_of = None if self.beads_of is None else self.beads_of[index]
        return Look(self.colours, self.roughness, self.of_ring[index], self.beads, beads_of, self.holes)

    def parts(self) -> Iterator[tuple[Colour, float, Ints]]:
        """Colour, roughness and body indices of every metal that some body is of."""
        for k, (colour, roughness) in enumerate(zip(self.colours, self.roughness, strict=True)):
            members = np.flatnonzero(self.of_ring == k)
            if len(members):
                yield colour, roughness, members

    def bead_colour(self, body: int, part: str) -> Colour:
        """The colour of a body's bead, that of plain glass where none is known."""
        which = -1 if self.beads_of is None else int(self.beads_of[body])
        return PLAIN_GLASS if which < 0 else self.beads[which].get(part, PLAIN_GLASS)


def look_of(metals: RingMetals, graph: LinkGraph | None = None) -> Look:
    """The look of bodies of these metals.

    Args:
        metals: The metal of every body; of a pair, of the one piece and then of the other.
        graph: Tells of the beads of one piece; may be left out where there are none.
    """
    look = Look(
        tuple(metal.colour for metal in metals.metals),
        tuple(metal.roughness for metal in metals.metals),
        metals.of_ring,
    )
    sizes = [] if graph is None else [member.size for member in graph.members]
    beaded = tuple(dict.fromkeys(size for size in sizes if isinstance(size, Finding) and size.beads))
    if not beaded:
        return look
    place = {finding: k for k, finding in enumerate(beaded)}
    one = np.array(
        [place.get(size, -1) if isinstance(size, Finding) else -1 for size in sizes], dtype=np.int64
    )
    assert len(look) % len(one) == 0, "whole pieces"
    return replace(
        look,
        beads=tuple({bead.part: bead.colour for bead in finding.beads} for finding in beaded),
        beads_of=np.tile(one, len(look) // len(one)),
        holes=holes_of(beaded),
    )


def plain_look(metal: Metal, count: int) -> Look:
    """The look of `count` bodies of one metal."""
    return Look((metal.colour,), (metal.roughness,), np.zeros(count, dtype=np.int64))
