"""Rings at hand: which of them make the piece, and how long a piece they reach.

Every ring size of a design is taken from one stock of rings at hand, which is all that are of one inside,
wire and metal; two sizes may share a stock, which then has to do for both. Rings whose metal is not that of
the size are left out, but where a design lays metals by place any metal will do. The nearest combinations are
looked at, 64 at most: a longer list of rings at hand has more, which are not told. Findings are taken to be
there, as many as it takes.
"""

import heapq
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from chaingen.design.bench import Bench, OwnedRings
from chaingen.design.design import MAX_RINGS, Design
from chaingen.make.result import Result
from chaingen.make.wire_plan import part_of
from chaingen.solve.choices import fewest_repeats, goes_by_repeats, ring_numbers
from chaingen.solve.place import place
from chaingen.solve.place_weave import NothingLeft, rounds_near
from chaingen.solve.repeats import lengths_of
from chaingen.solve.verdict import Fit, best_gap, fit_of
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Chain, Piece, Sheet

Progress = Callable[[str], None]

Numbers = Callable[[int], Counter[str]]
"""Rings by the name of their size, from the number of repeats."""

MOST_CHOICES = 64
"""Combinations of rings that are looked at."""

MOST_LENGTHS = 8
"""Combinations whose finished length is found out: each takes a pull."""


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
        short: Rings lacking for the piece as designed, spare ones with it, by the name of the ring size; only
            those lacking.
    """

    rings: tuple[tuple[RingSize, OwnedRings], ...]
    gap: float
    fit: Fit
    repeat: int
    length: float | None
    reaches: bool
    short: tuple[tuple[str, int], ...]


def _silent(_: str) -> None:
    """Say nothing."""


def owned_choices(
    result: Result, bench: Bench, *, most: int = MOST_CHOICES, on_progress: Progress = _silent
) -> tuple[OwnedChoice, ...]:
    """Ways to make a piece of rings at hand.

    A sheet in an outline is counted anew for other sizes where they fit; a closed chain of a turning weave
    reaches numbers of cells with which it comes round, or the design's own.

    Args:
        result: The piece as designed, built.
        bench: What is at hand.
        most: How many ways are tried, those of the nearest sizes.
        on_progress: Told in words what is being done.

    Returns:
        The best first: what fits and reaches, then what fits, then the rest, by how near the sizes are. None
        where nothing at hand can stand for some ring size.
    """
    sizes = result.design.piece.sizes()
    bench = replace(bench, owned=_pooled(bench.owned))
    options = [_options(size, wanted_metal(result.design, size), bench) for size in sizes]
    if not sizes or not all(options):
        return ()
    trial = _Trial(result, bench)
    near = list(_nearest(options, most))
    found = []
    for number, (off, chosen) in enumerate(near, start=1):
        on_progress(f"trying rings at hand, {number} of {len(near)}")
        choice = trial.choice(tuple(zip(sizes, chosen, strict=True)))
        fits = choice.fit is not Fit.DOES_NOT_FIT
        # Where rings do not fit it does not matter how many there are.
        found.append(((not fits, not (fits and choice.reaches), off, number), choice))
    best = [choice for _, choice in sorted(found, key=lambda one: one[0])]
    for number, choice in enumerate(best[:MOST_LENGTHS]):
        if choice.fit is not Fit.DOES_NOT_FIT and choice.repeat:
            on_progress("pulling the piece straight")
            best[number] = replace(choice, length=trial.length(choice))
    return tuple(best)


def wanted_metal(design: Design, size: RingSize) -> Metal | None:
    """The metal that rings at hand for a size must be of; None where metals go by place, and any will do."""
    if design.metal_pattern is not None:
        return None
    return dict(design.size_metals).get(size.name, design.metal)


def _pooled(owned: tuple[OwnedRings, ...]) -> tuple[OwnedRings, ...]:
    """Rings at hand with those of one inside, wire and metal as one stock, in whatever boxes they are."""
    stocks: dict[tuple[float, float, str | None], OwnedRings] = {}
    for own in owned:
        like = own.size.inside_diameter, own.size.wire_diameter, own.metal
        first = stocks.get(like)
        stocks[like] = own if first is None else replace(first, count=first.count + own.count)
    return tuple(stocks.values())


def _options(size: RingSize, metal: Metal | None, bench: Bench) -> list[tuple[float, OwnedRings]]:
    """What at hand may stand for a ring size, with how far it is off, the nearest first."""
    found = [
        (_off(size, own.size), own)
        for own in bench.owned
        if metal is None or own.metal is None or own.metal == metal.name
    ]
    return sorted(found, key=lambda one: one[0])


def _off(size: RingSize, own: RingSize) -> float:
    inside = abs(own.inside_diameter - size.inside_diameter) / size.inside_diameter
    return inside + abs(own.wire_diameter - size.wire_diameter) / size.wire_diameter


def _nearest(
    options: list[list[tuple[float, OwnedRings]]], most: int
) -> Iterator[tuple[float, tuple[OwnedRings, ...]]]:
    """Combinations of one of each list, the nearest first, without making all of them."""

    def off(at: tuple[int, ...]) -> float:
        return sum(row[k][0] for row, k in zip(options, at, strict=True))

    start = (0,) * len(options)
    waiting, seen = [(off(start), start)], {start}
    for _ in range(most):
        if not waiting:
            return
        far, at = heapq.heappop(waiting)
        yield far, tuple(row[k][1] for row, k in zip(options, at, strict=True))
        for place_of, k in enumerate(at):
            after = (*at[:place_of], k + 1, *at[place_of + 1 :])
            if k + 1 < len(options[place_of]) and after not in seen:
                seen.add(after)
                heapq.heappush(waiting, (off(after), after))


class _Trial:
    """Tries rings in a piece, each kind of sizes once.

    Args:
        result: The piece as designed.
        bench: What is at hand.
    """

    def __init__(self, result: Result, bench: Bench) -> None:
        self.result, self.design, self.bench = result, result.design, bench
        self.repeats = goes_by_repeats(self.design)
        self.own = self.design.repeating.repeat if self.repeats else 1
        counts: Counter[str] = Counter()
        for count in result.counts:
            counts[count.size.name] += count.count
        self.as_designed = counts
        self.numbers = self._numbers()
        self.gaps: dict[tuple[RingSize, ...], tuple[float, bool]] = {}
        self.outlined: dict[tuple[RingSize, ...], Counter[str] | None] = {}

    def choice(self, rings: tuple[tuple[RingSize, OwnedRings], ...]) -> OwnedChoice:
        """One combination, its length not yet found out."""
        gap, fits = self._gap(rings)
        fit = fit_of(gap - self.design.clearance, self._wire(rings)) if fits else Fit.DOES_NOT_FIT
        numbers, one = self.numbers, self.as_designed
        piece = self.design.piece
        if fits and isinstance(piece, Sheet) and piece.outline is not None:
            kept = self._under_outline(rings)
            if kept is None:
                return OwnedChoice(rings, gap, Fit.DOES_NOT_FIT, 0, None, False, ())
            one = kept
        short = self._short(rings, one)
        if not self.repeats:
            return OwnedChoice(rings, gap, fit, int(not short), None, not short, short)
        repeat = self._reached(rings, numbers)
        if fits:
            repeat = self._coming_round(rings, repeat)
        return OwnedChoice(rings, gap, fit, repeat, None, repeat >= self.own, short)

    def length(self, choice: OwnedChoice) -> float | None:
        """The finished length of what a choice reaches [mm]."""
        design = replace(self.design, piece=self._resized(choice.rings))
        lengths = lengths_of(design.repeated(choice.repeat) if self.repeats else design)
        return None if lengths is None else lengths.at(choice.repeat)

    def _numbers(self) -> Numbers:
        if not self.repeats:
            return lambda _: self.as_designed
        by_size, made = ring_numbers(self.design), self.design.made

        def numbers(repeat: int) -> Counter[str]:
            return Counter({size.name: made * count for size, count in by_size(repeat).items()})

        return numbers

    def _resized(self, rings: tuple[tuple[RingSize, OwnedRings], ...]) -> Piece:
        by_name = {size.name: own.size for size, own in rings}

        def change(size: RingSize) -> RingSize:
            # Of a weave only the sizes that its rings use are replaced.
            return replace(by_name.get(size.name, size), name=size.name)

        return self.design.piece.resized(change)

    def _gap(self, rings: tuple[tuple[RingSize, OwnedRings], ...]) -> tuple[float, bool]:
        """Smallest gap [mm] and whether it is one of the piece asked for, with room enough."""
        closed_up = min(own.size.inside_diameter - own.size.wire_diameter for _, own in rings)
        if closed_up < 0.0:
            # Not even one wire of its own goes through such a ring.
            return closed_up, False
        piece = self._resized(rings)
        key = piece.sizes()
        if key not in self.gaps:
            if key == self.design.piece.sizes():
                gap = min(self.result.check.smallest_gap, self.result.placement.gap)
                self.gaps[key] = gap, self.result.fits
            else:
                self.gaps[key] = best_gap(piece, self.design.clearance)
        return self.gaps[key]

    def _wire(self, rings: tuple[tuple[RingSize, OwnedRings], ...]) -> float:
        """Mean wire of the two bodies that are nearest as designed [mm], of new rings in place of rings.

        Where no two are near, the thinnest wire.
        """
        own_wire = {size.name: own.size.wire_diameter for size, own in rings}
        pair = self.result.check.binding_pair
        if pair is None:
            return min(own_wire.values())
        members = self.result.placement.graph.members
        thinnest = 2.0 * self.result.placement.rings.thinnest
        return sum(own_wire.get(members[k].size.name, float(thinnest[k])) for k in pair) / 2.0

    def _under_outline(self, rings: tuple[tuple[RingSize, OwnedRings], ...]) -> Counter[str] | None:
        """Rings that an outline keeps of other sizes, by name; None where it keeps none."""
        piece = self._resized(rings)
        key = piece.sizes()
        if key == self.design.piece.sizes():
            return self.as_designed
        if key not in self.outlined:
            try:
                graph = place(piece, clearance=self.design.clearance).graph
                counts = Counter(member.size.name for member in graph.members)
                made = self.design.made
                self.outlined[key] = Counter({name: made * count for name, count in counts.items()})
            except NothingLeft:
                self.outlined[key] = None
        return self.outlined[key]

    def _short(
        self, rings: tuple[tuple[RingSize, OwnedRings], ...], needed: Counter[str]
    ) -> tuple[tuple[str, int], ...]:
        """What is lacking, by the names of ring sizes; those that share a stock take of it in their order."""
        left = {id(own): own.count for _, own in rings}
        lacking = []
        for size, own in rings:
            want = needed[size.name] + part_of(needed[size.name], self.bench.spare)
            taken = min(want, left[id(own)])
            left[id(own)] -= taken
            if taken < want:
                lacking.append((size.name, want - taken))
        return tuple(lacking)

    def _reached(self, rings: tuple[tuple[RingSize, OwnedRings], ...], numbers: Numbers) -> int:
        """The most repeats that the counts allow; 0 for fewer than make the piece."""
        low, high = fewest_repeats(self.design.repeating) - 1, MAX_RINGS
        # More repeats never take fewer rings.
        while low < high:
            middle = (low + high + 1) // 2
            if self._short(rings, numbers(middle)):
                high = middle - 1
            else:
                low = middle
        return low if low >= fewest_repeats(self.design.repeating) else 0

    def _coming_round(self, rings: tuple[tuple[RingSize, OwnedRings], ...], repeat: int) -> int:
        """The most repeats, no more than so many, with which a closed chain comes round."""
        if not isinstance(self.design.piece, Chain) or not self.design.piece.closed or not repeat:
            return repeat
        chain = self._resized(rings).repeated(repeat)
        assert isinstance(chain, Chain)
        near = [count for count in (*rounds_near(chain), self.own) if count <= repeat]
        return max(near, default=repeat)
