"""Winding rings: what to wind them on, and what they come out as."""

from dataclasses import dataclass

from chaingen.solve.verdict import Fit
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize

ODD_TRIAL = 3.0
"""A trial coil that springs so many times more, or less, than computed was mismeasured, or is other wire."""


@dataclass(frozen=True, slots=True)
class Spring:
    """How wire of one metal springs, and where that is known from.

    Attributes:
        temper: Its temper, such as ``half hard``; ``temper not given`` where its figures alone are given.
        youngs_modulus: Young's modulus [GPa].
        yield_strength: Yield strength [MPa].
        source: Where these come from; ``given`` where the maker said them.
        assumed: Whether nobody said the temper, so that the usual one was taken.
        calibration: Factor on the change of curvature, from a trial coil; 1 without.
    """

    temper: str
    youngs_modulus: float
    yield_strength: float
    source: str
    assumed: bool = False
    calibration: float = 1.0

    @property
    def is_odd(self) -> bool:
        """Whether its trial coil springs so unlike what is computed that it should be measured again."""
        return not 1.0 / ODD_TRIAL <= self.calibration <= ODD_TRIAL


@dataclass(frozen=True, slots=True)
class MandrelChoice:
    """A mandrel at hand, and what rings wound on it are like.

    Attributes:
        name: What it is called, such as ``4 mm rod`` or ``4 mm knitting needle (US 6)``.
        diameter: Its diameter [mm].
        inside: Inside diameter of rings cut off it and closed [mm].
        gap: Smallest gap of the piece with such rings [mm]; None where that was not found out.
        fit: Its word; None likewise.
    """

    name: str
    diameter: float
    inside: float
    gap: float | None = None
    fit: Fit | None = None


@dataclass(frozen=True, slots=True)
class MandrelPlan:
    """What to wind rings of one size and metal on.

    Attributes:
        size: The ring size.
        metal: The metal.
        spring: How the wire springs; None where nothing is known of this metal's wire.
        wanted: The mandrel that gives just the inside diameter wanted [mm]; None likewise, and where wire
            this springy takes no set on any mandrel.
        choices: The nearest mandrels at hand, the best one first; none where none is named, or where nothing
            is known of the wire.
    """

    size: RingSize
    metal: Metal
    spring: Spring | None
    wanted: float | None
    choices: tuple[MandrelChoice, ...]
