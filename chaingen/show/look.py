"""How every ring looks: colours and roughness of the metals, and which ring is of which."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from chaingen.geometry.types import Ints
from chaingen.make.metals import RingMetals
from chaingen.stock.metals import Metal

Colour = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Look:
    """The look of n rings.

    Attributes:
        colours: sRGB colour of each metal, each part 0 to 1.
        roughness: Roughness of each metal, 0 (mirror) to 1.
        of_ring: Index among them of each ring's metal, shape (n,).
    """

    colours: tuple[Colour, ...]
    roughness: tuple[float, ...]
    of_ring: Ints

    def __len__(self) -> int:
        return len(self.of_ring)

    def __getitem__(self, index: Ints | slice) -> "Look":
        """The look of the rings at `index` (a slice, an index array or a mask)."""
        return Look(self.colours, self.roughness, self.of_ring[index])

    def parts(self) -> Iterator[tuple[Colour, float, Ints]]:
        """Colour, roughness and ring indices of every metal that some ring is of."""
        for k, (colour, roughness) in enumerate(zip(self.colours, self.roughness, strict=True)):
            members = np.flatnonzero(self.of_ring == k)
            if len(members):
                yield colour, roughness, members


def look_of(metals: RingMetals) -> Look:
    """The look of rings of these metals."""
    return Look(
        tuple(metal.colour for metal in metals.metals),
        tuple(metal.roughness for metal in metals.metals),
        metals.of_ring,
    )


def plain_look(metal: Metal, count: int) -> Look:
    """The look of `count` rings of one metal."""
    return Look((metal.colour,), (metal.roughness,), np.zeros(count, dtype=np.int64))
