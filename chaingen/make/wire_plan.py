"""Wire, coils and bags for the rings of a piece."""

from dataclasses import dataclass

from chaingen.make.counts import RingCount


@dataclass(frozen=True, slots=True)
class RingPlan:
    """What rings of one size and metal take.

    Attributes:
        rings: Size, metal, and how many the piece takes.
        spare: Spare rings beside these.
        cut_length: Wire in one closed ring, along its middle: pi (inside + wire) [mm].
        kerf: What each cut takes of the wire [mm].
        kerf_assumed: Whether nobody said so.
        turns: Turns to wind in all, those at the ends of coils that make no ring included.
        coils: How many coils they are wound in.
        coil_length: Length of all close-wound coils together [mm].
        wire_length: Wire for all of it, tails included [mm].
        wire_weight: Its weight [g].
        lengths: How many lengths or coils of wire to buy; None where it is not given how wire is sold.
        bags: How many bags of ready rings to buy instead; None where the size of a bag is not given.
    """

    rings: RingCount
    spare: int
    cut_length: float
    kerf: float
    kerf_assumed: bool
    turns: int
    coils: int
    coil_length: float
    wire_length: float
    wire_weight: float
    lengths: int | None
    bags: int | None

    @property
    def count(self) -> int:
        """Rings with the spare ones."""
        return self.rings.count + self.spare
