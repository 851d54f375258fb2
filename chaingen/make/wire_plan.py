"""Wire, coils and bags for the rings of a piece.

Rings are cut off close-wound coils. A turn takes the wire of a closed ring, pi (inside + wire) along its
middle, and what the cut takes; it climbs by one wire, so that along the helix it is sqrt(turn^2 + wire^2)
long. Of each coil one turn is lost at its ends, where the wire leaves the mandrel, and the tail that held it.

Roundings, all to the safe side: spare rings, coils, lengths of wire and bags up to whole ones; turns on a
mandrel and rings of a length down. Where wire comes in lengths, all sizes of one metal and wire diameter are
laid out on them together (`winding.lay_out`), and coils are those of this layout. Wire for findings is not in
it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, hypot, pi

from chaingen.design.bench import Bench
from chaingen.errors import BadInput, Problem
from chaingen.make.counts import RingCount
from chaingen.make.mandrels import kerf_of
from chaingen.make.winding import Layout, Winding, ceil_of, lay_out, whole
from chaingen.stock.metals import Metal
from chaingen.units import format_mm
from chaingen.weave.groups import RingSize

WIRE_PLACES = 4
"""Wires are one where their diameters agree to so many decimals of millimetres."""


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
        coils: How many coils they are wound in, as laid out on lengths of wire where it is sold in such.
        coil_length: Length of all close-wound coils together [mm].
        wire_length: Wire for all of it, tails included [mm].
        wire_weight: Its weight [g].
        lengths: How many lengths of wire it would take if no other size were wound of them; None where it is
            not given how wire is sold. What to buy is in `WireOrder`.
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


@dataclass(frozen=True, slots=True)
class LengthUse:
    """Lengths of wire that are used alike.

    Attributes:
        lengths: How many.
        rings: Ring sizes wound off each, with how many rings; each in the fewest coils.
        coils: Coils wound off each, for each entry of `rings`: rings in each coil; its turns are one more.
        left: What is left of each [mm].
    """

    lengths: int
    rings: tuple[tuple[RingSize, int], ...]
    coils: tuple[tuple[int, ...], ...]
    left: float


@dataclass(frozen=True, slots=True)
class WireOrder:
    """Wire of one metal and diameter, for rings of all sizes in it.

    Attributes:
        metal: Its metal.
        wire_diameter: Its diameter [mm].
        sizes: The ring sizes that are wound of it.
        wire_length: Wire that is used, spare rings and tails included [mm].
        weight: Its weight [g].
        lengths: How many lengths or coils of wire to buy; None where it is not given how wire is sold.
        uses: What is wound off each length; none where it is not given how wire is sold.
    """

    metal: Metal
    wire_diameter: float
    sizes: tuple[RingSize, ...]
    wire_length: float
    weight: float
    lengths: int | None
    uses: tuple[LengthUse, ...] = ()


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
    in_all = [count.count + more for count, more in zip(counts, spare, strict=True)]
    coils = [0] * len(counts)
    for group in _groups(counts):
        laid = _laid_out([counts[k] for k in group], [in_all[k] for k in group], bench)
        for k, own in zip(group, laid.coils, strict=True):
            coils[k] = own
    return tuple(
        _plan(count, more, own, bench) for count, more, own in zip(counts, spare, coils, strict=True)
    )


def wire_orders(plans: tuple[RingPlan, ...], bench: Bench) -> tuple[WireOrder, ...]:
    """Wire to buy for rings by metal and diameter, in order of first use.

    Args:
        plans: All rings of a piece or a class, as `ring_plans` or `plans_with` gives them.
        bench: How the maker works.
    """
    counts = tuple(plan.rings for plan in plans)
    return tuple(_order([plans[k] for k in group], bench) for group in _groups(counts))


def _order(plans: Sequence[RingPlan], bench: Bench) -> WireOrder:
    first, sizes = plans[0].rings, tuple(plan.rings.size for plan in plans)
    windings = [winding_of(plan.rings, bench) for plan in plans]
    laid = _laid_out([plan.rings for plan in plans], [plan.count for plan in plans], bench)
    length = sum(w.wire_of(plan.count, own) for w, plan, own in zip(windings, plans, laid.coils, strict=True))
    return WireOrder(
        metal=first.metal,
        wire_diameter=first.size.wire_diameter,
        sizes=sizes,
        wire_length=length,
        weight=wire_weight(length, first.size.wire_diameter, first.metal),
        lengths=None if laid.layouts is None else sum(layout.lengths for layout in laid.layouts),
        uses=tuple(_use(layout, windings, sizes) for layout in laid.layouts or ()),
    )


def _use(layout: Layout, windings: Sequence[Winding], sizes: tuple[RingSize, ...]) -> LengthUse:
    """What is wound off lengths that are used alike."""
    own = [k for k, n in enumerate(layout.rings) if n]
    used = sum(windings[k].least_wire(layout.rings[k]) for k in own)
    return LengthUse(
        lengths=layout.lengths,
        rings=tuple((sizes[k], layout.rings[k]) for k in own),
        coils=tuple(windings[k].parted(layout.rings[k]) for k in own),
        # Round-off may lack of a whole turn; nothing is less than nothing.
        left=max(0.0, (windings[0].sold_in or 0.0) - used),
    )


@dataclass(frozen=True, slots=True)
class _LaidOut:
    """Rings of one wire laid out: coils of each size, and the lengths; None where it is not known."""

    coils: tuple[int, ...]
    layouts: tuple[Layout, ...] | None


def _laid_out(counts: Sequence[RingCount], in_all: Sequence[int], bench: Bench) -> _LaidOut:
    windings = [winding_of(count, bench) for count in counts]
    if bench.sold_in is None:
        return _LaidOut(tuple(w.coils_of(n) for w, n in zip(windings, in_all, strict=True)), None)
    layouts = lay_out(windings, in_all)
    coils = tuple(
        sum(layout.lengths * winding.coils_of(layout.rings[k]) for layout in layouts)
        for k, winding in enumerate(windings)
    )
    return _LaidOut(coils, layouts)


def _groups(counts: Sequence[RingCount]) -> list[list[int]]:
    """Numbers of those that are of one metal and wire."""
    groups: dict[tuple[str, float], list[int]] = {}
    for k, count in enumerate(counts):
        groups.setdefault((count.metal.name, round(count.size.wire_diameter, WIRE_PLACES)), []).append(k)
    return list(groups.values())


def _plan(rings: RingCount, spare: int, coils: int, bench: Bench) -> RingPlan:
    size, count = rings.size, rings.count + spare
    winding = winding_of(rings, bench)
    kerf, assumed = kerf_of(size.wire_diameter, bench)
    alone, _ = winding.lengths_and_coils(count)
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
        lengths=alone,
        bags=None if bench.bag is None else ceil_of(count, bench.bag),
    )


def winding_of(rings: RingCount, bench: Bench) -> Winding:
    """How rings of a size are wound."""
    size = rings.size
    kerf, _ = kerf_of(size.wire_diameter, bench)
    turn = hypot(2.0 * pi * size.radius + kerf, size.wire_diameter)
    per_coil = whole(bench.mandrel_length / size.wire_diameter) - 1
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
