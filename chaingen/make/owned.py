"""Rings at hand: which of them make the piece, and how long a piece they reach."""

from dataclasses import dataclass

from chaingen.design.bench import OwnedRings
from chaingen.solve.verdict import Fit
from chaingen.weave.groups import RingSize


@dataclass(frozen=True, slots=True)
class OwnedChoice:
    """One way to make the piece of rings at hand.

    Attributes:
        rings: For each ring size of the design the rings at hand that stand for it.
        gap: Smallest gap [mm].
        fit: Its word.
        repeat: How many repeats they reach, spare rings kept; 0 when not even one. For what does not repeat,
            1 or 0.
        length: Finished length then [mm]; None where none is known or the rings do not fit.
        reaches: Whether that is as many repeats as the design has.
        short: Rings lacking for the piece as designed, by the name of the ring size; only those lacking.
    """

    rings: tuple[tuple[RingSize, OwnedRings], ...]
    gap: float
    fit: Fit
    repeat: int
    length: float | None
    reaches: bool
    short: tuple[tuple[str, int], ...]
