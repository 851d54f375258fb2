"""The finished length with one repeat fewer and more."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LengthChoice:
    """A length that a piece can be made in.

    Attributes:
        repeat: Number of repeats.
        rings: How many rings that takes.
        groups: How many groups, or cells of a weave.
        length: Finished length [mm].
        inside: Circumference inside it when it is worn closed: the length less pi times the thickness of the
            chain [mm]; None for what is not worn so.
        ease: How much longer the length is than the wrist or neck [mm]; None without a measure.
    """

    repeat: int
    rings: int
    groups: int
    length: float
    inside: float | None
    ease: float | None
