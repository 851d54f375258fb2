"""Wire, coils and bags for the rings of a piece.

Rings are cut off close-wound coils. A turn takes the wire of a closed ring, pi (inside + wire) along its
middle, and what the cut takes; it climbs by one wire, so that along the helix it is sqrt(turn^2 + wire^2)
long. Of each coil one turn is lost at its ends, where the wire leaves the mandrel, and the tail that held it.

Roundings, all to the safe side: spare rings, coils, lengths of wire and bags up to whole ones; turns on a
mandrel and rings of a length down. Each size and metal is reckoned by itself: what is left over of the wire
of one size is not counted on for another of the same wire.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, hypot, pi

from chaingen.design.bench import Bench
from chaingen.errors import BadInput, Problem
from chaingen.make.counts import RingCount
from chaingen.make.mandrels import kerf_of
from chaingen.stock.metals import Metal
from chaingen.units import format_mm

ROUND_OFF = 1e-9
"""Turns that may lack of a whole one: 2.4 mm of mandrel hold three turns of 0.8 mm wire, floats or not."""


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

    def bought_length(self, bench: Bench) -> float:
        """Wire to buy [mm]: whole lengths where it is given how wire is sold, else what it takes."""
        if self.lengths is None or bench.sold_in is None:
            return self.wire_length
        return self.lengths * bench.sold_in

    def bought_weight(self, bench: Bench) -> float:
        """Weight of the wire to buy [g]."""
        return wire_weight(self.bought_length(bench), self.rings.size.wire_diameter, self.rings.metal)


@dataclass(frozen=True, slots=True)
class Winding:
    """How rings of one size are wound and how wire for them is sold.

    Attributes:
        turn: Wire that a turn takes, along the helix and with its cut [mm].
        per_coil: Rings that the longest coil gives: one less than its turns.
        tail: Wire at the two ends of a coil together [mm].
        sold_in: Length of wire as it is sold [mm]; None when wire is as long as wanted.
    """

    turn: float
    per_coil: int
    tail: float
    sold_in: float | None

    def wire_of(self, rings: int, coils: int) -> float:
        """Wire for that many rings in that many coils [mm]."""
        return (rings + coils) * self.turn + coils * self.tail

    def of_length(self) -> tuple[int, int]:
        """The most rings that one length gives: rings in full coils, and those of a shorter one beside them.

        No other parting gives more, for the fewest coils lose the least wire to tails and ends.
        """
        assert self.sold_in is not None, "asked only where wire comes in lengths"
        full = _whole(self.sold_in / self.wire_of(self.per_coil, 1))
        left = self.sold_in - full * self.wire_of(self.per_coil, 1)
        return full * self.per_coil, max(0, _whole((left - self.tail) / self.turn) - 1)

    def lengths_and_coils(self, rings: int) -> tuple[int | None, int]:
        """The fewest lengths that serve, and the fewest coils to wind of that many.

        No coil goes on from one length to the next. A further coil in a length never adds more rings than the
        one before it, so full coils come first wherever a length has room for one, and short ones last.
        """
        if self.sold_in is None:
            return None, ceil_of(rings, self.per_coil)
        in_full, in_short = self.of_length()
        lengths = ceil_of(rings, in_full + in_short)
        beyond = rings - lengths * in_full
        if beyond <= 0:
            return lengths, ceil_of(rings, self.per_coil)
        return lengths, lengths * (in_full // self.per_coil) + ceil_of(beyond, in_short)


def ring_plans(counts: tuple[RingCount, ...], bench: Bench) -> tuple[RingPlan, ...]:
    """What the rings of a piece take, with the maker's spare ones.

    Args:
        counts: Rings of each size and metal.
        bench: How the maker works.

    Raises:
        BadInput: A mandrel or a length of wire is too short for a ring.
    """
    return plans_with(counts, tuple(part_of(count.count, bench.spare) for count in counts), bench)


def plans_with(counts: tuple[RingCount, ...], spare: tuple[int, ...], bench: Bench) -> tuple[RingPlan, ...]:
    """The same with as many spare rings as said, for each entry of `counts`.

    Raises:
        BadInput: A mandrel or a length of wire is too short for a ring.
    """
    problems = [problem for count in counts for problem in _too_short(count, bench)]
    if problems:
        raise BadInput(dict.fromkeys(problems))
    return tuple(_plan(count, more, bench) for count, more in zip(counts, spare, strict=True))


def _plan(rings: RingCount, spare: int, bench: Bench) -> RingPlan:
    size, count = rings.size, rings.count + spare
    winding = winding_of(rings, bench)
    kerf, assumed = kerf_of(size.wire_diameter, bench)
    lengths, coils = winding.lengths_and_coils(count)
    wire_length = winding.wire_of(count, coils)
    return RingPlan(
        rings=rings,
        spare=spare,
        cut_length=2.0 * pi * size.radius,
        kerf=kerf,
        kerf_assumed=assumed,
        turns=count + coils,
        coils=coils,
        coil_length=(count + coils) * size.wire_diameter,
        wire_length=wire_length,
        wire_weight=wire_weight(wire_length, size.wire_diameter, rings.metal),
        lengths=lengths,
        bags=None if bench.bag is None else ceil_of(count, bench.bag),
    )


def winding_of(rings: RingCount, bench: Bench) -> Winding:
    """How rings of a size are wound."""
    size = rings.size
    kerf, _ = kerf_of(size.wire_diameter, bench)
    turn = hypot(2.0 * pi * size.radius + kerf, size.wire_diameter)
    per_coil = _whole(bench.mandrel_length / size.wire_diameter) - 1
    return Winding(turn, per_coil, bench.tail, bench.sold_in)


def _too_short(rings: RingCount, bench: Bench) -> list[Problem]:
    """What is too short for even one ring of a size."""
    name, winding = rings.size.name, winding_of(rings, bench)
    if winding.per_coil < 1:
        least = format_mm(2.0 * rings.size.wire_diameter)
        return [
            Problem(
                "bench.mandrel_length",
                format_mm(bench.mandrel_length),
                f"room for two turns of the wire of ring {name!r}, {least} or more",
                "of each coil one turn is lost at its ends",
            )
        ]
    if bench.sold_in is not None and sum(winding.of_length()) < 1:
        least = format_mm(ceil(winding.wire_of(1, 1)))
        return [
            Problem(
                "bench.sold_in",
                format_mm(bench.sold_in),
                f"a length that gives a ring {name!r}, {least} or more",
                "a coil takes its tail and one turn beside those that make rings",
            )
        ]
    return []


def wire_weight(length: float, wire: float, metal: Metal) -> float:
    """Weight of round wire [g] from its length and diameter [mm]: their volume times the density."""
    return length * 0.25 * pi * wire * wire * metal.density / 1000.0


def part_of(count: int, part: float) -> int:
    """A part of a number, up to the next whole one: of 100 things 0.07 are 7.

    The part counts as it is written in decimals: as floats 100 times 0.07 are a little more than 7.
    """
    return ceil(count * Fraction(repr(part)))


def ceil_of(count: int, each: int) -> int:
    """How many of `each` hold `count`: the quotient, up to the next whole one."""
    return -(-count // each)


def _whole(quotient: float) -> int:
    return floor(quotient + ROUND_OFF)
