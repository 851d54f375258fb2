"""The pull at which butt-closed rings open: an estimate with a wide band."""

from dataclasses import dataclass

from chaingen.make.forming import Spring
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize


@dataclass(frozen=True, slots=True)
class RingStrength:
    """The pull that opens one ring that is closed butt to butt and not soldered.

    Attributes:
        size: The ring size.
        metal: The metal.
        spring: What is known of its wire; None where nothing is, and then nothing else is known.
        begins: Pull at which it begins to bend for good, with the seam at the worst place [N].
        opens: Pull at which it opens, fully plastic [N].
    """

    size: RingSize
    metal: Metal
    spring: Spring | None
    begins: float | None
    opens: float | None


@dataclass(frozen=True, slots=True)
class Strength:
    """The pull that a piece holds.

    Attributes:
        rings: Ring by ring size and metal.
        abreast: How many rings have to open at least before the piece comes apart; None for a sheet.
        weakest: The pull at which the weakest place opens, if it falls on one ring alone and begins to bend:
            the low end of the band [N]; None where nothing is known of a metal.
        strongest: The same if all rings abreast share it and bend fully: the high end [N].
        weight: What the piece's own weight pulls with [N].
        tug: The pull that it should hold [N].
        holds: Whether it holds that: ``yes``, ``perhaps`` or ``no``; None where nothing is known.
        advice: What is usually done about it; empty where it holds.
    """

    rings: tuple[RingStrength, ...]
    abreast: int | None
    weakest: float | None
    strongest: float | None
    weight: float
    tug: float
    holds: str | None
    advice: str
