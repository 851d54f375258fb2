"""The bench: how a maker works, what is at hand, what it costs; checked and in millimetres.

All of it can be said in the design or in a settings file that serves every design. What nobody said is None
or empty and is told as not given; money above all is never guessed.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from chaingen.weave.groups import RingSize


class CutWay(StrEnum):
    """How rings are cut off the coil."""

    SAW = "saw"
    FLUSH = "flush cutters"


class Units(StrEnum):
    """The units of the maker's sheet."""

    METRIC = "metric"
    INCH = "inch"
    BOTH = "both"


class Paper(StrEnum):
    """The paper of the maker's sheet."""

    A4 = "A4"
    LETTER = "Letter"


@dataclass(frozen=True, slots=True)
class WireData:
    """What a maker knows of the wire of one metal.

    Attributes:
        temper: Its temper, such as ``half hard``; None when not given.
        youngs_modulus: Young's modulus [GPa]; None for that of the table.
        yield_strength: Yield strength [MPa]; None for that of the table.
    """

    temper: str | None = None
    youngs_modulus: float | None = None
    yield_strength: float | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """A coil wound to see how far this wire springs open.

    Attributes:
        metal: Name of the metal; None for the design's.
        temper: Its temper; None for the one that the bench says.
        wire: Wire diameter [mm].
        mandrel: Diameter of the mandrel [mm].
        inside: Inside diameter of the coil off the mandrel, measured [mm].
    """

    metal: str | None
    temper: str | None
    wire: float
    mandrel: float
    inside: float


@dataclass(frozen=True, slots=True)
class Price:
    """A price.

    Attributes:
        amount: How much, 0 or more.
        currency: Three letters of ISO 4217, such as ``EUR``.
    """

    amount: Decimal
    currency: str


Prices = tuple[tuple[str, Price], ...]
"""Prices by the name of what they are of."""


@dataclass(frozen=True, slots=True)
class PriceList:
    """What a maker pays and asks; all of one currency, and nothing of it guessed.

    For rings of a size the first of these that is given counts: by the bag, the ring, the metre, the gram.

    Attributes:
        currency: Three letters of ISO 4217; None when no price is given.
        per_gram: Wire by the gram, by the metal's name.
        per_metre: Wire by the metre, by the name of a ring size.
        per_ring: Ready rings, by the name of a ring size.
        per_bag: Bags of ready rings, by the name of a ring size.
        each: Findings, by name, without beads.
        bead: One bead of those on a finding, by the finding's name.
        per_hour: What an hour of work is worth.
        overhead: Added to material and work, as a part of them: 0.15 for 15 %; None when not given.
        markup: Factor from cost to price; None when not given.
    """

    currency: str | None = None
    per_gram: Prices = ()
    per_metre: Prices = ()
    per_ring: Prices = ()
    per_bag: Prices = ()
    each: Prices = ()
    bead: Prices = ()
    per_hour: Price | None = None
    overhead: float | None = None
    markup: float | None = None


@dataclass(frozen=True, slots=True)
class OwnedRings:
    """Ready rings that a maker has.

    Attributes:
        size: Their size, named for messages.
        count: How many.
        metal: Name of their metal; None when it does not matter.
    """

    size: RingSize
    count: int
    metal: str | None = None


@dataclass(frozen=True, slots=True)
class Classroom:
    """A class that makes the piece.

    Attributes:
        students: How many students, each with a kit.
        shared_spare: Spare parts for all together, as a part of what all kits hold: 0.05 for 5 %.
        for_teacher: Kits for those who teach.
    """

    students: int
    shared_spare: float = 0.05
    for_teacher: int = 1


@dataclass(frozen=True, slots=True)
class Bench:
    """How a maker works.

    Attributes:
        temper: Temper of wire whose metal says none; None when not given.
        wires: What is known of the wire of each metal, by the metal's name.
        mandrels: Mandrels at hand: names of sets (see `stock.mandrels`) and diameters, as written, such as
            ``knitting needles`` and ``3.25 mm``; none when not given.
        trials: Coils wound to try.
        cut: How rings are cut.
        kerf: What each cut takes of the wire [mm]; None when not given.
        mandrel_length: How long a coil can be wound at once [mm].
        tail: Wire at the two ends of a coil together that makes no rings [mm].
        sold_in: Length of wire as it is sold, a length or a coil [mm]; None when not given.
        bag: Rings in a bag; None when not given.
        spare: Spare rings, as a part of those needed: 0.1 for 10 %.
        open_seconds: Time to open a ring [s]; None when not given.
        close_seconds: Time to close a ring, its links taken in [s]; None when not given.
        finding_seconds: Time to make a finding [s], by its name.
        tug: The pull that a piece should hold [N].
        prices: What it costs.
        owned: Rings at hand.
        classroom: A class that makes the piece; None for one maker.
        units: Units of the sheet.
        paper: Paper of the sheet.
        hand_out: Whether the sheet is for others: without prices, rings at hand and the order of a class.
    """

    temper: str | None = None
    wires: tuple[tuple[str, WireData], ...] = ()
    mandrels: tuple[str, ...] = ()
    trials: tuple[Trial, ...] = ()
    cut: CutWay = CutWay.SAW
    kerf: float | None = None
    mandrel_length: float = 100.0
    tail: float = 40.0
    sold_in: float | None = None
    bag: int | None = None
    spare: float = 0.1
    open_seconds: float | None = None
    close_seconds: float | None = None
    finding_seconds: tuple[tuple[str, float], ...] = ()
    tug: float = 20.0
    prices: PriceList = PriceList()
    owned: tuple[OwnedRings, ...] = ()
    classroom: Classroom | None = None
    units: Units = Units.BOTH
    paper: Paper = Paper.A4
    hand_out: bool = False

    def wire(self, metal: str) -> WireData:
        """What is known of the wire of a metal, the bench's temper where it says none."""
        known = dict(self.wires).get(metal, WireData())
        temper = self.temper if known.temper is None else known.temper
        return WireData(temper, known.youngs_modulus, known.yield_strength)
